"""Who operate the simulated instrument: invented apprentices and the right way, step by step."""
