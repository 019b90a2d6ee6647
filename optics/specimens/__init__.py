"""Pairs for the bench, made from a seed and a brief."""
