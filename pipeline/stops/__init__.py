"""Recordings of a test to one row per stop: the schedule, reduction, uncertainty, what contradicts what."""
