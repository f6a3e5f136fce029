"""`stopsheet` = `python -m pipeline`."""

from __future__ import annotations

import os
import sys

# One thread of linear algebra per process: the matrices are small, the cores belong to the other stages (with the
# library's default on two busy cores one stage took 10 to 26 s instead of 3.7 s). Read when the library loads.
for _variable in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_variable, "1")


def main() -> None:
    # `python -m` puts the current folder first on the import path: a module that lies in an archive is none of ours.
    ours = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
    if not sys.flags.safe_path and ours != os.getcwd():
        sys.path[:] = [entry for entry in sys.path if entry and os.path.abspath(entry) != os.getcwd()]
    from pipeline.cli import run

    sys.exit(run(sys.argv[1:]))


if __name__ == "__main__":
    main()
