"""The focimeter in the notebook."""
