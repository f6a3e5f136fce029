"""The command line: parse, call, print. The only place with argument parsing.

Exit codes: 0 all well; 3 some test unusable or without a stop of use; 2 wrong call, config or place; 1 a fault of ours
or of the system.
"""

from __future__ import annotations

import sys

from pipeline.cli.parser import parser
from pipeline.errors import InputError


def run(arguments: list[str]) -> int:
    """Carry out one command and return its exit code."""
    options = vars(parser().parse_args(arguments))  # argparse itself ends with 2 on a wrong call
    command = options.pop("call")
    try:
        return command(**options) or 0
    except InputError as error:
        print(f"stopsheet: {error}", file=sys.stderr)
        return 2
    except BrokenPipeError:
        return 0
