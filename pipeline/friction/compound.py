"""Friction of a compound over all its tests: one map with specimens (and batches) as random factors.

Repeated stops of a specimen tell about that specimen only. The mean band says where the compound's mean lies
given how few specimens were run; the tolerance band holds single stops of a further specimen. The calibration
error is common to the tests of a rig and independent between rigs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from pipeline.friction import bedding, fade, history, pauses, result
from pipeline.friction.comparison import best_map
from pipeline.friction.likelihood import LEVEL_PRIOR, SHIFT_PRIOR, USUAL_SHIFT_K
from pipeline.friction.map import FrictionMap, NoMap
from pipeline.friction.result import Wanted
from pipeline.friction.stage import NOTHING
from pipeline.method import Method


@dataclass(frozen=True)
class TestStops:
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


def of_compound(tests: Sequence[TestStops], method: Method, wanted: Wanted) -> dict[str, Any]:
    """The content of a compound's friction.json: the keys of a test's, plus `tests`, `specimens`, `between`.

    Never raises for want of data: what cannot be given is null with its reason.
    """
    settings, temperature = method.friction, method.reduction.temperature
    usable = [test for test in tests if not test.stops.is_empty()]
    map_: FrictionMap | None = None
    try:
        if not usable:
            raise NoMap("no test with stops")
        kept = [labelled(test, method) for test in usable]
        compared = best_map(pl.concat(kept, how="diagonal_relaxed"), settings, temperature=temperature)
        map_ = compared.map
        found = {"stops_used": len(map_.stops)} | result.of_map(map_, settings, wanted, common_of(usable))
        found |= {"model": result.model_json(compared), "specimens": specimens(map_), "between": between(map_)}
    except NoMap as reason:
        found = NOTHING | {"window_reason": str(reason), "curve_reason": str(reason)}
    each = [_of_one(test, map_, method) for test in usable]
    found |= {
        "temperature": temperature,
        "average": method.reduction.average,
        "bedding": _bedding_over(each),
        "fade": _worst(each, "fade"),
        "recovery": _worst(each, "recovery"),
        "left_out": [block for one in each for block in one["left_out"]],
        "tests": each,
        "common_reason": None
        if any(t.common is not None for t in usable)
        else "no sensor accuracies stated: the bands hold scatter only",
    }
    found["sides"] = result.of_sides(map_, found, wanted) if map_ is not None and found["curve"] else None
    return found


def labelled(test: TestStops, method: Method) -> pl.DataFrame:
    """The test's unchanged stops with its test, batch and specimen."""
    stops = test.stops if test.changed_at is None else test.stops.filter(pl.col("stop") < test.changed_at)
    stops, _ = history.unchanged(stops, method.friction, method.reduction.temperature)
    return stops.with_columns(test=pl.lit(test.test), batch=pl.lit(test.batch), specimen=pl.lit(test.specimen))


def common_of(tests: Sequence[TestStops]) -> float:
    """Relative standard uncertainty of the compound's mean from calibration: each rig's own, weighted by
    its tests.
    """
    rigs: dict[str, list[float]] = {}
    for test in tests:
        rigs.setdefault(test.rig, []).append(test.common or 0.0)
    total = sum(len(values) for values in rigs.values())
    return float(np.sqrt(sum((len(v) / total * np.mean(v)) ** 2 for v in rigs.values()))) if total else 0.0


def specimens(map_: FrictionMap) -> list[dict[str, Any]]:
    """Each specimen's relative (or, with effects that add, absolute) shift from the compound's map, batch
    included.
    """
    keys = map_.stops.select("batch", "specimen").to_dicts()
    own = map_.fit.fitted - map_.fit.row(map_.fit.data.temperature, map_.fit.data.linear) @ map_.fit.solved.coefficients
    found: dict[tuple[str, str], dict[str, Any]] = {}
    for key, shift in zip(keys, own, strict=True):
        row = found.setdefault(
            (key["batch"], key["specimen"]),
            {**key, "stops": 0, "shift": float(np.expm1(shift)) if map_.link == "log" else float(shift)},
        )
        row["stops"] += 1
    return list(found.values())


def between(map_: FrictionMap) -> dict[str, Any]:
    """Standard deviations between specimens and batches beside that of stops, relative where effects
    multiply.
    """
    variances = dict(zip(map_.factors, np.sqrt(map_.fit.level_variances()), strict=True))
    single = "a single specimen: its own map; the scatter between specimens is not known and not in the bands"
    alone = "batches cannot be told from specimens here"
    return {
        "unit": "relative" if map_.link == "log" else "mu",
        "specimen_sd": float(variances["specimen"]) if "specimen" in variances else None,
        "specimen_why": None if "specimen" in variances else single,
        "batch_sd": float(variances["batch"]) if "batch" in variances else None,
        "batch_why": None if "batch" in variances else alone,
        "stop_sd": float(np.median(map_.fit.scatter(map_.fit.data.temperature))),
        "specimen_shift_k": float(variances["specimen_shift"]) if "specimen_shift" in variances else None,
        "prior": f"log-normal: shifts in level about the stops' scatter (sd of the logarithm {LEVEL_PRIOR}), "
        f"along the temperature about {USUAL_SHIFT_K:g} K ({SHIFT_PRIOR:g})",
        "autocorrelation": map_.fit.correlation,
    }


def _of_one(test: TestStops, map_: FrictionMap | None, method: Method) -> dict[str, Any]:
    settings = method.friction
    _, left_out = history.unchanged(test.stops, settings, method.reduction.temperature)
    worst = fade.worst(fade.fades(test.stops, method.reduction.temperature, use_suspect=settings.use_suspect))
    return {
        "test": test.test,
        "batch": test.batch,
        "specimen": test.specimen,
        "bedding": bedding.bedding(test.stops, map_, confidence=settings.confidence, use_suspect=settings.use_suspect),
        "fade": worst and {k: v for k, v in worst.items() if k != "recovery"},
        "recovery": worst and worst["recovery"],
        "left_out": [{**block, "test": test.test} for block in left_out],
        "pauses": pauses.pauses(test.stops, map_, shortest=settings.pause),
    }


def _bedding_over(each: list[dict[str, Any]]) -> dict[str, Any] | None:
    """Median over the tests with the extremes of their intervals."""
    every = [h["bedding"] for h in each if h["bedding"] is not None]
    if not every:
        return None
    known = [b for b in every if b["stops"] is not None]
    if not known:
        return every[0]
    low = min(b["low"] for b in known)
    high = None if any(b["high"] is None for b in every) else max(b["high"] for b in known)
    middle = {key: float(np.median([b[key] for b in known])) for key in ("stops", "mu_start", "mu_end")}
    why = None if len(known) == len(every) else f"{len(every) - len(known)} of {len(every)} tests had not settled"
    return {**middle, "low": low, "high": high, "tests": len(known), "why": why}


def _worst(each: list[dict[str, Any]], key: str) -> dict[str, Any] | None:
    """The lowest index over the tests, with its test."""
    every = [(h[key], h["test"]) for h in each if h[key] is not None]
    known = [(value, test) for value, test in every if value.get("index") is not None]
    if not every:
        return None
    value, test = min(known, key=lambda pair: pair[0]["index"]) if known else every[0]
    return {**value, "test": test}
