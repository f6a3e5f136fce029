"""Comparing a run with the golden tables, and renewing them: only where what moved was raised and written down."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from tests.rig_samples.golden import tables
from tests.rig_samples.golden.stages import STAGES, Stage, Written, now, place

FOLDER = Path(__file__).parent
COMMAND = "python -m tests.rig_samples.golden --write"


def verdict(stage: Stage, golden: tables.Table | None, found: tables.Figures, current: Written) -> str | None:
    """What is wrong with the stage's golden table beside a run, and what to do; None where they agree."""
    if golden is None:
        return f"{stage.name}: no golden figures yet; write them: {COMMAND}"
    changes = tables.moved(golden.figures, found)
    if not changes:
        return outdated(stage, golden, current)
    text = f"{stage.name}: {len(changes)} golden figures moved{tables.told(changes)}\n"
    wanted = tables.missing_for_renewal(stage, golden, changes, current)
    if not wanted:
        return f"{text}  meant, as a raised REVISION and docs/changes.md say: renew them: {COMMAND}"
    return f"{text}  not meant: mend it. Meant: {'; '.join(wanted)}; then {COMMAND}"


def outdated(stage: Stage, golden: tables.Table, current: Written) -> str | None:
    """A table of other revisions than the code's would take the next move for one that was raised."""
    if golden.written.revisions == current.revisions:
        return None
    return f"{stage.name}: a REVISION moved since the golden figures were written; renew them: {COMMAND}"


def renew(
    folder: Path,
    found: dict[str, tables.Figures],
    *,
    write: bool,
    tell: Callable[[str], object],
    state: Callable[[Stage], Written] = now,
) -> list[str]:
    """Write the tables of the stages that may be renewed; tell what moved. Returns the stages that were refused.

    Nothing is written where any is refused, as the figures of later stages would hide where it began.
    """
    before = {name: tables.read(place(folder, stage)) for name, stage in STAGES.items()}
    refused = []
    for name, stage in STAGES.items():
        golden = before[name]
        if said := verdict(stage, golden, found.get(name, {}), state(stage)):
            tell(said)
        if golden and tables.missing_for_renewal(
            stage, golden, tables.moved(golden.figures, found.get(name, {})), state(stage)
        ):
            refused.append(name)
    if refused:
        tell(f"nothing renewed: {', '.join(refused)} refused")
    elif write:
        for name, stage in STAGES.items():
            golden, current = before[name], state(stage)
            figures = found.get(name, {})
            if golden and not tables.moved(golden.figures, figures):
                if golden.written.revisions == current.revisions:
                    continue
                figures = golden.figures
            place(folder, stage).write_text(tables.text(tables.Table(current, figures)), encoding="utf-8")
            tell(f"written: {place(folder, stage).name}")
    return refused
