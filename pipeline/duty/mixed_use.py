"""What a test that ran a mix of stops, such as the duty's own, says of one use: stop matched with stop.

Each braking of a use bounded on its own takes the whole of a test's loss for itself, though the test had many kinds of stops and each
brought its part only. What is known of a film (`pipeline.drift.film`: growth adds up with the work, no slower where a stop is gentler
and colder) says more of the sum: where every braking of the use finds its energy in stops of the test that were as gentle and cold, or
more so, none of them used twice, the use loses no more than the test,

    loss of one use <= L_high + what brakings without such stops may add, each by its own bound

    less what stops of the test that no braking takes for its own added at least, by use that glazed though harder and warmer

(the last no more than the one before it: the rig's coldest stop stands in for a use's first braking that begins colder than a rig cools a disc, and
only what this one adds over that one is missing),

and where all energy of the test finds brakings of the use as gentle and cold, or more so, the use loses no less than L_low. The most
energy that can be matched is a largest flow between places of the plane; with two coordinates it is found from the hardest-to-please
braking on: brakings in the order of their power, each taking the warmest stops that it may.

A film g that decays by a share at a stop and grows by what it adds, g e^-x + y, is largest at the end of given stops where those that clear
most come first, and smallest where they come last. Where stops may clear a film (harder or hotter than the checks) a test therefore bounds
a use from above if it ran them before its others, the hottest first, and from below if it ran them after its others, the hottest last,
and each such braking of the use finds its energy in stops of the test that were as hard and hot, or more so.

The temperature of a duty's brakings is known within an interval. Where tests bound a use at its lower end by L_c and the use as it settles by L, with z u
of the readings, the two uncertainties are independent and add in squares (JCGM 100:2008, 5.1.2, from memory; to first order L_c - L is what the temperature
does to the loss over its half width, and its own uncertainty of second order):

    loss <= min(L_c + z u_c, L + sqrt((z u)^2 + (L_c - L)^2 + u_c^2 + u^2))

All else is of a use as it settles, as openings are limited by what is most likely and free of reservation by what is careful.

What was run several times counts by its weighted mean. Runs that scatter beyond chance (5 %) about it have a cause that their readings do not
know: its uncertainty is then widened by their Birge ratio, sqrt(chi2 / (n - 1)) (Birge 1932, Phys. Rev. 40, 207; from memory), and by
Student's t of so few. What the checks after a use took off the film before their mean was read is added to the bound from above
(`pipeline.drift.check_loss`); the bound from below goes by what was read.
"""

from __future__ import annotations

from bisect import bisect_right, insort
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri, ndtr, stdtrit

from pipeline.constants import Array
from pipeline.drift.film import NEAR_K, NEAR_POWER, NEARLY_ALL, Film, Use
from pipeline.duty.places import Places

Row = tuple[float, float, float]  # power W/mm2, temperature degC, energy J/mm2
SLACK = 0.01  # of a use's energy: what half a rev/min at either end of a short snub makes of its energy
BY_CHANCE = 0.05  # how often runs scatter so much about their mean by their readings alone
LEAST_ENERGY = 1e-9  # J/mm2, below which nothing is left


class Told(NamedTuple):
    """A mix that was run: its stops, its loss in ln mu as read with its standard uncertainty, and as it was before the checks after it."""

    stops: list[Row]
    loss: float
    u: float
    most: float
    u_most: float


class Bounds(NamedTuple):
    """Of one use's loss, in ln mu [k]: from above and below, each as (bound, estimate), inf and 0 where nothing says; heat: what the
    temperatures' interval adds from above, over what the readings do, nan where nothing says.
    """

    above: tuple[Array, Array]
    below: tuple[Array, Array]
    heat: Array


def bounds(film: Film, use: Places, growth: tuple[Array, Array]) -> Bounds:
    """By the tests' uses of mixed stops that began on a clean disc.

    growth: (bound, estimate) of what each braking adds per energy on its own, mm2/J [c, e, k].
    """
    k, energy = use.temperature.shape[-1], use.times[:, None] * use.energy
    above, below = (np.full(k, np.inf), np.full(k, np.inf)), (np.zeros(k), np.zeros(k))
    heat = np.full(k, np.nan)

    def brakings(start: Array, i: int) -> list[Row]:
        return [(float(use.power[e]), float(start[c, e, i]), float(energy[c, e])) for c, e in np.ndindex(energy.shape)]

    clears_first = _told(film, _cleared_first)

    @cache
    def least(power: float, temperature: float) -> float:
        ends = (film.at_least(one, power, np.array([temperature]))[0][0] for one in film.grown)
        return max(map(float, ends), default=0.0)

    for i in range(k):
        cold, cold_bound, likely, u_cold, u_likely = np.inf, np.inf, np.inf, 0.0, 0.0
        for stops, _, _, loss, u in clears_first:
            rest = [
                _rest(brakings(start, i), stops, rate[..., i], least)
                for start, rate in zip((use.colder, use.temperature), growth, strict=True)
            ]
            if (at := (max(loss, 0.0) + rest[0]) / (1 - SLACK)) < cold:
                cold, u_cold = at, u / (1 - SLACK)
            cold_bound = min(cold_bound, (max(loss + film.z * u, 0.0) + rest[0]) / (1 - SLACK))
            if (at := (max(loss, 0.0) + rest[1]) / (1 - SLACK)) < likely:
                likely, u_likely = at, u / (1 - SLACK)
        together = np.inf
        if np.isfinite(cold):
            by_heat = np.sqrt(max(cold - likely, 0.0) ** 2 + (u_cold**2 + u_likely**2) * (cold > likely))
            together = likely + np.hypot(film.z * u_likely, by_heat)
            heat[i] = by_heat / (film.z * u_likely)
        above[0][i], above[1][i] = min(cold_bound, together), likely
    clears = _clearing(film, use.power[:, None], use.temperature)
    for told, last in ((clears_first, False), (_told(film, _cleared_last), True)):
        for stops, loss, u, _, _ in told:
            for i in range(k):
                every, gone = brakings(use.temperature, i), clears[..., i].ravel()
                hot = [one for one, own_clears in zip(every, gone, strict=True) if own_clears]
                if hot and not (last and _as_hot(hot, stops)):
                    continue
                missed = sum(unmatched(stops, every)) / sum(one[2] for one in stops)
                if missed <= NEARLY_ALL:
                    for own, value in zip(below, (loss - film.z * u, loss), strict=True):
                        own[i] = max(own[i], value * (1 - missed))
    return Bounds(above, below, heat)


def _rest(brakings: Sequence[Row], stops: Sequence[Row], rate: Array, least: Callable[[float, float], float]) -> float:
    """What brakings that find no stops add, each at its own rate [c, e], over what stops that find no braking added, each at the `least` rate of
    its power and temperature; a hundredth of each braking may be missed.
    """
    missing, over = _matched([(q, t, joule * (1 - SLACK)) for q, t, joule in brakings], stops)
    left = np.reshape(missing, rate.shape)
    added = float(np.where(left > LEAST_ENERGY, rate * np.maximum(left, LEAST_ENERGY), 0.0).sum())
    if not np.isfinite(added) or added <= 0:
        return added
    return max(added - sum(joule * least(q, t) for q, t, joule in over), 0.0)


def _as_hot(brakings: Sequence[Row], stops: Sequence[Row]) -> bool:
    """Whether all the brakings' energy finds stops as hard and hot, or more so."""
    wanted, offered = (
        [(1 / q, -t, joule * part) for q, t, joule in rows] for rows, part in ((brakings, 1 - SLACK), (stops, 1.0))
    )
    return max(unmatched(wanted, offered)) <= LEAST_ENERGY


def _cleared_first(film: Film, stops: Sequence[Row]) -> bool:
    """Whether stops that may clear came before all others, and of them the hottest first."""
    power, temperature = (np.array([one[i] for one in stops]) for i in range(2))
    clears = _clearing(film, power, temperature)
    hot = temperature[clears]
    between = clears[1:] & np.logical_or.accumulate(~clears)[:-1]  # one that may clear follows one that may not
    return not between.any() and bool((hot <= np.minimum.accumulate(hot) + 2 * NEAR_K).all())


def _cleared_last(film: Film, stops: Sequence[Row]) -> bool:
    """Whether stops that may clear came after all others, and of them the hottest last."""
    return _cleared_first(film, stops[::-1])


def _clearing(film: Film, power: Array, temperature: Array) -> NDArray[np.bool_]:
    """Whether stops are harder or hotter than what is known to leave a film, by more than two stops at the same place may be."""
    return film.may_clear(power / NEAR_POWER, temperature - NEAR_K)


def _told(film: Film, in_order: Callable[[Film, Sequence[Row]], bool]) -> list[Told]:
    """Each mix that says something, of uses run in that order."""
    found: list[tuple[list[Row], list[Use]]] = []
    for use in film.whole:
        stops = alike_stops(use)
        if not mixed(stops):
            continue
        same = next((uses for own, uses in found if _same(own, stops)), None)
        found.append((stops, [use])) if same is None else same.append(use)
    told = []
    for stops, uses in found:
        mean_stops = _mean_stops(uses)
        if mean_stops is None:  # run in orders of their own
            uses = [one for one in uses if in_order(film, alike_stops(one))]
            stops = alike_stops(uses[0]) if uses else []
        else:
            stops, uses = mean_stops, uses if in_order(film, mean_stops) else []
        if uses:
            loss, u = pooled(np.array([one.loss for one in uses]), np.array([one.u for one in uses]), film.z)
            most, u_most = pooled(
                np.array([one.before_checks[0] for one in uses]),
                np.array([one.before_checks[1] for one in uses]),
                film.z,
            )
            told.append(Told(stops, loss, u, most, u_most))
    return told


def pooled(loss: Array, u: Array, z: float) -> tuple[float, float]:
    """Weighted mean of runs [n] and its standard uncertainty, widened where they scatter beyond chance."""
    weight = 1 / u**2
    mean, u_mean = float(weight @ loss / weight.sum()), float(1 / np.sqrt(weight.sum()))
    free, chi2 = len(loss) - 1, float((((loss - mean) / u) ** 2).sum())
    if free and chi2 > chdtri(free, BY_CHANCE):
        u_mean *= float(np.sqrt(chi2 / free) * stdtrit(free, ndtr(z)) / z)
    return mean, u_mean


def _mean_stops(uses: Sequence[Use]) -> list[Row] | None:
    """Stops of uses that ran the same program, each at the mean of its places: what a stop misses its place by is chance.

    None where they did not run it in the same order.
    """
    if len({len(one.power) for one in uses}) != 1:
        return None
    power, temperature, energy = (
        np.mean([getattr(one, name) for one in uses], axis=0) for name in ("power", "temperature", "energy")
    )
    for one in uses:
        away = (np.abs(one.temperature - temperature) > 2 * NEAR_K) | (
            np.abs(np.log(one.power / power)) > 2 * np.log(NEAR_POWER)
        )
        if away.mean() > NEARLY_ALL:
            return None
    return alike_stops(replace(uses[0], power=power, temperature=temperature, energy=energy))


def _same(one: Sequence[Row], other: Sequence[Row]) -> bool:
    """Whether either finds all its energy in the other."""
    pairs = ((one, other), (other, one))
    return all(sum(unmatched(a, b)) <= NEARLY_ALL * sum(row[2] for row in a) for a, b in pairs)


def alike_stops(use: Use) -> list[Row]:
    """The use's stops, neighbours at the same place taken together: (mean power, mean temperature, energy of all)."""
    found: list[list[Row]] = []
    for power, temperature, energy in zip(use.power, use.temperature, use.energy, strict=True):
        row = (float(power), float(temperature), float(np.nan_to_num(energy)))
        last = found[-1][0] if found else None
        if last and abs(row[1] - last[1]) < NEAR_K and abs(np.log(row[0] / last[0])) < np.log(NEAR_POWER):
            found[-1].append(row)
        else:
            found.append([row])
    return [
        (float(np.mean([r[0] for r in own])), float(np.mean([r[1] for r in own])), sum(r[2] for r in own))
        for own in found
    ]


def mixed(stops: Sequence[Row]) -> bool:
    """Whether they stand at more than one place: of alike stops each braking's own bound says as much."""
    power, temperature = [one[0] for one in stops], [one[1] for one in stops]
    return bool(stops) and (max(power) > NEAR_POWER * min(power) or max(temperature) - min(temperature) > NEAR_K)


def unmatched(wanted: Sequence[Row], offered: Sequence[Row]) -> list[float]:
    """Energy of each row wanted that finds none offered as gentle and cold, or more so, when as much as can be is matched."""
    return _matched(wanted, offered)[0]


def _matched(wanted: Sequence[Row], offered: Sequence[Row]) -> tuple[list[float], list[Row]]:
    """(energy of each row wanted as of `unmatched`, rows offered with the energy that nothing takes)"""
    supplies = sorted(offered)
    ready: list[tuple[float, int]] = []  # (temperature, number) of what is gentle enough
    rest = [one[2] for one in supplies]
    found, number = [0.0] * len(wanted), 0
    for i in sorted(range(len(wanted)), key=lambda j: wanted[j][0]):
        power, temperature, left = wanted[i]
        while number < len(supplies) and supplies[number][0] <= NEAR_POWER * power:
            insort(ready, (supplies[number][1], number))
            number += 1
        while left > LEAST_ENERGY:
            at = bisect_right(ready, (temperature + NEAR_K, len(supplies)))
            if not at:
                break
            own = ready[at - 1][1]
            taken = min(left, rest[own])
            left, rest[own] = left - taken, rest[own] - taken
            if rest[own] <= LEAST_ENERGY:
                ready.pop(at - 1)
        found[i] = left
    return found, [(q, t, joule) for (q, t, _), joule in zip(supplies, rest, strict=True) if joule > LEAST_ENERGY]
