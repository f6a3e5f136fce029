"""`python -m tests.rig_samples.golden [--write] [--results FOLDER]`: show what moved; renew the tables where that is allowed.

Without --results the samples are run in a temporary folder, some minutes. A folder that is given must come from the code
as it stands and hold all methods of the samples (a suite's own run of them under the heavy mark does).
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

import yaml

from tests.conftest import SAMPLES, run_stopsheet, sample_config
from tests.docs import with_figures
from tests.rig_samples.golden.figures import of_run
from tests.rig_samples.golden.renew import FOLDER, renew

METHODS = {Path(name).stem for name in yaml.safe_load((SAMPLES / "config.yaml").read_text())["methods"]}


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
    lacking = METHODS - {method for figures in found.values() for method, _, _ in figures}
    if lacking:
        print(f"the results lack the method {', '.join(sorted(lacking))}: figures of all methods are renewed together")
        return 1
    refused = renew(FOLDER, found, write=given.write, tell=print)
    if given.write and not refused:
        for page in with_figures.write():
            print(f"written: {page.relative_to(with_figures.REPO)}")
    return 1 if refused else 0


if __name__ == "__main__":
    sys.exit(main())
