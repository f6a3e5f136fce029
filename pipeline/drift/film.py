"""How fast a film grows on the faces: bounds over power density and initial temperature, from all tests of a compound.

What is taken as known is that a film grows with the friction work, and its direction: it grows no slower where a stop is gentler
and colder (films and transfer layers of carbon form cold and are worn off hot and hard; common practice). Write r(q, T) for the
fall of ln mu per energy density (mm2/J of pad) that a stop of power density q, begun at T, brings on a clean face. Use between two
blocks of checks that changed ln mu by -L has brought at least r(q, T) times the energy of its stops that were gentler and colder, so

    r(q, T) <= L_high / (energy of its stops gentler and colder than q, T)   from every use that no stop may have cleared
    r(q, T) >= L_low / (its energy)                                          from every use that glazed, harder and warmer than q, T

with L_high and L_low the ends of L's interval. Nothing is interpolated: where neither holds, nothing is known. Alike uses are
taken together to a rate r_g with standard uncertainty u_g. Where G groups bound a place, all of them do at once: the bound is the
rate r at which the distance to the rates allowed, the sum of (max(r - r_g, 0) / u_g)^2, reaches the quantile of its distribution
where all rates are r, a mixture of chi-squared ones with binomial weights (chi-bar-squared; Silvapulle and Sen, Constrained
Statistical Inference, 2005, section 3; from memory). Groups that glazed and groups that did not bound it apart, as the former say
nothing where the latter do, and the smaller bound stands.

Growth slows down as the film fills: a mean rate over a long use is raised to the first one by -ln(1 - L/K) / (L/K) with K the
largest loss that the film can bring, taken as `LEAST_FULL` or twice L. A use that began on a fallen level bounds nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from math import comb

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtr, ndtri

from pipeline.constants import Array
from pipeline.results.drift import Scatter

LEAST_FULL = 0.15  # share of mu: the least that a full film costs any friction couple (from memory: 0.15 to 0.45)
ALIKE_K, ALIKE_POWER = 20.0, 1.25  # within which uses are taken together
NEAR_K, NEAR_POWER = (
    5.0,
    1.05,
)  # within which two stops stand at the same place: what a stop's temperature and torque are held to
NEARLY_ALL = 0.05  # share of a use's stops that may lie outside its ends


@dataclass(frozen=True)
class Use:
    """Use of one test between checks: its stops [n] and what ln mu lost across them.

    power W/mm2 and energy J/mm2 of pad, temperature degC initial; may_clear: harder or hotter than the checks, so that a film
    may have gone with it. first: the loss stands for the rate at which it began, else for the mean rate. glazed: whether friction fell by a film. checks: the
    check stops between the middles of the levels before and after, rows of power, temperature and the energy that lies between [m, 3]. left: share of the
    loss that the checks after the use showed on average, as they took the rest off, with its standard uncertainty.
    """

    test: str
    stretches: int
    power: Array
    temperature: Array
    energy: Array
    may_clear: NDArray[np.bool_]
    loss: float
    u: float
    first: bool = False
    glazed: bool = False
    checks: Array = field(default_factory=lambda: np.zeros((0, 3)))
    left: tuple[float, float] = (1.0, 0.0)

    @property
    def amount(self) -> float:
        """Energy density of all its stops, J/mm2; a stop of unknown energy counts none."""
        return float(np.nansum(self.energy))

    @property
    def before_checks(self) -> tuple[float, float]:
        """(loss, standard uncertainty) as it was before the checks after the use took anything off."""
        share, u_share = self.left
        return self.loss / share, float(np.hypot(self.u, self.loss * u_share / share) / share)

    def gentler(self, power: float, temperature: Array) -> Array:
        """Energy density of the stops as gentle and cold as a power and temperatures [m], or more so; 0 where others may have
        cleared a film.
        """
        temperature = np.asarray(temperature, float) + NEAR_K
        columns = zip((self.power, self.temperature, self.energy), self.checks.T, strict=True)
        powers, starts, energies = (np.concatenate(pair) for pair in columns)
        own = powers <= NEAR_POWER * power
        order = np.argsort(starts[own])
        total = np.concatenate([[0.0], np.cumsum(np.nan_to_num(energies)[own][order])])
        found = total[np.searchsorted(starts[own][order], temperature, side="right")]
        under = self.power <= NEAR_POWER * power
        if (self.may_clear & ~under).any():
            return np.zeros(np.shape(temperature))
        hottest = self.temperature[self.may_clear].max(initial=-np.inf)
        return np.asarray(np.where(temperature >= hottest, found, 0.0), float)

    @cached_property
    def _softest(self) -> tuple[float, float]:
        """(power, temperature) that nearly all its stops reach."""
        return float(np.quantile(self.power, NEARLY_ALL)), float(np.quantile(self.temperature, NEARLY_ALL))

    def harder(self, power: float, temperature: Array) -> NDArray[np.bool_]:
        """Whether it was as hard and warm as a power and temperatures [m], or more so."""
        least, coldest = self._softest
        return np.asarray((temperature <= coldest + NEAR_K) & (power <= NEAR_POWER * least), bool)


@dataclass(frozen=True)
class Removal:
    """Use that cleared a film: a stop at least as hard and hot takes a share of it by `least` at least."""

    test: str
    stops: int
    power: float
    temperature: float
    regained: tuple[float, float, float]  # of the loss before it: value, low, high
    energy: float  # J/mm2 of all its stops

    @property
    def least(self) -> float:
        """Rate of decay in mm2/J: a share 1 - exp(-rate x energy) goes, by the low end."""
        share = min(max(self.regained[1], 0.0), 0.999)
        return float(-np.log1p(-share) / self.energy) if self.energy > 0 else 0.0

    def clears(self, power: Array, temperature: Array) -> NDArray[np.bool_]:
        return np.asarray((power >= self.power) & (temperature >= self.temperature), bool)


@dataclass(frozen=True)
class Film:
    """All evidence of a compound's film. groups: alike uses that bound growth from above; grown: uses that glazed, which bound
    it from below; whole: uses that began on a clean disc, by what they lost as a whole; check_power and check_temperature: beyond these of the checks a stop may clear a film.
    """

    groups: tuple[tuple[Use, ...], ...] = ()
    grown: tuple[Use, ...] = ()
    cleared: tuple[Removal, ...] = ()
    check_power: float = np.inf
    check_temperature: float = np.inf
    scatter: Scatter | None = None  # of matched stops
    whole: tuple[Use, ...] = ()
    confidence: float = 0.95

    @property
    def z(self) -> float:
        """Standard uncertainties to an end of the interval."""
        return float(-ndtri((1 - self.confidence) / 2))

    def at_most(self, power: float, temperature: Array) -> tuple[Array, Array]:
        """(bound, estimate) of the growth in mm2/J at temperatures [m]: inf where nothing bounds it.

        The estimate is the bound that holds with even chance.
        """
        temperature = np.asarray(temperature, float)
        rows = [_pooled(group, power, temperature, self.z) for group in self.groups]
        if not rows:
            return np.full(temperature.shape, np.inf), np.full(temperature.shape, np.inf)
        rate, u = (np.array([row[k] for row in rows]) for k in range(2))
        glazed = np.array([any(use.glazed for use in group) for group in self.groups])
        ends = []
        for confidence in ((1 + self.confidence) / 2, 0.5):
            parts = [_joint(rate[own], u[own], confidence) for own in (glazed, ~glazed) if own.any()]
            ends.append(np.min(parts, axis=0))
        return ends[0], ends[1]

    def at_least(self, use: Use, power: float, temperature: Array) -> tuple[Array, Array]:
        """(bound, estimate) of the growth at temperatures [m] by one use that glazed: 0 where it was not harder and warmer."""
        amount = use.amount
        here = use.harder(power, np.asarray(temperature, float)) & (amount > 0)
        low = max(use.loss - self.z * use.u, 0.0) / max(amount, 1e-12)
        return np.where(here, low, 0.0), np.where(here, use.loss / max(amount, 1e-12), 0.0)

    def largest_seen(self) -> float | None:
        """Upper end of the growth, mm2/J, of the use that glazed fastest; None where none of known energy did."""
        began = [use for group in self.groups for use in group if (use.first or use.glazed) and use.amount > 0]
        ends = [(use.loss + self.z * use.u) / use.amount for use in began]
        return max(ends, default=None)

    def fastest_together(self) -> float | None:
        """Upper end of the growth, mm2/J, of the alike uses that glazed fastest, taken together; None where none of known energy did."""
        own = [g for g in self.groups if any(use.first or use.glazed for use in g) and sum(use.amount for use in g) > 0]
        rates = [_pooled(group, np.inf, np.array([np.inf]), self.z) for group in own]
        return max((float(rate[0] + self.z * u[0]) for rate, u in rates), default=None)

    def u_of_checks(self, stops: int, before: int | None = None) -> float | None:
        """Standard uncertainty of a change of ln mu from one block of checks to the next, of so many stops (`before`: the first, where it
        has others); None where the scatter is not known.
        """
        if self.scatter is None:
            return None
        return float(np.hypot(_u_of_level(self.scatter, before or stops), _u_of_level(self.scatter, stops)))

    def groups_at(self, power: float, temperature: float) -> int:
        """How many groups of alike uses that did not glaze bound the growth there."""
        at = np.array([temperature])
        own = [group for group in self.groups if not any(use.glazed for use in group)]
        return sum(bool(np.isfinite(_pooled(group, power, at, self.z)[1]).all()) for group in own)

    def z_of(self, groups: int) -> float:
        """Standard uncertainties to the bound by one group among so many that are taken together."""
        return float(np.sqrt(_distance(groups, (1 + self.confidence) / 2)))

    def may_clear(self, power: Array, temperature: Array) -> NDArray[np.bool_]:
        """Whether stops are harder or hotter than what is known to leave a film."""
        return np.asarray((power > self.check_power) | (temperature > self.check_temperature), bool)

    def decay(self, power: Array, temperature: Array) -> Array:
        """Rate of decay in mm2/J that the tests show for stops at least as hard and hot, by its low end."""
        rates = np.zeros(np.broadcast(power, temperature).shape)
        for one in self.cleared:
            rates = np.maximum(rates, np.where(one.clears(power, temperature), one.least, 0.0))
        return rates


def _u_of_level(scatter: Scatter, stops: int) -> float:
    """Standard uncertainty of the mean of so many checks in a row."""
    rho = np.clip(scatter.rho, 0.0, 0.95)
    distance = np.abs(np.subtract.outer(np.arange(stops), np.arange(stops)))
    return float(np.sqrt(scatter.sigma**2 * (rho**distance).mean() + scatter.block_sigma**2))


def _pooled(group: Sequence[Use], power: float, temperature: Array, z: float) -> tuple[Array, Array]:
    """(first rate, standard uncertainty) by a group's loss over its stops gentler and colder: a line through the origin."""
    amount = np.array([use.gentler(power, temperature) for use in group])
    column = (-1, *[1] * temperature.ndim)
    loss, u = (np.array([getattr(use, name) for use in group]).reshape(column) for name in ("loss", "u"))
    weight = amount / u**2
    information = (weight * amount).sum(axis=0)
    known = information > 0
    information = np.where(known, information, 1.0)
    rate, spread = (weight * loss).sum(axis=0) / information, 1 / np.sqrt(information)
    if not group[0].first:
        mean = float(np.mean([use.amount for use in group]))
        faster = _filling((np.maximum(rate, 0.0) + z * spread) * mean)
        rate, spread = rate * faster, spread * faster
    return np.where(known, rate, 0.0), np.where(known, spread, np.inf)


def _joint(rate: Array, u: Array, confidence: float) -> Array:
    """Upper end of a rate that none of the groups' [g, m] may lie under; inf where no group says anything."""
    groups = np.isfinite(u).sum(axis=0)
    wanted = np.array([_distance(int(g), confidence) for g in range(len(rate) + 1)])[groups]
    order = np.argsort(np.where(np.isfinite(u), rate, np.inf), axis=0)
    rate, u = np.take_along_axis(rate, order, 0), np.take_along_axis(u, order, 0)
    weight = 1 / u**2
    total, first, second = (np.cumsum(weight * rate**k, axis=0) for k in range(3))
    with np.errstate(divide="ignore", invalid="ignore"):
        inside = first**2 - total * (second - wanted)
        inside = np.where(np.abs(inside) < 1e-9 * first**2, 0.0, inside)  # a group by itself: rounding must not lose it
        root = (first + np.sqrt(inside)) / total
    root = np.where(np.isfinite(u) & np.isfinite(root) & (root >= rate - 1e-15), root, np.inf)
    return np.asarray(np.maximum(root.min(axis=0), 0.0), float)


@lru_cache(maxsize=256)
def _distance(groups: int, confidence: float) -> float:
    """Quantile of the squared distance to rates that may all only lie above, with as many groups."""
    from scipy.optimize import brentq  # loads much

    if groups == 0 or confidence <= 0.5**groups:
        return 0.0
    share = np.array([comb(groups, j) for j in range(groups + 1)]) / 2.0**groups

    def beyond(distance: float) -> float:
        return float(share[0] + share[1:] @ chdtr(np.arange(1, groups + 1), distance)) - confidence

    return float(brentq(beyond, 0.0, 40.0 + 4.0 * groups))


def _filling(loss: Array) -> Array:
    """First rate over mean rate of a film that has cost `loss`, at the least loss that it can be full with."""
    loss = np.where(np.isfinite(loss), np.maximum(loss, 1e-12), 1e-12)
    part = loss / np.maximum(LEAST_FULL, 2 * loss)
    return np.asarray(-np.log1p(-part) / part, float)


def alike(a: Use, b: Use) -> bool:
    """Whether two uses are taken together: of one kind, their medians near."""
    power = abs(np.log(np.median(a.power) / np.median(b.power))) < np.log(ALIKE_POWER)
    near = abs(np.median(a.temperature) - np.median(b.temperature)) < ALIKE_K
    return bool(a.first == b.first and power and near)


def grouped(uses: Sequence[Use]) -> tuple[tuple[Use, ...], ...]:
    """Alike uses taken together, in the order given."""
    groups: list[list[Use]] = []
    for use in uses:
        same = next((group for group in groups if alike(group[0], use)), None)
        groups.append([use]) if same is None else same.append(use)
    return tuple(tuple(group) for group in groups)
