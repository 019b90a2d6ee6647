"""The open bench: one unknown pair after another."""
