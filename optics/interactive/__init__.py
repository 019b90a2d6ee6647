"""What moves in a notebook: the focimeter at its bench, and panels beside it."""
