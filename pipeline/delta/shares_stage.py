"""The stage shares: tests of a sample under the first method with one setting of the second at a time -> shares.json, shares.parquet.

The work is bounded by the number of reductions (`workspace.run.sampled`): settings that differ times tests of the sample. Where only one
setting moves a test's results, the second method's own results are that setting's, and nothing is reduced again.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from pipeline.delta import conclusions, shares
from pipeline.delta.alone import MOVED_BY, OF_TESTS, Place, Side, side_of, under, with_one
from pipeline.delta.settings import differing
from pipeline.delta.stage import test_side
from pipeline.errors import InputError
from pipeline.method import Method, from_settings_of_two
from pipeline.results import version, write_parquet
from pipeline.results.delta import Conclusion
from pipeline.results.model import fields, read, read_or_none, renewed, write
from pipeline.results.record import Record
from pipeline.results.shares import TOGETHER, SettingShare, Shares
from pipeline.results.summary import TestSummary
from pipeline.workspace.run import Run, load_run

Tests = Mapping[str, Side]  # by the test's id
SMALL_K = 0.05  # kelvin: an end of a window that moves by less is not fitted again


def run(*, config: Path, a: str, b: str, tests: list[str], settings: str, into: Path) -> None:
    """What each setting does alone in the `tests`; writes shares.json and shares.parquet into `into`.

    settings: of both methods, as `settings_of_two` gives them.
    """
    the_run = load_run(config)
    results = Path(the_run.results)
    usable, left_out = _sample(results, (a, b), tests)
    methods = from_settings_of_two(settings)
    first, second = ({test: _side(results / method / "tests" / test) for test in usable} for method in (a, b))
    found, moved = shared(methods, first, second, {test: place_of(the_run, (a, b), test) for test in usable}, into)
    head = {"a": a, "b": b, "tests": tests, "tests_of": len(the_run.tests), "software": version()}
    write_parquet(into / "shares.parquet", shares.table(moved))
    write(into / "shares.json", renewed(found, left_out={**left_out, **found.left_out}, **head))


def _side(folder: Path) -> Side:
    return side_of(folder, test_side(folder))


def _sample(results: Path, methods: tuple[str, str], tests: Iterable[str]) -> tuple[list[str], dict[str, str]]:
    """Tests that can be reduced again under both methods, and why the others cannot."""
    usable, left_out = [], {}
    for test in tests:
        record = read(results / "channels" / f"{test}.json", Record)
        summaries = [read_or_none(results / m / "tests" / test / "summary.json", TestSummary) for m in methods]
        why = next((s.unusable for s in summaries if s is not None and s.unusable), None)
        why = why or (None if all(summaries) else "has no results under both methods")
        why = why or ("only reduced rows were kept" if record.holds == "summary" else None)
        if why is None:
            usable.append(test)
        else:
            left_out[test] = why
    return usable, left_out


def place_of(the_run: Run, methods: tuple[str, str], test: str) -> Place:
    """Where the test's files lie; the rig's file where either method applies its calibrations."""
    channels = Path(the_run.results) / "channels" / test
    rig = next((path for path in (the_run.rig(method, test) for method in methods) if path), None)
    target, compound = the_run.target(test), the_run.found.tests[test]
    pooled = None
    if compound is not None:
        pooled = (
            Path(the_run.results) / methods[0] / "compounds" / dict(the_run.slug_of)[compound] / "repeatability.json"
        )
    return Place(
        folder=Path(the_run.folder(test)), channels=channels.with_name(f"{test}.parquet"), record=channels.with_name(f"{test}.json"),
        rig=Path(rig) if rig else None, target=Path(target) if target else None, repeatability=pooled,
    )  # fmt: skip


@dataclass
class Work:
    """What came up on the way: reductions of a test, and tests that one setting alone leaves unusable."""

    reductions: int = 0
    left_out: dict[str, str] = field(default_factory=dict)


def shared(
    methods: tuple[Method, Method], first: Tests, second: Tests, places: Mapping[str, Place], room: Path
) -> tuple[Shares, pl.DataFrame]:
    """shares.json without its head, and the change of each stop (`shares.moves`).

    first, second: every test of the sample by either method; room: a folder for temporary files.
    """
    names, work = [row.name for row in differing(*methods, sections=OF_TESTS)], Work()
    runs: dict[str, Tests] = {name: second for name in names}
    if len(names) > 1:
        runs = {name: _run(name, methods, first, second, places, room, work) for name in names}
    first, second = (_without(work.left_out, side) for side in (first, second))
    whole = {**{name: _without(work.left_out, run) for name, run in runs.items()}, TOGETHER: second}
    moved = shares.moves(first, whole)
    asked = {test: [row for row in differ(test, first[test], second[test]) if row.kind == "verdict"] for test in first}
    every = {name: shares.share(first, run, moved, name, asked) for name, run in whole.items()}
    alone = [SettingShare(name=name, **fields(every[name])) for name in names]
    together = every[TOGETHER]
    found = Shares(
        left_out=work.left_out, reductions=work.reductions, stops=len(moved), stops_of=shares.with_mu(first, second),
        settings=sorted(alone, key=lambda one: -shares.amount(moved, one.name)), together=together,
        interaction=shares.interaction(moved, alone, together) if len(names) > 1 else None,
    )  # fmt: skip
    return found, moved


def _without(left_out: Container[str], side: Tests) -> Tests:
    return {test: one for test, one in side.items() if test not in left_out}


def _run(
    name: str, methods: tuple[Method, Method], first: Tests, second: Tests, places: Mapping[str, Place], room: Path, work: Work
) -> Tests:  # fmt: skip
    """Every test under the first method with one setting of the second."""
    method, section, found = with_one(*methods, name), name.partition(".")[0], {}
    for test, side in first.items():
        work.reductions += section in MOVED_BY["stops"]
        try:
            found[test] = under(method, section, side, asked_of(test, side, second[test]), places[test], room)
        except InputError as error:
            work.left_out[test] = f"with {name} alone: {error}"
    return found


def asked_of(test: str, first: Side, second: Side) -> set[str]:
    """Which of friction, wear and drift the two methods answer differently, so that it is worth asking whose doing that is."""
    rows = differ(test, first, second)
    wanted = {stage for stage in ("wear", "drift") if any(row.what.startswith(stage) for row in rows)}
    end = shares.ends(test, first, second)
    moved = any(abs(k) > SMALL_K for k in (end.low_k, end.high_k) if k is not None)
    return wanted | ({"friction"} if moved or any(row.what == "window" for row in rows) else set())


def differ(test: str, first: Side, second: Side) -> list[Conclusion]:
    """Conclusions of a test on which the two methods differ."""
    return [row for row in conclusions.of_test(test, first.concluded, second.concluded) if row.changed]
