"""Wear of pads and discs: readings, intervals, laws, and what a design could tell."""
