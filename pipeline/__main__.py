"""`stopsheet` = `python -m pipeline`."""

from __future__ import annotations

import sys


def main() -> None:
    from pipeline.cli import run

    sys.exit(run(sys.argv[1:]))


if __name__ == "__main__":
    main()
