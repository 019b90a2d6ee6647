"""Panels for single diagrams."""
