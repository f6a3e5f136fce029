"""Pages for people: a test's page, the compound's sheet, the index, the comparison of two methods.

Nothing is computed here that decides anything: every figure shown is read from a table or JSON file of an
earlier stage, rounded to what its uncertainty allows, and can be traced back to that file.
"""
