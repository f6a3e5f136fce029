"""Shifts that every specimen of a rig shares from a dated event on."""
