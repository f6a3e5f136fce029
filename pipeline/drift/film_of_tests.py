"""The evidence of a compound's film from its tests' drift.json: stretches of use between blocks of checks, stop by stop.

Neighbouring alike stretches of a test are one use: the levels between them cancel. A stretch counts as begun clean where the
checks before it stand within `FALLEN` of the highest level before, or within what their scatter makes of that. A test whose
drift is a sensor's says nothing of a film. What glazed is what lies between onset and recovery of a glazing-like fall, and any other
gentle use across which friction fell beyond chance and that hard use next brought back: a test has one verdict, but may glaze twice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from pipeline.constants import Array, normal_reach
from pipeline.drift.check_loss import After, left_over, share_a_check
from pipeline.drift.film import Film, Removal, Use, alike, grouped
from pipeline.results.drift import Exposure, ExposureChart, OfStops, TestDrift, UseBetweenChecks
from pipeline.results.model import USUAL_CONFIDENCE, confidence_of

FALLEN, FALLEN_U = 0.03, 2.5  # ln mu, standard uncertainties
BEYOND_U = 3.5  # standard uncertainties by which friction falls across a use beyond chance
HARDER, HOTTER = 1.1, 50.0  # over the checks' median power density and temperature: a stop beyond may clear a film
THREE_PERCENT = float(-np.log(0.97))
REACH = normal_reach(USUAL_CONFIDENCE)  # of what is told here
LEAST_STOPS = 6  # of a use below which it says nothing


@dataclass(frozen=True)
class _Stretch:
    """A use with the standard uncertainties of the levels before and after it, and whether it began clean and glazed."""

    use: Use
    block: UseBetweenChecks
    fallen: float  # ln mu below the highest level before it
    clean: bool
    glazed: bool
    judged: bool  # within the fall that the test's verdict is about


def film_of(drifts: Mapping[str, OfStops]) -> Film:
    """The film by all tests of the compound (drift.json by test)."""
    bounding: list[Use] = []
    grown: list[Use] = []
    whole: list[tuple[Use, int]] = []  # with the number of checks after it
    after: list[After] = []
    cleared: list[Removal] = []
    limits: list[tuple[float, float]] = []
    for test, drift in drifts.items():
        if drift.exposure is None or drift.charts is None or drift.verdict == "sensor":
            continue
        checks = _checks(drift.charts.exposure)
        if checks is None:
            continue
        limits.append((HARDER * checks[0], HOTTER + checks[1]))
        reach = normal_reach(confidence_of(drift.stamp if isinstance(drift, TestDrift) else None, "drift"))
        stretches = _stretches(test, drift, drift.exposure, drift.charts.exposure, limits[-1], reach)
        above, below = _as_it_began(test, drift.exposure, [s.use for s in stretches if s.judged], reach)
        runs = _runs(stretches, glazed=True)
        bounding += [
            _joined(run)
            for run in [*_runs(stretches, glazed=False), *runs]
            if run[0].clean and not (above and run[0].judged)
        ]
        shown = _shown_after(drift)
        for run in [*_runs(stretches, glazed=False), *runs]:
            if run[0].clean:
                whole.append((_joined(run), len(shown.get(run[-1].block.to_stop, ()))))
        after += [
            After(one.use.loss, shown[one.block.to_stop])
            for one in stretches
            if _gentle(one) and one.block.to_stop in shown and (one.glazed or one.use.loss > BEYOND_U * one.use.u)
        ]
        bounding += above
        grown += [*(_joined(run) for run in runs), *below]
        cleared += _cleared(test, stretches)
    ends = [min((pair[i] for pair in limits), default=np.inf) for i in range(2)]
    known = [use for use in bounding if len(use.power) >= LEAST_STOPS and use.u > 0]
    scatters = [drift.evidence.scatter for drift in drifts.values() if drift.evidence.scatter is not None]
    usual = sorted(scatters, key=lambda one: one.sigma)[len(scatters) // 2] if scatters else None
    seen = tuple(use for use in grown if len(use.power))
    share = share_a_check(after, usual)
    told = tuple(
        replace(use, left=left_over(checks, share))
        for use, checks in whole
        if len(use.power) >= LEAST_STOPS and use.u > 0
    )
    return Film(grouped(known), seen, tuple(cleared), ends[0], ends[1], usual, whole=told)


def _checks(chart: ExposureChart) -> tuple[float, float] | None:
    """Median power density (W/mm2) and initial temperature (degC) of the checks."""
    own = [i for i, purpose in enumerate(chart.purpose) if purpose == "check"]
    power = [p for i in own if (p := chart.power_density_w_mm2[i]) is not None]
    temperature = [t for i in own if (t := chart.temperature_initial_c[i]) is not None]
    return (float(np.median(power)), float(np.median(temperature))) if power and temperature else None


def _shown_after(drift: OfStops) -> dict[int, Array]:
    """ln mu of the watched checks after each use, about the level before, by the use's last stop."""
    assert drift.exposure is not None and drift.charts is not None
    chart = drift.charts.residual
    stop = np.array([n for n, share in zip(chart.stop, chart.share, strict=True) if share is not None], int)
    level = np.log1p([share for share in chart.share if share is not None])
    starts = [block.from_stop for block in drift.exposure.blocks]
    found = {}
    for block in drift.exposure.blocks:
        until = min((n for n in starts if n > block.to_stop), default=np.inf)
        found[block.to_stop] = level[(stop > block.to_stop) & (stop < until)]
    return found


def _gentle(one: _Stretch) -> bool:
    return bool(one.block.low_energy_stops and not one.block.high_energy_stops and len(one.use.power))


def _stretches(
    test: str, drift: OfStops, exposure: Exposure, chart: ExposureChart, limits: tuple[float, float], reach: float
) -> list[_Stretch]:
    """reach: standard uncertainties to the ends of the drift's intervals."""
    stop = np.array(chart.stop)
    power, temperature, energy = (
        np.array([np.nan if x is None else x for x in values], float)
        for values in (
            chart.power_density_w_mm2,
            chart.temperature_initial_c,
            chart.energy_density_j_mm2 or [None] * len(stop),
        )
    )
    used = np.array(chart.purpose) != "check"
    glazing = "glazing-like" in (drift.verdict, *drift.also) and exposure.grew is not None
    onset = drift.onset_stop if glazing and drift.onset_stop is not None else np.inf
    until = exposure.cleared.from_stop if exposure.cleared else np.inf
    found, level, highest = [], 0.0, 0.0
    for block in exposure.blocks:
        own = used & (stop >= block.from_stop) & (stop <= block.to_stop)
        known = own & np.isfinite(power) & np.isfinite(temperature)
        clearing = (power[known] > limits[0]) | (temperature[known] > limits[1])
        change = float(np.log1p(block.mu_change_share))
        beside = _beside(block, stop, used, np.column_stack([power, temperature, energy]))
        use = Use(
            test, 1, power[known], temperature[known], energy[known], clearing, -change, _u(block, reach), checks=beside
        )
        judged = bool(glazing and block.to_stop > onset and block.from_stop < until and block.low_energy_stops)
        unknown = bool((own & ~known).any())
        fallen = highest - level
        clean = not unknown and fallen < max(FALLEN, FALLEN_U * block.u)
        found.append(_Stretch(use, block, fallen, clean, judged, judged))
        level += change
        highest = max(highest, level)
    return _also_glazed(found)


def _beside(block: UseBetweenChecks, stop: NDArray[np.int64], used: NDArray[np.bool_], places: Array) -> Array:
    """The checks on both sides of a use with the energy that lies between the middles of their levels [m, 3]: of c checks the j-th
    before counts j / c, the j-th after (c - j) / c.
    """
    first, last = int(np.searchsorted(stop, block.from_stop)), int(np.searchsorted(stop, block.to_stop, side="right"))
    begin, end = first, last
    while begin > 0 and not used[begin - 1]:
        begin -= 1
    while end < len(stop) and not used[end]:
        end += 1
    before, after = places[begin:first].copy(), places[last:end].copy()
    before[:, 2] *= np.arange(1, len(before) + 1) / max(len(before), 1)
    after[:, 2] *= 1 - np.arange(1, len(after) + 1) / max(len(after), 1)
    found = np.concatenate([before, after])
    return np.asarray(found[np.isfinite(found).all(axis=1)], float)


def _also_glazed(stretches: Sequence[_Stretch]) -> list[_Stretch]:
    """With the gentle use marked across which friction fell beyond chance and came back across hard use next after it."""
    found = list(stretches)
    for i, one in enumerate(found[:-1]):
        if one.glazed or not _gentle(one) or one.use.loss < BEYOND_U * one.use.u:
            continue
        after = next((s for s in found[i + 1 :] if s.block.high_energy_stops), None)
        if after is not None and -after.use.loss > max(0.5 * one.use.loss, FALLEN_U * after.use.u):
            found[i] = replace(one, glazed=True)
    return [replace(s, use=replace(s.use, glazed=s.glazed)) for s in found]


def _u(block: UseBetweenChecks, reach: float) -> float:
    """Standard uncertainty of the change, widened where its interval rests on few degrees of freedom."""
    if block.low is None or block.high is None or not 1 + block.low > 0:
        return block.u
    return max(block.u, float(np.log((1 + block.high) / (1 + block.low))) / 2 / reach)


def _runs(stretches: Sequence[_Stretch], glazed: bool) -> list[list[_Stretch]]:
    """Neighbouring alike stretches that glazed, or that began clean and did not."""
    runs: list[list[_Stretch]] = []
    last: _Stretch | None = None
    for one in stretches:
        chosen = bool(len(one.use.power)) and one.glazed == glazed and (glazed or one.clean)
        if chosen and last is not None and _one_use(last.use, one.use):
            runs[-1].append(one)
        elif chosen:
            runs.append([one])
        last = one if chosen else None
    return runs


def _one_use(a: Use, b: Use) -> bool:
    return alike(a, b) and not a.may_clear.any() and not b.may_clear.any()


def _joined(run: Sequence[_Stretch]) -> Use:
    """Neighbouring stretches as one use."""
    first, last = run[0], run[-1]
    if len(run) == 1:
        return first.use
    before, after = first.block.u_before, last.block.u_after
    u = float(np.sqrt(sum(one.use.u**2 for one in run)))
    if before is not None and after is not None:
        wider = max(one.use.u / one.block.u if one.block.u > 0 else 1.0 for one in run)
        u = min(u, wider * float(np.hypot(before, after)))
    uses = [one.use for one in run]
    return Use(
        first.use.test,
        len(run),
        *_stops(uses),
        loss=sum(use.loss for use in uses),
        u=u,
        glazed=first.glazed,
        checks=np.concatenate([use.checks for use in uses]),
    )


def _stops(uses: Sequence[Use]) -> tuple[Array, Array, Array, NDArray[np.bool_]]:
    """Power, temperature, energy and `may_clear` of all their stops."""
    power, temperature, energy = (
        np.concatenate([getattr(use, name) for use in uses]) for name in ("power", "temperature", "energy")
    )
    return power, temperature, energy, np.concatenate([use.may_clear for use in uses])


def _as_it_began(test: str, exposure: Exposure, run: Sequence[Use], reach: float) -> tuple[list[Use], list[Use]]:
    """The glazing use by the rate at which the loss began, which the shape of the whole fall tells best: as a bound from above,
    and as one from below, which holds up to the 3 % that the rate was told from.
    """
    until = exposure.grew.stops_to_3_percent if exposure.grew else None
    if until is None or not run or not until.value or not until.low:
        return [], []
    power, temperature, energy, clearing = _stops(run)
    stops = len(power)
    loss, most = (THREE_PERCENT * stops / n for n in (until.value, until.low))
    above = [
        Use(
            test,
            len(run),
            power,
            temperature,
            energy,
            clearing,
            loss=loss,
            u=(most - loss) / reach,
            first=True,
            glazed=True,
        )
    ]
    if not until.high:
        return above, []
    n = min(int(np.ceil(until.high)), stops)
    loss, least = (THREE_PERCENT * n / x for x in (until.value, until.high))
    early = power[:n], temperature[:n], energy[:n], clearing[:n]
    return above, [Use(test, len(run), *early, loss=loss, u=(loss - least) / reach, first=True, glazed=True)]


def _cleared(test: str, stretches: Sequence[_Stretch]) -> list[Removal]:
    """Hard use next after what glazed, with the share of the loss that came back."""
    found = []
    for last, one in pairwise(stretches):
        hard = one.use.may_clear
        if not last.glazed or one.fallen <= 0 or not one.block.high_energy_stops or not hard.any():
            continue
        back, lost, u = -one.use.loss, one.fallen, one.use.u
        ends = (back / lost, (back - REACH * u) / (lost + REACH * u), (back + REACH * u) / max(lost - REACH * u, u))
        value, low, high = (float(np.clip(x, 0.0, 1.0)) for x in ends)
        power, temperature = (float(np.quantile(x[hard], 0.95)) for x in (one.use.power, one.use.temperature))
        energy = float(np.nansum(one.use.energy[hard]))
        found.append(Removal(test, int(hard.sum()), power, temperature, (value, low, high), energy))
    return found
