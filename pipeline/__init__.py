"""stopsheet: from raw stop recordings to a material characterisation sheet.

DEVELOPERS.md has the packages in the order in which data pass through them; none imports from a later one.
"""
