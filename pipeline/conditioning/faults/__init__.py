"""Faults of the samples: what a sensor or recorder did that no brake does. Each a finding, none repaired silently."""
