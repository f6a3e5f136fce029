"""Which form of the map the stops support, by cross-validation.

Compared: effects that multiply mu against effects that add to it, and energy density itself against its
logarithm. Each form predicts the stops of every block from all others (variances held); its score is the mean
squared relative error, errors cut at three robust standard deviations so that a stray stop does not choose
the model. The first form stays unless another is better by more than the standard error of the difference
over blocks. What each effect is worth is told by leaving it out in turn: nothing is dropped for being small,
since a small slope with an interval is an answer.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pipeline.friction import effects
from pipeline.friction.likelihood import Data, design_of, solve
from pipeline.friction.map import FrictionMap, fit_map
from pipeline.friction.model import Fit
from pipeline.method.friction import Friction
from pipeline.results.friction_map import Form

CUT, MOST_FOLDS, FEWEST_COMPARED = 3.0, 40, 25
JUMP = np.array([20.0, 0.1, 0.05, 0.1])  # K, ln p, ln w, ln e: a change of conditions, not a set-point's scatter
FORMS = (("log", "linear"), ("identity", "linear"), ("log", "log"))
WORDS = {
    ("log", "linear"): "effects multiply mu",
    ("identity", "linear"): "effects add to mu",
    ("log", "log"): "effects multiply mu, energy density by its logarithm",
}


@dataclass(frozen=True)
class Compared:
    """The chosen map and the table that led to it."""

    map: FrictionMap
    table: list[Form]
    why: str


def best_map(stops: pl.DataFrame, settings: Friction, *, temperature: str) -> Compared:
    """Fit every form and keep the one that cross-validation supports. Raises NoMap as `fit_map` does."""
    maps: dict[tuple[str, str], FrictionMap] = {}
    for link, energy_form in FORMS:
        if energy_form == "log" and "energy" not in maps["log", "linear"].choice.kept:
            continue
        start = maps["log", "linear"].fit.theta if maps else None
        maps[link, energy_form] = fit_map(
            stops, settings, temperature=temperature, link=link, energy_form=energy_form, start=start
        )
    first = maps["log", "linear"]
    folds = same_conditions(first)
    errors = {form: left_out_errors(map_, folds) for form, map_ in maps.items()}
    if len(first.stops) < FEWEST_COMPARED or not all(np.isfinite(e).all() for e in errors.values()):
        return Compared(first, [], "the stops are too few, or vary an effect in one place only: nothing was compared")
    scale = CUT * 1.4826 * np.median(np.abs(errors["log", "linear"]))
    scores = {form: np.clip(e, -scale, scale) ** 2 for form, e in errors.items()}
    chosen, why = ("log", "linear"), "no other form predicts stops left out better by more than its standard error"
    for form, score in scores.items():
        gain, u = paired(scores[chosen], score, folds)
        if form != chosen and gain > u:
            chosen, why = form, "predicts stops left out better by more than the standard error of the difference"
    table = [
        Form(form=WORDS[form], cv_rms=float(np.sqrt(score.mean())), kept=form == chosen)
        for form, score in scores.items()
    ]
    table += without_each(maps[chosen], folds, scores[chosen], scale)
    return Compared(maps[chosen], table, why)


def same_conditions(map_: FrictionMap) -> np.ndarray:
    """Fold of each stop: an unbroken run of one block at one set of conditions within its test; dealt into
    MOST_FOLDS folds where there are more."""
    used, data = map_.stops, map_.fit.data
    energy = np.log(used["energy_density_j_mm2"].cast(pl.Float64).fill_null(1.0).to_numpy())
    steps = np.abs(np.diff(np.column_stack([data.temperature, map_.support.linear[:, :2], energy]), axis=0))
    new = (steps > JUMP).any(axis=1) | (np.diff(data.series) != 0)
    names = used["block"].fill_null("").to_numpy()
    sets = np.r_[0, np.cumsum(new | (names[1:] != names[:-1]))]
    return sets % MOST_FOLDS


def left_out_errors(map_: FrictionMap, folds: np.ndarray) -> np.ndarray:
    """ln(mu / prediction) of every stop from a fit without its fold; variances and strays as in the whole
    fit.
    """
    z = predicted_without(map_.fit, folds)
    mu = map_.stops["mu"].to_numpy()
    if map_.link == "log":
        return np.log(mu) - z
    return np.log(mu) - np.log(np.maximum(z, 1e-3))


def predicted_without(fit: Fit, folds: np.ndarray) -> np.ndarray:
    """Link prediction of every stop by the fit without its fold, group shifts as estimated without it."""
    design = design_of(fit.data, fit.theta)
    out = np.empty(folds.size)
    whole = replace(fit.data, response=fit.pulled)
    for fold in np.unique(folds):
        gone = folds == fold
        try:
            out[gone] = design[gone] @ solve(without(whole, gone), fit.theta).coefficients
        except np.linalg.LinAlgError:  # the rest cannot carry an effect that only this fold varies
            out[gone] = np.nan
    return out


def without(data: Data, gone: np.ndarray) -> Data:
    """The data less some stops; every group keeps its number of labels, an emptied one is drawn to zero by
    its ridge.
    """
    kept = ~gone
    parts = {
        name: getattr(data, name)[kept]
        for name in ("temperature", "response", "linear", "weight_sd", "series", "position", "steepness")
    }
    groups = tuple(replace(group, labels=group.labels[kept], size=group.count) for group in data.groups)
    return replace(data, **parts, groups=groups)


def paired(worse: np.ndarray, better: np.ndarray, folds: np.ndarray) -> tuple[float, float]:
    """Mean gain in squared error and its standard error over the folds."""
    gains = np.array([(worse - better)[folds == fold].mean() for fold in np.unique(folds)])
    return float(gains.mean()), float(gains.std(ddof=1) / np.sqrt(gains.size)) if gains.size > 1 else np.inf


def without_each(map_: FrictionMap, folds: np.ndarray, whole: np.ndarray, scale: float) -> list[Form]:
    """Score of the chosen form less each effect in turn."""
    rows = []
    for k, name in enumerate(map_.choice.kept):
        fit = map_.fit
        lean = replace(fit, data=replace(fit.data, linear=np.delete(fit.data.linear, k, axis=1)))
        errors = left_out_errors(replace(map_, fit=lean), folds)
        score = np.clip(errors, -scale, scale) ** 2
        gain, u = paired(score, whole, folds)
        worth = "predicts better with it" if gain > u else "predicts no better with it; kept, its slope is near zero"
        rows.append(
            Form(form=f"without {effects.WORDS[name]}", cv_rms=float(np.sqrt(score.mean())), kept=False, why=worth)
        )
    return rows
