"""The Python interface: what `import pipeline` offers, for notebooks and scripts (docs/notebook.md).

Everything is the stages' own code called on frames in memory, so the numbers are those of a run. Nothing is written but a
temporary copy of a test's channels, which is gone with the test.
"""
