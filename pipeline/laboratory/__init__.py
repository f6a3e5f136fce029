"""The laboratory over time: how well it repeats itself, and control charts of its rigs and of its product."""
