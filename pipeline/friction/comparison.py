"""Which form of the map the stops support, by cross-validation.

Compared: effects that multiply mu against effects that add to it, energy density itself against its logarithm, and
temperature that interacts with the effects (`pipeline.friction.interaction`) against temperature that does not. Each form
predicts the stops of every cell of the map (all stops at one set of conditions, `pipeline.friction.cells`) from all others,
variances held; its score is the mean squared relative error, errors cut at three robust standard deviations so that a
stray stop does not choose the model. A form that is left out a stop at a time would be judged by that stop's own repeats.
The first form stays unless another is better by more than the standard error of the difference over cells. What each effect
is worth is told by leaving it out in turn: nothing is dropped for being small, since a small slope with an interval is an
answer.

The errors of what is left out need no fit of their own. With V the covariance of the responses under the fit and
P = V^-1 - V^-1 X (X' V^-1 X)^-1 X' V^-1, the stops K predicted from all others are off by (P_KK)^-1 (P y)_K (the formula of
deleted residuals for groups, e.g. Christensen, Pearson and Johnson, Technometrics 34, 1992, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pipeline.friction import effects
from pipeline.friction.cells import cells_of
from pipeline.friction.likelihood import GROUPS, Data, design_of, solve, whitening
from pipeline.friction.map import FrictionMap, fit_map
from pipeline.friction.model import Fit
from pipeline.method.friction import Friction
from pipeline.results.friction_map import Form

CUT, FEWEST_COMPARED = 3.0, 25
CARRIED = 1e-6  # share of a stop's information that must not be its own alone
FORMS = (("log", "linear"), ("identity", "linear"), ("log", "log"))
WORDS = {
    ("log", "linear"): "multiplicative model",
    ("identity", "linear"): "additive model",
    ("log", "log"): "multiplicative model, energy density by its logarithm",
}
FIRST = WORDS[FORMS[0]]
INTERACTS = "; temperature interacts with them"


@dataclass(frozen=True)
class Compared:
    """The chosen map and the table that led to it."""

    map: FrictionMap
    table: list[Form]
    why: str


def best_map(stops: pl.DataFrame, settings: Friction, *, temperature: str, interactions: bool = True) -> Compared:
    """Fit every form and keep the one that cross-validation supports; its last fit parts what the map misses from scatter.

    Without `interactions` as the map was before it knew of them, for comparison. Raises NoMap as `fit_map` does.
    """
    compared = compared_forms(stops, settings, temperature, interactions)
    if not interactions:
        return compared
    return replace(compared, map=_parted(compared.map, stops, settings, temperature))


def map_of_form(stops: pl.DataFrame, settings: Friction, *, temperature: str, table: list[Form]) -> FrictionMap:
    """The map that `best_map` chose of the same stops by the table that it gave: to the last digit, without the forms that were not
    chosen. Raises NoMap as `fit_map` does.
    """
    chosen = next((row.form for row in table if row.kept), FIRST)
    found = fit_map(stops, settings, temperature=temperature, link=FORMS[0][0], energy_form=FORMS[0][1])
    for (link, energy_form), words in WORDS.items():
        if words == chosen.removesuffix(INTERACTS) != FIRST:
            found = fit_map(
                stops, settings, temperature=temperature, link=link, energy_form=energy_form, start=found.fit.theta
            )
    if chosen.endswith(INTERACTS):
        found = fit_map(
            stops, settings, temperature=temperature, link=found.link, energy_form=found.choice.energy_form,
            start=found.fit.theta, interaction=True,
        )  # fmt: skip
    return _parted(found, stops, settings, temperature)


def _parted(best: FrictionMap, stops: pl.DataFrame, settings: Friction, temperature: str) -> FrictionMap:
    """The map again with what it misses parted from scatter."""
    return fit_map(
        stops, settings, temperature=temperature, link=best.link, energy_form=best.choice.energy_form, cells=True,
        interaction=best.fit.data.interaction or False, start=best.fit.theta,
    )  # fmt: skip


def compared_forms(stops: pl.DataFrame, settings: Friction, temperature: str, interactions: bool) -> Compared:
    """The forms without a part for cells, and the best of them."""
    maps: dict[str, FrictionMap] = {}
    for link, energy_form in FORMS:
        if energy_form == "log" and "energy" not in maps[FIRST].choice.kept:
            continue
        start = maps[FIRST].fit.theta if maps else None
        maps[WORDS[link, energy_form]] = fit_map(
            stops, settings, temperature=temperature, link=link, energy_form=energy_form, start=start
        )
    first = maps[FIRST]
    folds = folds_of(first)
    errors = {form: left_out_errors(map_, folds) for form, map_ in maps.items()}
    if len(first.stops) < FEWEST_COMPARED or not all(np.isfinite(e).all() for e in errors.values()):
        return Compared(first, [], "the stops are too few, or vary an effect in one place only: nothing was compared")
    scale = CUT * 1.4826 * np.median(np.abs(errors[FIRST]))
    scores = {form: np.clip(e, -scale, scale) ** 2 for form, e in errors.items()}
    chosen, why = FIRST, "no other form predicts cells left out better by more than its standard error"
    better = "predicts cells left out better by more than the standard error of the difference"
    for form, score in scores.items():
        gain, u = paired(scores[chosen], score, folds)
        if form != chosen and gain > u:
            chosen, why = form, better
    if interactions and first.choice.kept:
        plain = maps[chosen]
        form = chosen + INTERACTS
        maps[form] = fit_map(
            stops, settings, temperature=temperature, link=plain.link, energy_form=plain.choice.energy_form,
            start=plain.fit.theta, interaction=True,
        )  # fmt: skip
        errors[form] = left_out_errors(maps[form], folds)
        scores[form] = np.clip(errors[form], -scale, scale) ** 2
        gain, u = paired(scores[chosen], scores[form], folds)
        if gain > u:
            chosen, why = form, better
    table = [
        Form(form=form, cv_rms=float(np.sqrt(score.mean())), kept=form == chosen)
        for form, score in scores.items()
        if np.isfinite(score).all()
    ]
    table += without_each(maps[chosen], folds, scores[chosen], scale)
    return Compared(maps[chosen], table, why)


def folds_of(map_: FrictionMap) -> np.ndarray:
    """Fold of each stop: its cell."""
    return cells_of(map_.stops, map_.own_temperature, map_.logs)


def left_out_errors(map_: FrictionMap, folds: np.ndarray) -> np.ndarray:
    """ln(mu / prediction) of every stop from a fit without its fold; variances and strays as in the whole fit."""
    return errors_of(map_, map_.fit.data, map_.fit.theta, folds)


def errors_of(map_: FrictionMap, data: Data, theta: np.ndarray, folds: np.ndarray) -> np.ndarray:
    """`left_out_errors` of the map's stops under other columns."""
    z = predicted_without(data, theta, map_.fit.pulled, folds)
    mu = map_.stops["mu"].to_numpy()
    return np.log(mu) - (z if map_.link == "log" else np.log(np.maximum(z, 1e-3)))


def predicted_without(data: Data, theta: np.ndarray, response: np.ndarray, folds: np.ndarray) -> np.ndarray:
    """Link prediction of every stop from the stops of the other folds; NaN where these cannot carry an effect."""
    data = replace(data, response=response)
    design, white, solved = design_of(data, theta), whitening(data, theta), solve(data, theta)
    turned = white.back(white.rows(design))
    misfit = white.back(white.rows((response - design @ solved.coefficients)[:, None]))[:, 0]
    diagonal, beside = white.precision()
    out = np.empty(folds.size)
    root = np.linalg.cholesky(solved.inverse)
    for fold in np.unique(folds):
        gone = np.flatnonzero(folds == fold)
        scale = np.sqrt(diagonal[gone])
        follow = np.diff(gone) == 1
        near = np.where(follow, beside[gone[:-1]], 0.0) / (scale[1:] * scale[:-1])
        off = _missed(near, (turned[gone] @ root) / scale[:, None], misfit[gone] / scale)
        out[gone] = np.nan if off is None else response[gone] - off / scale
    return out


def _missed(beside: np.ndarray, rows: np.ndarray, misfit: np.ndarray) -> np.ndarray | None:
    """(A - Z Z')^-1 m with A tridiagonal, 1 on its diagonal and `beside` next to it, Z = rows (m, p); None where the rest cannot
    carry an effect that only these stops vary.

    By the smaller of A - Z Z' and I - Z' A^-1 Z, so that many stops of one fold cost no more than in proportion.
    """
    if len(rows) <= rows.shape[1]:
        left = np.eye(len(rows)) + np.diag(beside, 1) + np.diag(beside, -1) - rows @ rows.T
        values, vectors = np.linalg.eigh(left)
        return None if values[0] < CARRIED else np.asarray(vectors @ ((vectors.T @ misfit) / values))
    from scipy.linalg import cho_solve_banded, cholesky_banded

    lower = cholesky_banded(np.vstack([np.ones(len(rows)), np.r_[beside, 0.0]]), lower=True)
    solved = cho_solve_banded((lower, True), np.column_stack([rows, misfit]))
    own, alone = solved[:, :-1], solved[:, -1]
    values, vectors = np.linalg.eigh(np.eye(rows.shape[1]) - rows.T @ own)
    if values[0] < CARRIED:
        return None
    return np.asarray(alone + own @ (vectors @ ((vectors.T @ (rows.T @ alone)) / values)))


def paired(worse: np.ndarray, better: np.ndarray, folds: np.ndarray) -> tuple[float, float]:
    """Mean gain in squared error and its standard error over the folds."""
    gains = np.array([(worse - better)[folds == fold].mean() for fold in np.unique(folds)])
    return float(gains.mean()), float(gains.std(ddof=1) / np.sqrt(gains.size)) if gains.size > 1 else np.inf


def without_each(map_: FrictionMap, folds: np.ndarray, whole: np.ndarray, scale: float) -> list[Form]:
    """Score of the chosen form less each effect in turn."""
    rows = []
    for k, name in enumerate(map_.choice.kept):
        score = np.clip(errors_of(map_, *without_effect(map_.fit, k), folds), -scale, scale) ** 2
        gain, u = paired(score, whole, folds)
        worth = "predicts better with it" if gain > u else "predicts no better with it; kept, its slope is near zero"
        rows.append(
            Form(form=f"without {effects.WORDS[name]}", cv_rms=float(np.sqrt(score.mean())), kept=False, why=worth)
        )
    return rows


def without_effect(fit: Fit, k: int) -> tuple[Data, np.ndarray]:
    """Data and log variances of the fit less its effect k, its part in an interaction too."""
    data, theta, before = fit.data, fit.theta, fit.data.interaction
    x = data.linear[:, : data.effects]
    lean = replace(data, linear=np.delete(data.linear, k, axis=1))
    if before is None:
        return lean, theta
    own = data.temperature - (before.moved(np.zeros(len(x)), x))
    at = next(j for j, group in enumerate(data.groups) if group.of == "effects")
    if x.shape[1] == 1:
        others = tuple(group for group in data.groups if group.of != "effects")
        lean = replace(lean, temperature=own, steepness=fit.steepness(own), interaction=None, groups=others)
        return lean, np.delete(theta, GROUPS.start + at)
    after = before.without(k)
    rest = np.delete(x, k, axis=1)
    moved = after.moved(own, rest)
    group = replace(data.groups[at], columns=after.varying(own, rest))
    groups = (*data.groups[:at], group, *data.groups[at + 1 :])
    return replace(lean, temperature=moved, steepness=fit.steepness(moved), interaction=after, groups=groups), theta
