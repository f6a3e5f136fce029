"""Broken and hostile archives: mutations of valid ones, and what must hold whatever comes in."""
