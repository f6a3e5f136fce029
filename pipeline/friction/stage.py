"""Stops of one test -> friction.json: map, bands, window, sensitivities, bedding, fade, recovery."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import polars as pl

from pipeline.archive.card import load_card
from pipeline.archive.targets import Target
from pipeline.errors import InputError
from pipeline.friction import bedding, block_scatter, blocks, by_hand, fade, history, instop, lines, pauses, result
from pipeline.friction.comparison import best_map
from pipeline.friction.map import FrictionMap, NoMap
from pipeline.friction.wanted import Wanted
from pipeline.method import Method, friction, from_stage_settings
from pipeline.results import read_table
from pipeline.results.friction import OfMap, TestFriction
from pipeline.results.friction_map import LeftOut
from pipeline.results.model import fields, read, renewed, stamp, write
from pipeline.results.summary import TestSummary

UNSTATED = "no sensor accuracies stated: the bands hold scatter only"


def run(*, folder: Path, settings: str, target: Path | None, into: Path) -> None:
    """Characterise the friction of the test in `folder` from its stops and summary in `into`."""
    method = from_stage_settings(settings)
    inputs = {
        "stops": into / "stops.parquet",
        "excluded": into / "excluded.parquet",
        "summary": into / "summary.json",
    }
    head = {
        "test": folder.name,
        "method": into.parent.parent.name,
        "stamp": stamp("friction", friction.REVISION, settings, inputs),
    }
    summary = read(inputs["summary"], TestSummary)
    why = summary.unusable
    if why is not None:
        write(into / "friction.json", TestFriction.model_validate({**head, "unusable": why, "window_reason": why}))
        return
    found = of_tables(
        read_table(inputs["stops"]),
        read_table(inputs["excluded"]),
        read_table(into / "traces.parquet"),
        method,
        wanted_of(target),
        summary.mu_u_common_relative,
        disc_from(folder),
    )
    write(into / "friction.json", renewed(found, **head))


def of_tables(
    stops: pl.DataFrame,
    excluded: pl.DataFrame,
    traces: pl.DataFrame,
    method: Method,
    wanted: Wanted,
    common: float | None,
    disc: instop.Disc | None,
) -> TestFriction:
    """friction.json of one test from its tables, without the test's name and stamp; `common` as for `of_test`."""
    found, map_ = of_test(stops, method, wanted, common)
    kept_out = by_hand.with_excluded(
        stops, excluded, method, lambda every: mapped(every, method, wanted, common).shared
    )
    return renewed(found, in_stop=instop.in_stop(stops, traces, map_, disc), excluded=kept_out)


def wanted_of(target: Path | None) -> Wanted:
    """The target's wishes for friction; none without a readable target (the scan has reported a bad one)."""
    try:
        return wanted_in(target) if target else Wanted()
    except InputError:
        return Wanted()


def wanted_in(target: Path) -> Wanted:
    """A target's wishes for friction. Raises InputError where the file cannot be used."""
    from pipeline.inputs.model import load

    content = load(target, Target)
    at = None if content.at is None else (content.at.pressure, content.at.energy_density)
    return Wanted(content.mu, content.temperature_window, at)


def disc_from(folder: Path) -> instop.Disc | None:
    """The disc of the test's card; a card that cannot be read would have made the test unusable before."""
    try:
        return instop.disc_of(load_card(folder))
    except InputError:
        return None


class Mapped(NamedTuple):
    """The map of a test: its part of friction.json, the map itself where there is one, the blocks left out of it."""

    shared: OfMap
    map: FrictionMap | None
    left_out: list[LeftOut]


def mapped(stops: pl.DataFrame, method: Method, wanted: Wanted, common: float | None) -> Mapped:
    """The map fitted to the stops of unchanged blocks; without a map the reason stands in its part."""
    settings, temperature = method.friction, method.reduction.temperature
    kept, left_out = history.unchanged(stops, settings, temperature)
    try:
        compared = best_map(kept, settings, temperature=temperature)
        shared = result.of_map(compared.map, settings, wanted, common or 0.0)
    except NoMap as reason:
        return Mapped(OfMap(window_reason=str(reason), curve_reason=str(reason)), None, left_out)
    return Mapped(renewed(shared, model=result.model_of(compared)), compared.map, left_out)


def of_test(
    stops: pl.DataFrame, method: Method, wanted: Wanted, common: float | None
) -> tuple[TestFriction, FrictionMap | None]:
    """The content of friction.json of one test, from its stops; `common` None: not stated, taken as 0 and
    said so.
    """
    settings, temperature = method.friction, method.reduction.temperature
    shared, map_, left_out = mapped(stops, method, wanted, common)
    changed = [stop for block in left_out for stop in block.stops]
    kept, suspect = stops.filter(~pl.col("stop").is_in(changed)), settings.use_suspect
    alike = 0.0 if map_ is None else map_.fit.correlation
    scatter = blocks.scatter_of(kept, temperature, use_suspect=suspect, alike=alike)
    every = fade.fades(stops, temperature, use_suspect=suspect, scatter=scatter, confidence=settings.confidence)
    worst = fade.worst(every)
    bedded = bedding.bedding(stops, map_, confidence=settings.confidence, use_suspect=suspect)
    along, no_line = lines.lines(
        kept, temperature, scatter,
        common=common, confidence=settings.confidence, use_suspect=suspect, curve=shared.curve,
    )  # fmt: skip
    found = TestFriction.model_validate(
        {
            **fields(shared),
            "test": "",
            "temperature": temperature,
            "average": method.reduction.average,
            "left_out": left_out,
            "bedding": bedded,
            "blocks": blocks.blocks(
                stops, temperature, scatter, common=common, confidence=settings.confidence, use_suspect=suspect
            ),
            "lines": along,
            "lines_why": no_line,
            "green": blocks.green(
                stops, bedded, scatter, common=common, confidence=settings.confidence, use_suspect=suspect
            ),
            "stop_scatter": block_scatter.told(scatter),
            "fade": worst and renewed(worst, recovery=None),
            "recovery": worst and worst.recovery,
            "fades": every,
            "pauses": pauses.pauses(stops, map_, shortest=settings.pause),
            "common_reason": None if common is not None else UNSTATED,
        }
    )
    sides = result.of_sides(map_, found, wanted) if map_ is not None and found.curve else None
    return renewed(found, sides=sides), map_
