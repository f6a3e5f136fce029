"""Stages with figures of their own: what their numbers rest on, and where that stands."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from pipeline.method import SECTIONS, channels
from rig_samples import scenario
from tests.conftest import REPO

CHANGES = REPO / "docs" / "changes.md"
SAMPLES = "samples"  # what all figures rest on; its revision stands in rig_samples/scenario.py
REDUCTION = ("conditioning", "segmentation", "reduction")


@dataclass(frozen=True)
class Stage:
    """A stage: the revisions that are its own, and the stages that its results rest on (all, not only the nearest)."""

    name: str
    own: tuple[str, ...]
    after: tuple[str, ...] = ()


STAGES = {
    stage.name: stage
    for stage in (
        Stage("channels", ("channels",)),
        Stage("stops", REDUCTION, ("channels",)),
        Stage("friction", ("friction",), ("stops", "channels")),
        Stage("wear", ("wear",), ("stops", "channels")),
        Stage("drift", ("drift",), ("friction", "stops", "channels")),
        Stage("rigs", ("batches",), ("friction", "stops", "channels")),
        Stage("precision", ("batches",), ("rigs", "wear", "drift", "friction", "stops", "channels")),
        # friction and wear over all tests of a compound: tests are cut where a drift begins
        Stage("compound", ("friction", "wear"), ("friction", "wear", "rigs", "drift", "stops", "channels")),
        Stage("charts", ("batches",), ("rigs", "wear", "drift", "friction", "stops", "channels")),
        Stage(
            "batches",
            ("batches",),
            ("charts", "precision", "compound", "friction", "wear", "rigs", "drift", "stops", "channels"),
        ),
        Stage(
            "duty",
            ("duty",),
            ("batches", "charts", "precision", "compound", "friction", "wear", "rigs", "drift", "stops", "channels"),
        ),
    )
}


@dataclass(frozen=True)
class Written:
    """With what a table was written. revisions: of the stage and of all before it; entries: of the list of changes that
    name one of them; newest: the first of these, for the reader.
    """

    revisions: dict[str, int]
    entries: int
    newest: str


def revisions_of(stage: Stage) -> list[str]:
    """Names of the revisions that the stage's numbers rest on, its own first and that of the samples last."""
    names = [*stage.own, *(name for before in stage.after for name in STAGES[before].own), SAMPLES]
    return list(dict.fromkeys(names))


def now(stage: Stage, changes: str | None = None) -> Written:
    """The state of the code and of the list of changes."""
    current = {name: section[1].REVISION for name, section in SECTIONS.items()}
    current |= {"channels": channels.REVISION, SAMPLES: scenario.REVISION}
    text = CHANGES.read_text(encoding="utf-8") if changes is None else changes
    found = entries(text, {stage.name, *stage.own, *stage.after, *revisions_of(stage)})
    return Written({n: current[n] for n in revisions_of(stage)}, len(found), found[0] if found else "none")


def entries(changes: str, names: set[str]) -> list[str]:
    """Entries of the list of changes whose column `stage` holds one of the names, as `date stage: what`, newest first."""
    rows = [[cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]] for line in changes.splitlines()
            if re.match(r"\| \d{4}-\d\d-\d\d \|", line)]  # fmt: skip
    return [f"{row[0]} {row[1]}: {row[2]}" for row in rows if names & set(re.split(r"[,\s]+", row[1]))]


def place(folder: Path, stage: Stage) -> Path:
    return folder / f"{stage.name}.csv"
