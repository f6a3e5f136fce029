"""What a stage leaves beside its outputs where a fault spoiled them, and when it is tried again.

`<first output>.fault.json` stands as long as the outputs carry the fault. A fault of the machine is tried again by
every run. One of ours is tried again once, in case it was the machine after all, and then once for each version of
the software: the same code would end in the same fault, for ever.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path
from typing import Literal

from pipeline.results.files import version, write_json

SUFFIX = ".fault.json"
TRIES = 2  # of one version of the software at a fault of ours


@dataclass(frozen=True)
class Fault:
    """A fault that results carry. subject: the test, compound or method; software: whose `tries` these are."""

    stage: str
    subject: str
    kind: Literal["ours", "machine"]
    why: str
    software: str
    tries: int

    @property
    def due(self) -> bool:
        return self.kind == "machine" or self.software != software() or self.tries < TRIES


@cache
def software() -> str:
    """Version and, as a checkout is edited without a new one, a digest of the code."""
    package = Path(__file__).parents[1]
    state = hashlib.sha256()
    for path in sorted(package.rglob("*.py")):
        state.update(f"{path.relative_to(package)}\0".encode() + path.read_bytes())
    return f"{version()} {state.hexdigest()[:16]}"


def place(output: Path) -> Path:
    return output.with_name(f"{output.name}{SUFFIX}")


def leave(output: Path, stage: str, subject: str, kind: Literal["ours", "machine"], why: str) -> None:
    """Write the record beside the first output, counting the tries of this software."""
    before = _read(place(output))
    tries = before.tries + 1 if before and before.software == software() else 1
    write_json(place(output), asdict(Fault(stage, subject, kind, why, software(), tries)))


def clear(output: Path) -> None:
    place(output).unlink(missing_ok=True)


def left_in(folder: Path) -> dict[Path, Fault]:
    """Records of a folder by their path, in the order of their names."""
    found = {path: _read(path) for path in sorted(folder.glob(f"*{SUFFIX}"))}
    return {path: fault for path, fault in found.items() if fault}


def _read(path: Path) -> Fault | None:
    """The record; None where there is none or another version wrote it."""
    try:
        return Fault(**json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError):
        return None
