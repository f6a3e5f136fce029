"""A test that is still running: which recordings are whole, what they say so far, and whether to stop and look.

The recordings that are whole are reduced in memory by the stages' own functions; nothing here writes results. What is
judged, with which risk, and what it cannot see: `pipeline.drift.looks` (a lasting change of friction or of the torque
chain), `faults` (a sensor or the card), `pipeline.wear.forecast` (a part that will not last to the program's end).
"""
