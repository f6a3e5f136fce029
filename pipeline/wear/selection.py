"""Which wear law the readings speak for, and what they can and cannot tell.

Every law is fitted; one counts as identified when more intervals than parameters were measured, the fit came to its
end, it is not wrong by more than ROUGH of an interval's loss nor by MISFIT times what the readings' noise explains,
and the profile of each of its parameters closes inside its limits with every rate clear of zero. The identified law
of the lowest AICc is chosen, but a law with more than one parameter must be better by MARGIN, so that noise does not
buy a shape:

    AICc = chi2 + ln(det C / det C0) + 2 p + 2 p (p + 1) / (n - p - 1)

(Burnham & Anderson, Model Selection and Multimodel Inference, 2002), with C the covariance that holds the law's
roughness or the scatter between occasions (its size counts as a parameter), C0 that of the readings alone, and n the
number of observations that the noise is known from: the intervals and the readings' own degrees of freedom, or the
intervals alone where either was needed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from pipeline.wear.chi2 import Problem, at_best
from pipeline.wear.heated import adjusted
from pipeline.wear.inference import Inference, infer, left_out_errors
from pipeline.wear.intervals import Intervals
from pipeline.wear.joint import draws
from pipeline.wear.kinds import Kinds, departure
from pipeline.wear.laws import LAWS, Constants, Design
from pipeline.wear.misfit import ASSUMED_NOISE_DOF

MARGIN = 4.0
ROUGH = 0.15
MISFIT = 5.0  # chi2 per degree of freedom
BELIEVED = 1.5  # an occasion's scatter over that of single readings, where these show theirs
LOOSE = 4.0  # an interval whose ends differ by more than this factor pins no rate
AGAIN, SETTLED = 4, 0.1  # rounds of scatter and heat inputs; standard uncertainties of an input between two of them
LOOSE_SHAPE = {"Ea": 150.0, "b": 2.0, "transition": 400.0}


@dataclass(frozen=True)
class Candidate:
    """One law's standing: its fit or why there is none, whether identified and why not."""

    name: str
    found: Inference | None
    identified: bool
    why: str
    aicc: float | None = None
    loo_rmse: float | None = None


def with_model_u(problem: Problem, share: float, kinds: Kinds | None = None) -> Problem:
    """The problem with that share of each interval's fitted loss in its covariance, common to the intervals of a kind of use (each its
    own without kinds). Raises ValueError as `infer` does.
    """
    loss = at_best(problem)
    kinds = kinds or Kinds.each(len(loss))
    return replace(problem, covariance=problem.covariance + kinds.common(share * loss), departure=share)


@dataclass(frozen=True)
class Noise:
    """What `Problem` is told of the readings' noise beside its covariance; see there."""

    occasions: np.ndarray | None = None
    occasion_most: float = np.inf
    assumed: bool = False
    between_dof: float = np.inf


def noise_of(measured: Intervals, usable: np.ndarray) -> Noise:
    """Of one component's intervals: noise that the readings show bounds what may be common to an occasion beyond it.

    usable: [K] bool, which intervals count.
    """
    most = np.inf if measured.assumed else BELIEVED * measured.single_um
    return Noise(measured.occasions[np.ix_(usable, usable)], most, measured.assumed)


def energy_problem(
    intervals: Design,
    y: np.ndarray,
    covariance: np.ndarray,
    dof: float,
    constants: Constants,
    noise: Noise,
    model_u: float,
) -> Problem:
    """The energy law's problem as `choose` has it, before specimens' scatter.

    y: [K] loss of each interval (um); covariance: [K, K] of the losses (um^2); dof: of the readings; model_u: share,
    1.
    """
    dof = min(dof, ASSUMED_NOISE_DOF) if noise.assumed else dof
    return with_model_u(Problem(LAWS["energy"], intervals, constants, y, covariance, dof, **vars(noise)), model_u)


@dataclass(frozen=True)
class Choice:
    candidates: list[Candidate]
    chosen: str | None
    why: str

    def candidate(self, name: str) -> Candidate:
        return next(c for c in self.candidates if c.name == name)

    @property
    def law(self) -> Candidate | None:
        return self.candidate(self.chosen) if self.chosen else None


def choose(
    intervals: Design,
    y: np.ndarray,
    covariance: np.ndarray,
    noise_dof: float,
    constants: Constants,
    *,
    confidence: float = 0.95,
    noise: Noise | None = None,
    model_u: float = 0.01,
    adapt: Callable[[Problem], Problem] | None = None,
    folds: np.ndarray | None = None,
    kinds: Kinds | None = None,
) -> Choice:
    """Fit all laws to totals y [K] in um with covariance [K, K] and choose; see the module's text.

    model_u: share of a kind's loss by which any law may be wrong (temperatures are modelled), beside the
    readings. noise: what more is known of the readings' noise. adapt: what a law's problem needs before it is fitted
    (scatter between specimens in its covariance). folds: numbers [K] of what is left out together for the prediction
    error; each interval alone without it. kinds: of use that the intervals are of; each its own without it.
    """
    noise = noise or Noise()
    if noise.assumed:
        noise_dof = min(noise_dof, ASSUMED_NOISE_DOF)
    y = np.asarray(y, float)
    candidates = []
    for law in LAWS.values():
        problem = Problem(law, intervals, constants, y, covariance, noise_dof, **vars(noise))
        try:
            found = infer(_settled(problem, adapt, kinds or Kinds.each(len(y)), model_u), confidence)
        except (ValueError, np.linalg.LinAlgError) as error:
            candidates.append(Candidate(law.name, None, False, f"not fitted: {error}"))
            continue
        identified, why = _identified(found)
        candidates.append(Candidate(law.name, found, identified, why, loo_rmse=_leave_one_out(found, folds)))
    candidates = _with_aicc(candidates, covariance, noise_dof)
    return _choice(candidates, len(y))


def _settled(bare: Problem, adapt: Callable[[Problem], Problem] | None, kinds: Kinds, model_u: float) -> Problem:
    """The problem with its law's own error, what `adapt` puts into it and its heat inputs adjusted, each at the others' result.

    Scatter between specimens is about the law; at the heat inputs' first values that law may be far off, and the scatter with it.
    """

    def made(problem: Problem, share: float) -> Problem:
        problem = with_model_u(problem, share, kinds)
        return adjusted(adapt(problem) if adapt else problem)

    problem = made(bare, model_u)
    if problem.law.name != "oxidation" or (adapt is None and not kinds.shared):
        return problem
    for _ in range(AGAIN):
        before, held = problem.intervals.warmth, problem.departure
        share = max(model_u, departure(problem, kinds, held)) if kinds.shared else model_u
        problem = made(replace(bare, intervals=problem.intervals), share)
        after = problem.intervals.warmth
        moved = 0.0 if before is None or after is None else float(np.abs(after.z - before.z).max(initial=0.0))
        if moved < SETTLED and abs(share - held) < SETTLED * held:
            break
    return problem


def _identified(found: Inference) -> tuple[bool, str]:
    """(identified, the reason in words where not)"""
    law, (k, p), spent = found.problem.law, found.problem.size, found.problem.spent
    if k < p or k < 2 or (law.shape and found.dof <= 0):
        inputs = f" and {spent:.1f} of the heat inputs" if spent else ""
        return False, f"{k} interval{'s' * (k > 1)} for {p} parameters{inputs}: nothing is left to test the law with"
    reasons = []
    if not found.converged:
        reasons.append("the fit did not come to an end: its figures are those of where it stopped")
    for (name, _), (low, high) in zip(law.parameters, found.intervals, strict=True):
        is_rate = name != (law.shape or ("",))[0]
        if is_rate and low == 0.0:
            reasons.append(f"{name} does not differ from zero beyond the readings' noise")
        elif not (np.isfinite(low) and np.isfinite(high)):
            reasons.append(f"{name} is not determined, open: {_open_words(found)}")
        elif is_rate and high > LOOSE * low and not (name == "B" and _pinned_elsewhere(found)):
            reasons.append(f"{name} is not determined, {low:.3g} to {high:.3g}")
        elif not is_rate and high - low > LOOSE_SHAPE[name]:
            reasons.append(f"{name} is not determined, {low:.0f} to {high:.0f}: {_open_words(found)}")
    if wrong(found):
        size = f"the law misses an interval's wear by about {100 * max(found.roughness, found.problem.departure):.0f} %"
        if found.occasion_um:
            size = f"the law misses wear, or the readings of an occasion are off by {found.occasion_um:.2g} um together"
        reasons.append(
            f"misfit, chi2 per degree of freedom {found.chi2 / found.dof:.1f}: {size}, no parameter of it is sure"
        )
    elif found.or_rough > ROUGH:
        reasons.append(
            f"the readings scatter from occasion to occasion by some {found.occasion_um:.2g} um, or the law is "
            "wrong by some "
            f"{100 * found.or_rough:.0f} % of an interval's loss: they do not tell which"
        )
    return not reasons, "; ".join(reasons)


def wrong(found: Inference) -> bool:
    """Whether a law misfits so that no parameter of it is sure: of noise that is only assumed, chi2 tells nothing."""
    known = found.widened and not found.problem.assumed
    return max(found.roughness, found.problem.departure) > ROUGH or (known and found.chi2 > MISFIT * found.dof)


def _pinned_elsewhere(found: Inference) -> bool:
    """Whether the oxidation rate, loose at th0, is pinned at the temperature that the data are about: B given Ea."""
    sets = draws(found)
    sets = sets[sets[:, 1] > 0]
    if len(sets) < 100:
        return False
    slope, level = np.polyfit(sets[:, 2], np.log(sets[:, 1]), 1)
    rest = np.std(np.log(sets[:, 1]) - slope * sets[:, 2] - level)
    return bool(4 * rest < np.log(LOOSE))


def _open_words(found: Inference) -> str:
    """Why the design leaves a shape open."""
    sums, law = found.problem.intervals.sums, found.problem.law
    if law.name == "power":
        low, high = np.nanmin(sums.power_w_mm2), np.nanmax(sums.power_w_mm2)
        return f"the intervals' mean power spans only {low:.3g} to {high:.3g} W/mm2"
    low, high = np.nanmin(sums.temperature_c), np.nanmax(sums.temperature_c)
    if high - low < 100:
        return f"the intervals ran at nearly one temperature, {low:.0f} to {high:.0f} °C"
    return f"intervals of {low:.0f} to {high:.0f} °C on average do not pin it at this noise"


def _leave_one_out(found: Inference, folds: np.ndarray | None) -> float | None:
    """Root mean square of each interval's loss less its prediction without it (or without its fold), um; None where the
    intervals are too few."""
    k = len(found.problem.y)
    errors = left_out_errors(found, np.arange(k) if folds is None else folds) if k > 1 else None
    return None if errors is None else float(np.sqrt(np.mean(errors**2)))


def _with_aicc(candidates: list[Candidate], covariance: np.ndarray, noise_dof: float) -> list[Candidate]:
    bare = np.linalg.slogdet(covariance)[1]
    return [replace(c, aicc=_aicc(c.found, bare, noise_dof) if c.found else None) for c in candidates]


def _aicc(found: Inference, bare: float, noise_dof: float) -> float | None:
    """None where there are too few intervals for the law."""
    k, p = found.problem.size
    rough = found.widened
    room = (k if rough else k + noise_dof) - p - 1
    if k < p or room <= 0:
        return None
    wider = np.linalg.slogdet(found.problem.covariance)[1] - bare
    correction = 2 * p * (p + 1) / room if np.isfinite(room) else 0.0
    inputs = found.problem.pulled + 2 * found.problem.spent
    return float(found.minimum + wider + inputs + 2 * (p + rough) + correction)


def _choice(candidates: list[Candidate], k: int) -> Choice:
    fitted = [c for c in candidates if c.found]
    if not fitted:
        return Choice(candidates, None, "no law could be fitted")
    if k < 2:
        only = "energy" if any(c.name == "energy" for c in fitted) else fitted[0].name
        return Choice(candidates, only, "one interval: a rate per energy is given, no law can be told from another")
    sure = [c for c in fitted if c.identified and c.aicc is not None]
    if sure:
        best = _parsimonious(sure)
        return Choice(candidates, best.name, _told_apart(best, sure))
    simple = [c for c in fitted if len(LAWS[c.name].parameters) == 1 and c.aicc is not None]
    if not simple:
        return Choice(candidates, None, "no law could be fitted to a simple rate")
    best = min(simple, key=_score)
    return Choice(candidates, best.name, f"no law is identified; the simplest is given as a description: {best.why}")


def _parsimonious(sure: list[Candidate]) -> Candidate:
    """Lowest AICc, counted with MARGIN for every parameter beyond one."""
    return min(sure, key=lambda c: _score(c) + (MARGIN if len(LAWS[c.name].parameters) > 1 else 0.0))


def _score(c: Candidate) -> float:
    """AICc without the last digits: of laws that fit as well the first stands, not the one that rounding favours."""
    return np.inf if c.aicc is None else round(c.aicc, 6)


def _told_apart(best: Candidate, sure: list[Candidate]) -> str:
    rivals = [c for c in sure if c.name != best.name and _score(c) < _score(best) + 2]
    if rivals:
        return f"{best.name}, but the readings do not tell it from {' and '.join(c.name for c in rivals)}"
    return f"{best.name}: AICc lowest of the laws that the readings identify"
