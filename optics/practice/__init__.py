"""Practice: pairs to read, the slips a habit makes, marks, and the checks in the notebooks."""
