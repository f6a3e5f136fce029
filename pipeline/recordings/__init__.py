"""Recordings of a rig, whatever their format -> canonical channels in SI."""
