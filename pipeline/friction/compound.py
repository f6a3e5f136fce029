"""Friction of a compound over all its tests: one map, specimens as random factors, batches as they were
tested.

Repeated stops of a specimen tell about that specimen only. The mean band says where the mean of the batches
tested lies given how few specimens were run; the tolerance band holds single stops of further specimens of
these batches, alike from each. A further batch is another question, answered apart: with the few batches a
compound ever has, nothing sharp can be said about it. The calibration error is common to the tests of a rig
and independent between rigs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy import special

from pipeline.friction import bedding, blocks, compound_blocks, fade, history, pauses, result
from pipeline.friction.block_scatter import Variance
from pipeline.friction.comparison import best_map, map_of_form
from pipeline.friction.likelihood import LEVEL_PRIOR, SHIFT_PRIOR, USUAL_SHIFT_K
from pipeline.friction.map import FrictionMap, NoMap, fit_map
from pipeline.friction.stage import UNSTATED
from pipeline.friction.wanted import Wanted
from pipeline.method import Method
from pipeline.results.compound_friction import (
    Between,
    Changed,
    CompoundFriction,
    FurtherBatch,
    OfBatch,
    OneTest,
    Specimen,
)
from pipeline.results.friction import OfMap
from pipeline.results.friction_history import Bedding, Fade, Recovery
from pipeline.results.friction_map import LeftOut, MapModel
from pipeline.results.model import fields, renewed


@dataclass(frozen=True)
class StopsOfTest:
    """One test of a compound; stops from `changed_at` on (the onset of a drift that changes the specimen)
    are left out.
    """

    __test__ = False  # not a test class, whatever its name says to a test collector

    test: str
    batch: str
    specimen: str
    stops: pl.DataFrame
    rig: str = ""
    common: float | None = None  # relative standard uncertainty common to the rig's stops
    changed_at: int | None = None
    changed_by: str | None = None  # the drift's verdict


Sound = tuple[pl.DataFrame, list[LeftOut]]  # unchanged stops of a test, and its blocks left out


def of_compound(tests: Sequence[StopsOfTest], method: Method, wanted: Wanted) -> CompoundFriction:
    """The content of a compound's friction.json but for its head, its law at the face, and its stamp."""
    return with_map(tests, [sound_stops(test, method) for test in tests], method, wanted)[0]


def with_map(
    tests: Sequence[StopsOfTest], sound: Sequence[Sound], method: Method, wanted: Wanted
) -> tuple[CompoundFriction, FrictionMap | None]:
    """`of_compound`, and the map that it rests on. sound: of each test, as `sound_stops` tells them.

    Never raises for want of data: what cannot be given is null with its reason.
    """
    settings, temperature = method.friction, method.reduction.temperature
    usable = [test for test in tests if not test.stops.is_empty()]
    unchanged = [own for test, own in zip(tests, sound, strict=True) if not test.stops.is_empty()]
    map_: FrictionMap | None = None
    try:
        if not usable:
            raise NoMap("no test with stops")
        compared = best_map(
            pl.concat([stops for stops, _ in unchanged], how="diagonal_relaxed"), settings, temperature=temperature
        )
        map_ = compared.map
        own = fields(result.of_map(map_, settings, wanted, common_of(usable))) | {
            "model": result.model_of(compared),
            "specimens": specimens(map_),
            "between": between(map_),
            "by_batch": by_batch(map_, method, wanted, common_of(usable)),
            "further_batch": further_batch(map_, settings.confidence, common_of(usable)),
        }
    except NoMap as reason:
        own = fields(OfMap(window_reason=str(reason), curve_reason=str(reason)))
    each = [
        _of_one(test, kept, left_out, map_, method) for test, (kept, left_out) in zip(usable, unchanged, strict=True)
    ]
    rows, along, no_line = compound_blocks.of_batches(
        [_for_blocks(test, kept) for test, (kept, _) in zip(usable, unchanged, strict=True)], method, _of_map(map_)
    )
    found = CompoundFriction.model_validate(
        {
            **own,
            "compound": "",
            "temperature": temperature,
            "average": method.reduction.average,
            "bedding": _bedding_over(each),
            "fade": worst_fade(each),
            "recovery": worst_recovery(each),
            "left_out": [block for one in each for block in one.left_out],
            "changed": _changed(usable),
            "tests": each,
            "blocks": rows,
            "lines": along,
            "lines_why": no_line,
            "common_reason": None if any(t.common is not None for t in usable) else UNSTATED,
        }
    )
    sides = result.of_sides(map_, found, wanted) if map_ is not None and found.curve else None
    return renewed(found, sides=sides), map_


def map_of(tests: Sequence[StopsOfTest], method: Method, known: MapModel | None = None) -> FrictionMap | None:
    """The map alone, of the form that cross-validation chooses; None where none can be fitted. known: what was told of the same map when
    its form was chosen.
    """
    parts = [sound_stops(test, method)[0] for test in tests if not test.stops.is_empty()]
    if not parts:
        return None
    stops = pl.concat(parts, how="diagonal_relaxed")
    settings, temperature = method.friction, method.reduction.temperature
    try:
        if known is not None:
            return map_of_form(stops, settings, temperature=temperature, table=known.compared)
        return best_map(stops, settings, temperature=temperature).map
    except NoMap:
        return None


def sound_stops(test: StopsOfTest, method: Method) -> Sound:
    """The test's unchanged stops with its test, batch and specimen, and the blocks left out."""
    if test.stops.is_empty():
        return test.stops, []
    stops = test.stops if test.changed_at is None else test.stops.filter(pl.col("stop") < test.changed_at)
    stops, left_out = history.unchanged(stops, method.friction, method.reduction.temperature)
    named = stops.with_columns(test=pl.lit(test.test), batch=pl.lit(test.batch), specimen=pl.lit(test.specimen))
    return named, [renewed(block, test=test.test) for block in left_out]


def common_of(tests: Sequence[StopsOfTest]) -> float:
    """Relative standard uncertainty of the compound's mean from calibration: each rig's own, weighted by
    its tests.
    """
    rigs: dict[str, list[float]] = {}
    for test in tests:
        rigs.setdefault(test.rig, []).append(test.common or 0.0)
    total = sum(len(values) for values in rigs.values())
    return float(np.sqrt(sum((len(v) / total * np.mean(v)) ** 2 for v in rigs.values()))) if total else 0.0


def specimens(map_: FrictionMap) -> list[Specimen]:
    """Each specimen's shift in level from the compound's map at the reference, batch included; relative where
    effects multiply, else in mu.
    """
    keys = map_.stops.select("batch", "specimen").to_dicts()
    own = map_.fit.specimen_shifts()
    shifts: dict[tuple[str, str], list[float]] = {}
    for key, shift in zip(keys, own, strict=True):
        row = shifts.setdefault((key["batch"], key["specimen"]), [])
        row.append(float(np.expm1(shift)) if map_.link == "log" else float(shift))
    return [
        Specimen(batch=batch, specimen=specimen, stops=len(values), shift=float(np.median(values)))
        for (batch, specimen), values in shifts.items()
    ]


def between(map_: FrictionMap) -> Between:
    """Standard deviations between specimens and batches beside that of stops, relative where effects
    multiply.
    """
    variances = dict(zip(map_.factors, np.sqrt(map_.fit.level_variances()), strict=True))
    shifts = map_.fit.batch_shifts()
    single = "a single specimen: its own map; the scatter between specimens is not known and not in the bands"
    batches = map_.stops["batch"].n_unique()
    alone = "one batch" if batches == 1 else "no batch has two specimens: batches cannot be told from specimens"
    return Between(
        unit="relative" if map_.link == "log" else "mu",
        specimen_sd=float(variances["specimen"]) if "specimen" in variances else None,
        specimen_why=None if "specimen" in variances else single,
        specimen_shift_k=float(variances["specimen_shift"]) if "specimen_shift" in variances else None,
        batch_sd=float(shifts.std(ddof=1)) if shifts.size else None,
        batch_why=None if shifts.size else alone,
        stop_sd=float(np.median(map_.fit.scatter(map_.fit.data.temperature))),
        prior=f"log-normal: shifts in level about the stops' scatter (sd of the logarithm {LEVEL_PRIOR}), "
        f"along the temperature about {USUAL_SHIFT_K:g} K ({SHIFT_PRIOR:g})",
        autocorrelation=map_.fit.correlation,
    )


def by_batch(map_: FrictionMap, method: Method, wanted: Wanted, common: float) -> list[OfBatch]:
    """Each batch by itself: its curve, window and verdict, with the compound's form of map and reference
    conditions.
    """
    names = map_.stops["batch"].unique(maintain_order=True).to_list()
    if len(names) < 2:
        return []
    found = []
    for name in names:
        try:
            own = fit_map(
                map_.stops.filter(pl.col("batch") == name), method.friction, temperature=map_.temperature_kind,
                reference=map_.reference, link=map_.link, energy_form=map_.choice.energy_form,
                interaction=map_.fit.data.interaction or False, cells=True,
            )  # fmt: skip
            row = result.of_batch(name, own, method.friction, wanted, common)
        except NoMap as reason:
            row = OfBatch(batch=name, window_reason=str(reason), curve_reason=str(reason))
        found.append(row)
    return found


def further_batch(map_: FrictionMap, confidence: float, common: float) -> FurtherBatch:
    """Where the mean of a further batch lies at the reference, by Student's t over the batches tested.

    mean -+ t(B - 1) s sqrt(1 + 1/B), s between the batches' means (their own uncertainty is in it).
    """
    shifts, level = map_.fit.batch_shifts(), map_.predict(map_.reference.temperature)
    if shifts.size < 3:
        few = "fewer than three batches tell nothing of a further one"
        return FurtherBatch(batches=int(max(shifts.size, 1)), why=few)
    if not level.supported[0]:
        return FurtherBatch(batches=int(shifts.size), why="the reference temperature is outside the data")
    sd = float(shifts.std(ddof=1)) * np.sqrt(1 + 1 / shifts.size)
    size = 1.0 if map_.link == "log" else float(level.mu[0])
    half = float(special.stdtrit(shifts.size - 1, (1 + confidence) / 2) * np.hypot(sd, common * size))
    mu = float(level.mu[0])
    low, high = (mu * np.exp(-half), mu * np.exp(half)) if map_.link == "log" else (mu - half, mu + half)
    return FurtherBatch(value=mu, low=float(low), high=float(high), batches=int(shifts.size))


def _of_one(
    test: StopsOfTest, kept: pl.DataFrame, left_out: list[LeftOut], map_: FrictionMap | None, method: Method
) -> OneTest:
    settings, temperature = method.friction, method.reduction.temperature
    alike = 0.0 if map_ is None else map_.fit.correlation
    scatter = blocks.scatter_of(kept, temperature, use_suspect=settings.use_suspect, alike=alike)
    worst = fade.worst(
        fade.fades(
            test.stops, temperature,
            use_suspect=settings.use_suspect, scatter=scatter, confidence=settings.confidence,
        )
    )  # fmt: skip
    return OneTest(
        test=test.test,
        batch=test.batch,
        specimen=test.specimen,
        bedding=bedding.bedding(test.stops, map_, confidence=settings.confidence, use_suspect=settings.use_suspect),
        fade=worst and renewed(worst, recovery=None),
        recovery=worst and worst.recovery,
        left_out=left_out,
        pauses=pauses.pauses(test.stops, map_, shortest=settings.pause, level=_level(test, map_)),
    )


def _for_blocks(test: StopsOfTest, kept: pl.DataFrame) -> compound_blocks.OfTest:
    """The test as the table of blocks wants it: its stops up to a drift's onset."""
    stops = test.stops if test.changed_at is None else test.stops.filter(pl.col("stop") < test.changed_at)
    return compound_blocks.OfTest(test.batch, test.specimen, stops, kept, test.common)


def _of_map(map_: FrictionMap | None) -> compound_blocks.Between:
    """Variance between specimens with its degrees of freedom, specimens less batches; None for a single specimen."""
    if map_ is None:
        return compound_blocks.Between(None, 0.0)
    variances = dict(zip(map_.factors, map_.fit.level_variances(), strict=True))
    if "specimen" not in variances:
        return compound_blocks.Between(None, map_.fit.correlation)
    size = 1.0 if map_.link == "log" else float(np.mean(map_.stops["mu"].to_numpy()))
    dof = map_.stops.n_unique(["batch", "specimen"]) - map_.stops["batch"].n_unique()
    return compound_blocks.Between(
        Variance(float(variances["specimen"]) / size**2, max(dof, 1.0)), map_.fit.correlation
    )


def _level(test: StopsOfTest, map_: FrictionMap | None) -> float:
    """The specimen's level over the compound map's: what is odd about a stop is not what is odd about its specimen."""
    if map_ is None:
        return 1.0
    found = [row.shift for row in specimens(map_) if (row.batch, row.specimen) == (test.batch, test.specimen)]
    if not found:
        return 1.0
    middle = 1.0 if map_.link == "log" else float(np.median(map_.stops["mu"].to_numpy()))
    return 1.0 + found[0] / middle


def _changed(tests: Sequence[StopsOfTest]) -> list[Changed]:
    """Tests of which only the stops before a drift's onset are in the map."""
    return [
        Changed(
            test=test.test,
            from_stop=test.changed_at,
            verdict=test.changed_by,
            why=f"{test.test}: stops from {test.changed_at} on are left out ({test.changed_by or 'a'} drift)",
        )
        for test in tests
        if test.changed_at is not None
    ]


def _bedding_over(each: list[OneTest]) -> Bedding | None:
    """Median over the tests with the extremes of their intervals."""
    every = [one.bedding for one in each if one.bedding is not None]
    if not every:
        return None
    known = [b for b in every if b.stops is not None]
    if not known:
        return every[0]
    lows, highs = [b.low for b in known if b.low is not None], [b.high for b in every if b.high is not None]
    middle = {key: float(np.median([getattr(b, key) for b in known])) for key in ("stops", "mu_start", "mu_end")}
    why = None if len(known) == len(every) else f"{len(every) - len(known)} of {len(every)} tests had not settled"
    return Bedding(
        **middle,
        low=min(lows),
        high=max(highs) if len(highs) == len(every) else None,
        tests=len(known),
        why=why,
    )


def worst_fade(each: list[OneTest]) -> Fade | None:
    """The fade of the lowest index over the tests (without any, the first), with its test."""
    every = [renewed(one.fade, test=one.test) for one in each if one.fade is not None]
    return min(every, key=lambda f: np.inf if f.index is None else f.index, default=None)


def worst_recovery(each: list[OneTest]) -> Recovery | None:
    """The recovery of the lowest index over the tests (without any, the first), with its test."""
    every = [renewed(one.recovery, test=one.test) for one in each if one.recovery is not None]
    return min(every, key=lambda r: np.inf if r.index is None else r.index, default=None)
