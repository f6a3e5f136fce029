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
from typing import Any

import numpy as np
import polars as pl
from scipy import special

from pipeline.friction import bedding, fade, history, pauses, result
from pipeline.friction.comparison import best_map
from pipeline.friction.likelihood import LEVEL_PRIOR, SHIFT_PRIOR, USUAL_SHIFT_K
from pipeline.friction.map import FrictionMap, NoMap, fit_map
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
    changed_by: str | None = None  # the drift's verdict


def of_compound(tests: Sequence[TestStops], method: Method, wanted: Wanted) -> dict[str, Any]:
    """The content of a compound's friction.json: the keys of a test's, plus `tests`, `specimens`, `between`.

    Never raises for want of data: what cannot be given is null with its reason.
    """
    settings, temperature = method.friction, method.reduction.temperature
    usable = [test for test in tests if not test.stops.is_empty()]
    unchanged = [sound_stops(test, method) for test in usable]
    map_: FrictionMap | None = None
    try:
        if not usable:
            raise NoMap("no test with stops")
        compared = best_map(
            pl.concat([stops for stops, _ in unchanged], how="diagonal_relaxed"), settings, temperature=temperature
        )
        map_ = compared.map
        found = {"stops_used": len(map_.stops)} | result.of_map(map_, settings, wanted, common_of(usable))
        found |= {
            "model": result.model_json(compared),
            "specimens": specimens(map_),
            "between": between(map_),
            "by_batch": by_batch(map_, method, wanted, common_of(usable)),
            "further_batch": further_batch(map_, settings.confidence, common_of(usable)),
        }
    except NoMap as reason:
        found = NOTHING | {"window_reason": str(reason), "curve_reason": str(reason)}
    each = [_of_one(test, left_out, map_, method) for test, (_, left_out) in zip(usable, unchanged, strict=True)]
    found |= {
        "temperature": temperature,
        "average": method.reduction.average,
        "bedding": _bedding_over(each),
        "fade": _worst(each, "fade"),
        "recovery": _worst(each, "recovery"),
        "left_out": [block for one in each for block in one["left_out"]],
        "changed": _changed(usable),
        "tests": each,
        "common_reason": None
        if any(t.common is not None for t in usable)
        else "no sensor accuracies stated: the bands hold scatter only",
    }
    found["sides"] = result.of_sides(map_, found, wanted) if map_ is not None and found["curve"] else None
    return found


def sound_stops(test: TestStops, method: Method) -> tuple[pl.DataFrame, list[dict[str, Any]]]:
    """The test's unchanged stops with its test, batch and specimen, and the blocks left out."""
    stops = test.stops if test.changed_at is None else test.stops.filter(pl.col("stop") < test.changed_at)
    stops, left_out = history.unchanged(stops, method.friction, method.reduction.temperature)
    named = stops.with_columns(test=pl.lit(test.test), batch=pl.lit(test.batch), specimen=pl.lit(test.specimen))
    return named, [{**block, "test": test.test} for block in left_out]


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
    """Each specimen's shift in level from the compound's map at the reference, batch included; relative where
    effects multiply, else in mu.
    """
    keys = map_.stops.select("batch", "specimen").to_dicts()
    effect = map_.fit.data.linear.copy()
    effect[:, len(map_.choice.kept) :] = 0.0
    own = map_.fit.fitted - map_.fit.row(map_.fit.data.temperature, effect) @ map_.fit.solved.coefficients
    found: dict[tuple[str, str], dict[str, Any]] = {}
    for key, shift in zip(keys, own, strict=True):
        row = found.setdefault((key["batch"], key["specimen"]), {**key, "stops": 0, "shifts": []})
        row["stops"] += 1
        row["shifts"].append(float(np.expm1(shift)) if map_.link == "log" else float(shift))
    return [
        {k: v for k, v in row.items() if k != "shifts"} | {"shift": float(np.median(row["shifts"]))}
        for row in found.values()
    ]


def between(map_: FrictionMap) -> dict[str, Any]:
    """Standard deviations between specimens and batches beside that of stops, relative where effects
    multiply.
    """
    variances = dict(zip(map_.factors, np.sqrt(map_.fit.level_variances()), strict=True))
    shifts = map_.fit.batch_shifts()
    single = "a single specimen: its own map; the scatter between specimens is not known and not in the bands"
    batches = map_.stops["batch"].n_unique()
    alone = "one batch" if batches == 1 else "no batch has two specimens: batches cannot be told from specimens"
    return {
        "unit": "relative" if map_.link == "log" else "mu",
        "specimen_sd": float(variances["specimen"]) if "specimen" in variances else None,
        "specimen_why": None if "specimen" in variances else single,
        "specimen_shift_k": float(variances["specimen_shift"]) if "specimen_shift" in variances else None,
        "batch_sd": float(shifts.std(ddof=1)) if shifts.size else None,
        "batch_why": None if shifts.size else alone,
        "stop_sd": float(np.median(map_.fit.scatter(map_.fit.data.temperature))),
        "prior": f"log-normal: shifts in level about the stops' scatter (sd of the logarithm {LEVEL_PRIOR}), "
        f"along the temperature about {USUAL_SHIFT_K:g} K ({SHIFT_PRIOR:g})",
        "autocorrelation": map_.fit.correlation,
    }


def by_batch(map_: FrictionMap, method: Method, wanted: Wanted, common: float) -> list[dict[str, Any]]:
    """Each batch by itself: its window and verdict, with the compound's form of map and reference
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
            )  # fmt: skip
            row = {"batch": name} | result.window_of(own, method.friction, wanted, common)
        except NoMap as reason:
            row = {"batch": name, "window": None, "window_reason": str(reason), "holds": None}
        found.append(row)
    return found


def further_batch(map_: FrictionMap, confidence: float, common: float) -> dict[str, Any]:
    """Where the mean of a further batch lies at the reference, by Student's t over the batches tested.

    mean -+ t(B - 1) s sqrt(1 + 1/B), s between the batches' means (their own uncertainty is in it).
    """
    nothing = {"value": None, "low": None, "high": None}
    shifts, level = map_.fit.batch_shifts(), map_.predict(map_.reference.temperature)
    if shifts.size < 3:
        return {
            **nothing,
            "batches": int(max(shifts.size, 1)),
            "why": "fewer than three batches tell nothing of a further one",
        }
    if not level.supported[0]:
        return {**nothing, "batches": int(shifts.size), "why": "the reference temperature is outside the data"}
    sd = float(shifts.std(ddof=1)) * np.sqrt(1 + 1 / shifts.size)
    size = 1.0 if map_.link == "log" else float(level.mu[0])
    half = float(special.stdtrit(shifts.size - 1, (1 + confidence) / 2) * np.hypot(sd, common * size))
    mu = float(level.mu[0])
    low, high = (mu * np.exp(-half), mu * np.exp(half)) if map_.link == "log" else (mu - half, mu + half)
    return {"value": mu, "low": float(low), "high": float(high), "batches": int(shifts.size), "why": None}


def _of_one(
    test: TestStops, left_out: list[dict[str, Any]], map_: FrictionMap | None, method: Method
) -> dict[str, Any]:
    settings = method.friction
    worst = fade.worst(fade.fades(test.stops, method.reduction.temperature, use_suspect=settings.use_suspect))
    return {
        "test": test.test,
        "batch": test.batch,
        "specimen": test.specimen,
        "bedding": bedding.bedding(test.stops, map_, confidence=settings.confidence, use_suspect=settings.use_suspect),
        "fade": worst and {k: v for k, v in worst.items() if k != "recovery"},
        "recovery": worst and worst["recovery"],
        "left_out": left_out,
        "pauses": pauses.pauses(test.stops, map_, shortest=settings.pause, level=_level(test, map_)),
    }


def _level(test: TestStops, map_: FrictionMap | None) -> float:
    """The specimen's level over the compound map's: what is odd about a stop is not what is odd about its specimen."""
    if map_ is None:
        return 1.0
    found = [row["shift"] for row in specimens(map_) if (row["batch"], row["specimen"]) == (test.batch, test.specimen)]
    if not found:
        return 1.0
    middle = 1.0 if map_.link == "log" else float(np.median(map_.stops["mu"].to_numpy()))
    return 1.0 + found[0] / middle


def _changed(tests: Sequence[TestStops]) -> list[dict[str, Any]]:
    """Tests of which only the stops before a drift's onset are in the map."""
    return [
        {
            "test": test.test,
            "from_stop": test.changed_at,
            "verdict": test.changed_by,
            "why": f"{test.test}: stops from {test.changed_at} on are left out ({test.changed_by or 'a'} drift)",
        }
        for test in tests
        if test.changed_at is not None
    ]


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
