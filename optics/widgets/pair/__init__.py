"""The pair on its tray."""
