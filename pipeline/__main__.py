"""`stopsheet` = `python -m pipeline`."""

from __future__ import annotations

import os
import sys


def main() -> None:
    # `python -m` puts the current folder first on the import path: a module that lies in an archive is none of ours.
    ours = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
    if not sys.flags.safe_path and ours != os.getcwd():
        sys.path[:] = [entry for entry in sys.path if entry and os.path.abspath(entry) != os.getcwd()]
    from pipeline.starting import handed_over

    code = handed_over(sys.argv[1:])
    if code is None:
        from pipeline.cli import run

        code = run(sys.argv[1:])
    sys.exit(code)


if __name__ == "__main__":
    main()
