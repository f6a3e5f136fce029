"""`python -m tests.docs.with_figures [--write]`: the pages that quote figures of the samples."""

from __future__ import annotations

import argparse

from tests.docs.with_figures import pages, write

parser = argparse.ArgumentParser(prog="python -m tests.docs.with_figures", description=__doc__)
parser.add_argument("--write", action="store_true", help="write them into docs/")
for told in write() if parser.parse_args().write else pages().values():
    print(told)
