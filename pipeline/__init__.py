"""stopsheet: from raw stop recordings to a material characterisation sheet.

The packages stand in the order in which data pass through them: archive, recordings, conditioning, stops,
friction, wear, drift, batches, duty, delta, report.
"""
