"""Files that a stage writes beside its declared outputs, as only its work tells their number or names.

The scripts of a page, the library of drawings that all pages share, marks in folders that no run makes any more: the engine
knows nothing of them and would not miss them. Who writes them lists them with the output that rests on them, in
`.beside/<output>.json` of its folder, and a run looks whether they are there (`workspace.made`).
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable
from pathlib import Path

from pipeline.results.files import write_text

FOLDER = ".beside"


def place(output: Path) -> Path:
    """Where the list of an output stands."""
    return output.parent / FOLDER / f"{output.name}.json"


def leave(output: Path, files: Iterable[Path]) -> None:
    """List the files that `output` rests on, relative to its folder, so that results can be moved; of none no list."""
    names = sorted({Path(os.path.relpath(path, output.parent)).as_posix() for path in files})
    if names:
        write_text(place(output), json.dumps(names))  # names of folders that others made may be no UTF-8
    else:
        clear(output)


def clear(output: Path) -> None:
    """Forget the list of an output that is written anew, or rests on nothing any more."""
    place(output).unlink(missing_ok=True)


def listed(output: Path) -> list[Path]:
    """The files that an output rests on; none where there is no list or it is damaged."""
    try:
        names = json.loads(place(output).read_text(encoding="utf-8"))
        return [Path(os.path.normpath(output.parent / name)) for name in names]
    except (OSError, ValueError, TypeError):
        return []
