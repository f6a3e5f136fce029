"""`python -m tests.rig_samples.golden [--write] [--results FOLDER]`: show what moved; renew the tables where that is allowed.

Without --results the samples are run in a temporary folder, some minutes. A folder that is given must come from the code
as it stands.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from tests.conftest import run_stopsheet, sample_config
from tests.rig_samples.golden.figures import of_run
from tests.rig_samples.golden.renew import FOLDER, renew


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.rig_samples.golden", description=__doc__)
    parser.add_argument("--write", action="store_true", help="renew the tables")
    parser.add_argument("--results", type=Path, help="results of the samples, from the code as it stands")
    given = parser.parse_args()
    if given.results:
        found = of_run(given.results)
    else:
        with tempfile.TemporaryDirectory(prefix="golden-") as name:
            run_stopsheet("run", sample_config(Path(name)), "--cores", 2)
            found = of_run(Path(name) / "results")
    refused = renew(FOLDER, found, write=given.write, tell=print)
    return 1 if refused else 0


if __name__ == "__main__":
    sys.exit(main())
