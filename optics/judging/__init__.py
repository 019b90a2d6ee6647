"""Readings settled on steps and held against orders and published tolerances."""
