"""The rigs stage: all tests of the archive under one method -> rigs.json with its rig_shift findings."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.archive.card import Card, load_card
from pipeline.archive.rigs import Rig
from pipeline.archive.scan import scan
from pipeline.errors import InputError
from pipeline.findings import finding
from pipeline.inputs.model import load
from pipeline.method import batches
from pipeline.results import read_table
from pipeline.results.model import read, renewed, stamp, write
from pipeline.results.rigs import Copied, Event, Examined, OfRig, Rigs
from pipeline.results.summary import TestSummary
from pipeline.rigs.epochs import Boundary, boundaries, epoch
from pipeline.rigs.shift import Reading, friction_step, ratio_step, relative
from pipeline.stops import cells
from pipeline.stops.copies import Copy, copies, counted_no_more
from pipeline.wording import counted

HISTORY_PURPOSES = ("duty", "fade")


@dataclass(frozen=True)
class RigTest:
    """A usable test: its card and its stops."""

    card: Card
    stops: pl.DataFrame


def run(*, archive: Path, results: Path, rigs: list[Path], settings: str, into: Path) -> None:
    """Read every test's stops under `results` (a method's folder), look at each rig's events, write into/rigs.json."""
    states = [load(path, Rig) for path in rigs]
    tests, inputs = _tests(archive, results)
    cards = {t.card.test: t.card for t in tests}
    found = copies({t.card.test: t.stops for t in tests})
    once = counted_no_more(found)
    content = shifts([t for t in tests if t.card.test not in once], states)
    copied = [_copy(copy, cards) for copy in found]
    write(
        into / "rigs.json",
        renewed(
            content,
            method=results.name,
            copies=copied,
            findings=[*content.findings, *(f for item in copied for f in _copied(item))],
            stamp=stamp("rigs", batches.REVISION, settings, inputs | {p.name: p for p in rigs}),
        ),
    )


def _copy(copy: Copy, cards: dict[str, Card]) -> Copied:
    """The copy as rigs.json lists it, and what the two cards say differently of what was tested."""
    one, other = cards[copy.test], cards[copy.of]
    facts = ("compound", "batch", "specimen", "date", "rig")
    said = {name: [str(getattr(card, name)) for card in (one, other)] for name in facts}
    differ = {name: pair for name, pair in said.items() if pair[0] != pair[1]}
    return Copied.model_validate({**copy._asdict(), "cards_differ_in": differ})


def _copied(item: Copied) -> list[OfRig]:
    """test_copied in both tests."""
    found = []
    for own, other in ((item.test, item.of), (item.of, item.test)):
        text = f"{counted(item.stops, 'stop')} of {own} in common with {other}"
        if item.whole:
            text += f": one test in two folders, counted once, as {item.of}"
        differ = [f"{name} {a} and {b}" for name, (a, b) in item.cards_differ_in.items()]
        if differ:
            text += f"; the cards of {item.test} and {item.of} differ in {', '.join(differ)}"
        evidence = item.model_dump(include={"stops", "share", "whole", "cards_differ_in"}) | {"other": other}
        found.append(OfRig(test=own, **finding("test_copied", text, evidence=evidence).as_dict()))
    return found


def _tests(archive: Path, results: Path) -> tuple[list[RigTest], dict[str, Path]]:
    tests: list[RigTest] = []
    inputs: dict[str, Path] = {}
    for name in scan(archive, results.parent).tests:
        stops, summary = results / "tests" / name / "stops.parquet", results / "tests" / name / "summary.json"
        inputs |= {f"{name}/stops.parquet": stops}
        if not stops.is_file() or not summary.is_file() or read(summary, TestSummary).unusable:
            continue
        try:
            tests.append(RigTest(load_card(archive / name), read_table(stops)))
        except InputError:
            continue
    return tests, inputs


def shifts(tests: list[RigTest], rigs: list[Rig]) -> Rigs:
    """Each test's state, what was examined at each event, shifts found, findings: rigs.json less its heading and
    copies.
    """
    by_rig = {rig.rig: rig for rig in rigs}
    epochs = {
        t.card.test: epoch(t.card.rig, t.card.date, by_rig[t.card.rig].events if t.card.rig in by_rig else ())
        for t in tests
    }
    examined: list[Examined] = []
    for rig in rigs:
        dates = {t.card.test: t.card.date for t in tests if t.card.rig == rig.rig}
        examined += _carried([_examine(boundary, tests, rig) for boundary in boundaries(rig, dates)])
    found = [item for item in examined if item.shift_relative is not None]
    findings = [f for item in found for f in _findings(item)]
    return Rigs(epochs=epochs, examined=examined, shifts=found, findings=findings)


def _examine(boundary: Boundary, tests: list[RigTest], rig: Rig) -> Examined:
    """One boundary: both steps, and the shift where either is found."""
    readings, reference = _readings(tests, rig)
    before, after = set(boundary.before), set(boundary.after)
    friction, ratio = friction_step(readings, before, after, reference), ratio_step(readings, before, after)
    return Examined(
        rig=rig.rig,
        date=boundary.events[-1].date.isoformat(),
        events=[Event(date=e.date.isoformat(), what=e.what, note=e.note) for e in boundary.events],
        shift_relative=relative(friction, ratio),
        friction=friction,
        energy_ratio=ratio,
        before=boundary.before,
        tests=boundary.after,
    )


def _carried(found: list[Examined]) -> list[Examined]:
    """A shift stays until a later event undoes it: later states' tests are touched as well until then."""
    return [_lasting(item, found[index + 1 :]) for index, item in enumerate(found)]


def _lasting(item: Examined, later: list[Examined]) -> Examined:
    """The boundary with the tests of all later states up to the event that undoes its shift."""
    if item.shift_relative is None:
        return item
    touched = set(item.tests)
    for one in later:
        back = one.shift_relative
        if back is not None and abs((1 + back) * (1 + item.shift_relative) - 1) < abs(back) / 2:
            break
        touched |= set(one.tests)
    return renewed(item, tests=sorted(touched))


def _readings(tests: list[RigTest], rig: Rig) -> tuple[list[Reading], set[str]]:
    """Level and energy ratio of every test, and which batches are of the rig's reference compound."""
    levels: dict[str, float] = {}
    for compound in {t.card.compound for t in tests}:
        levels |= _levels([t for t in tests if t.card.compound == compound])
    readings, reference = [], set()
    for t in tests:
        group = f"{t.card.compound} {t.card.batch}"
        if t.card.compound == rig.reference_compound:
            reference.add(group)
        ratio = t.stops.filter(pl.col("status") == "ok")["energy_ratio"].drop_nulls()
        median = float(np.median(ratio.to_numpy())) if len(ratio) else float("nan")
        readings.append(Reading(t.card.test, group, t.card.specimen, levels.get(t.card.test, float("nan")), median))
    return readings, reference


def _levels(tests: list[RigTest]) -> dict[str, float]:
    """log mu of each test at matched conditions: its checks before any duty or fade, cell by cell."""
    frames = []
    needed = ("mu", "temperature_initial_c", "pressure_bar", "speed_start_rpm")
    for t in tests:
        history = t.stops.filter(pl.col("purpose").is_in(HISTORY_PURPOSES))["stop"]
        ok = t.stops.filter(pl.col("status") == "ok", *(pl.col(c) > 0 for c in needed))
        early = ok.filter(pl.col("stop") < (history.min() if len(history) else 2**31))
        checks = early.filter(pl.col("purpose") == "check")
        chosen = checks if len(checks) >= 2 else early.filter(pl.col("purpose").is_in(["map", "check"]))
        frames.append(chosen.select(*needed, pl.lit(t.card.test).alias("key"), pl.col("mu").log().alias("log_mu")))
    table = pl.concat(frames)
    if not len(table):
        return {}
    found = cells.levels(table, "log_mu")
    return dict(zip(found.keys, (float(v) for v in found.values), strict=True)) if found.matched else {}


def _findings(item: Examined) -> list[OfRig]:
    """rig_shift in each test that the shift touches."""
    what = ", ".join(f"{event.what} {event.date}" for event in item.events)
    parts = []
    friction, ratio = item.friction, item.energy_ratio
    if friction.found and friction.step is not None:
        parts.append(
            f"mu of {', '.join(friction.groups or [])} stepped by {100 * np.expm1(friction.step):+.1f} % "
            f"({counted(friction.tests_before or 0, 'test')} before, {friction.tests_after} after)"
        )
    if ratio.found:
        parts.append(f"the energy ratio by {ratio.step:+.3f}, so the torque chain or the inertia")
    message = f"rig {item.rig} shifted at {what}: {'; '.join(parts)}"
    content = item.model_dump(exclude_none=True)
    evidence = {key: content[key] for key in ("shift_relative", "friction", "energy_ratio", "date")}
    found = finding("rig_shift", message, evidence=evidence).as_dict()
    return [OfRig(test=test, **found) for test in item.tests]
