"""Drift: has friction changed at matched conditions, since when, by how much, and by what."""
