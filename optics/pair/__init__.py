"""Two lenses in a frame: geometry, what stands on paper, how the pair looks."""
