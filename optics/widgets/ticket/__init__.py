"""The ticket to fill in."""
