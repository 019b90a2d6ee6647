"""One path from typed text to a mark and its reason."""
