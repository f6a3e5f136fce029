"""Which stops a number of a results file rests on, by its file and key.

Along the key, what the file says of the place narrows it: a test, tests, a batch, a block, a stop, the readings between
which wear was lost. What is left are the stops that the file's own models take: those of the friction map, those of the
wear intervals, those of the drift charts; of a table the rows that its key counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.delta.fingerprints import loaded
from pipeline.provenance.places import listing, mapping
from pipeline.results import read_table

MAP = "stops of the friction map"
WEAR = "stops between the first and the last reading of wear"
CHART = "stops of the drift charts"
OK = "stops with status ok"
ALL = "all stops"


@dataclass
class Scope:
    """What is said along a key. Empty or None: nothing narrows it."""

    tests: set[str] = field(default_factory=set)
    batch: str | None = None
    blocks: set[str] = field(default_factory=set)
    stops: set[int] = field(default_factory=set)
    between: tuple[int, int] | None = None


def along(content: Any, key: str) -> tuple[Any, Scope]:
    """The value at a JSON pointer and what stands beside it on the way. Raises KeyError where there is none."""
    scope, at = Scope(), content
    for step in key.strip("/").split("/"):
        try:
            at = at[int(step)] if isinstance(at, list) else at[step]
        except (KeyError, IndexError, ValueError, TypeError) as error:
            raise KeyError(key) from error
        if isinstance(at, dict):
            _narrow(scope, at)
    return at, scope


def _narrow(scope: Scope, beside: Mapping[str, Any]) -> None:
    """Take over what a part of a file says of itself."""
    test, tests, blocks = beside.get("test"), beside.get("tests"), beside.get("blocks")
    if isinstance(test, str):
        scope.tests = {test}
    elif isinstance(tests, list) and all(isinstance(one, str) for one in tests):
        scope.tests = set(tests)
    if isinstance(beside.get("batch"), str):
        scope.batch = str(beside["batch"])
    if isinstance(beside.get("block"), str):
        scope.blocks = {str(beside["block"])}
    elif isinstance(blocks, list) and blocks and all(isinstance(one, str) for one in blocks):
        scope.blocks = set(blocks)
    if isinstance(beside.get("stop"), int):
        scope.stops = {int(beside["stop"])}
    ends = beside.get("from_stop"), beside.get("to_stop")
    if all(isinstance(one, int) for one in ends):
        scope.between = (int(ends[0] or 0), int(ends[1] or 0))


def of_test(method: Path, test: str, file: str, scope: Scope) -> tuple[str, pl.DataFrame]:
    """(which stops, their rows of stops.parquet) of one test behind a number of a file of its compound or its own."""
    path = method / "tests" / test / "stops.parquet"
    stops = read_table(path).select("stop", "file", "block", "status") if path.is_file() else _none()
    if scope.stops:
        return "the stop that is named", stops.filter(pl.col("stop").is_in(list(scope.stops)))
    if scope.between is not None and not scope.blocks:
        low, high = scope.between
        return f"stops {low + 1} to {high}", stops.filter(pl.col("stop").is_between(low + 1, high))
    words, numbers = _of_file(method, test, file)
    if scope.blocks:
        names = ", ".join(sorted(scope.blocks))
        found = stops.filter(pl.col("block").is_in(list(scope.blocks)) & (pl.col("status") == "ok"))
        return f"{OK} of block {names}" if len(scope.blocks) == 1 else f"{OK} of blocks {names}", found
    if numbers is None:
        return words, stops if words == ALL else stops.filter(pl.col("status") == "ok")
    return words, stops.filter(pl.col("stop").is_in(list(numbers)))


def _of_file(method: Path, test: str, file: str) -> tuple[str, set[int] | None]:
    """The stops that a kind of file rests on; None: no more is known than the words say."""
    folder, name = method / "tests" / test, file.rsplit("/", 1)[-1]
    if name in ("friction.json", "batches.json", "duty.json", "targets.json"):
        rows = listing(mapping(loaded(folder / "friction.json").get("diagnostics")).get("stops"))
        found = {one["stop"] for one in rows if isinstance(one.get("stop"), int)}
        return (MAP, found) if found else (OK, None)
    if name == "wear.json":
        parts = mapping(loaded(folder / "wear.json").get("components")).values()
        rows = [row for part in parts for row in listing(mapping(part).get("intervals"))]
        ends = [(row.get("from_stop"), row.get("to_stop")) for row in rows]
        known = [(low, high) for low, high in ends if isinstance(low, int) and isinstance(high, int)]
        if known:
            return WEAR, set(range(min(low for low, _ in known) + 1, max(high for _, high in known) + 1))
        return OK, None
    if name == "drift.json":
        chart = mapping(mapping(loaded(folder / "drift.json").get("charts")).get("residual")).get("stop")
        found = {one for one in chart if isinstance(one, int)} if isinstance(chart, list) else set()
        return (CHART, found) if found else (OK, None)
    return ALL, None


def _none() -> pl.DataFrame:
    return pl.DataFrame(schema={"stop": pl.Int64, "file": pl.String, "block": pl.String, "status": pl.String})


def spans(numbers: Iterable[int]) -> str:
    """`1 to 4, 7`: whole numbers in their order, neighbours together."""
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    return ", ".join(str(a) if a == b else f"{a} to {b}" for a, b in runs)
