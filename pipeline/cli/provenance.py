"""`stopsheet trace` and `stopsheet verify`: where a number comes from, and whether results are still those of their files."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

from pipeline.archive.scan import printable

DIFFERS = 3


def trace(*, sheet: Path, figure: str, config: Path | None, as_json: bool) -> int:
    """Print the way of a number of a sheet; 3 where a step of it is no longer what it was."""
    from pipeline.provenance.trace import lines, traced

    found = traced(sheet, figure, config)
    if as_json:
        number = found.printed.number.model_dump(mode="json")
        content = {
            "path": found.printed.path, "part": found.printed.part, "number": number, "value_in_file": found.value_in_file,
            "why_not_compared": found.why, "stamp": found.stamp, "inputs": [asdict(one) for one in found.inputs],
            "tests": [asdict(one) for one in found.behind], "differences": found.differences,
        }  # fmt: skip
        print(json.dumps(content, indent=1, ensure_ascii=False))
    else:
        for line in lines(found):
            print(printable(line.replace("\u00a0", " ")))
    return DIFFERS if found.differences else 0


def verify(*, results: Path, config: Path | None, as_json: bool) -> int:
    """Print what differs between results and their files; 3 where something does, or cannot be compared."""
    from pipeline.provenance.verify import lines, verified

    found = verified(results, config)
    if as_json:
        content = {"compared": dict(found.compared), "differences": [asdict(one) for one in found.differences]}
        print(json.dumps(content, indent=1, ensure_ascii=False))
    else:
        for line in lines(found):
            print(printable(line))
    return DIFFERS if found.differences else 0
