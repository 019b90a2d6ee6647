"""What one lens is, what it does to light, and how it is written."""
