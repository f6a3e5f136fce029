"""What a stage wrote, by its digest: `.made/<first file>.json` beside the files, renewed whenever the stage runs.

A result that is edited afterwards is found by it, a page or a print as well as a table (`stopsheet verify`). A page's scripts, the
traces of its stops and the plotting library among them, stand in its record: what they hold is what a reader sees. So does what is cut
out of the whole archive's files, which no rule declares and others read.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Iterator
from pathlib import Path

from pipeline.results import beside
from pipeline.results.files import digest, write_json

FOLDER = ".made"
HELD = (".js", ".json")  # endings of the files beside an output that stand in its record


def leave(outputs: list[Path]) -> None:
    """Record the digests of a part's files, and of those beside them that are HELD, by their places from the first one's folder."""
    folder = outputs[0].parent
    further = [path for output in outputs for path in beside.listed(output) if path.suffix in HELD]
    found = {
        Path(os.path.relpath(path, folder)).as_posix(): digest(path) for path in [*outputs, *further] if path.is_file()
    }
    write_json(folder / FOLDER / f"{outputs[0].name}.json", found)


def made_in(results: Path) -> Iterator[tuple[Path, dict[str, str]]]:
    """(folder, digests by name) of every record below a results folder."""
    for place in sorted(_folders(results)):
        for record in sorted(place.glob("*.json")):
            try:
                content = json.loads(record.read_text(encoding="utf-8"))
            except (OSError, ValueError, RecursionError):
                continue
            known = content if isinstance(content, dict) else {}
            yield place.parent, {name: was for name, was in known.items() if name and isinstance(was, str)}


def _folders(results: Path) -> Iterable[Path]:
    return (path for path in results.rglob(FOLDER) if path.is_dir())
