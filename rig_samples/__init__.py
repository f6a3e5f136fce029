"""The invented scenario that comes with the project, and the simulator that wrote it."""
