"""The one exception for bad input.

Its text is one clear line for the engineer: which file and key, what is wrong, what is accepted. The command line
prints it without a traceback; stages turn it into a finding.
"""


class InputError(Exception):
    """Input that cannot be used; `str(error)` is the whole message."""
