"""Friction that a duty loses to a film, over one use and over uses in a row: bounds by what the compound's tests showed.

Each braking of the use adds growth by its own power density and the temperature at which it begins (`pipeline.drift.film`), the
first, cold cycles included; brakings at least as hard and hot as use that was seen to clear take their share off. Loss is told
as it stands at its worst in the use. ln mu falls by the sum; that growth slows down as a film fills makes the upper bound
larger than it need be, and the lower one never exceeds what a test lost.

A use begins cold whatever its opening, and no opening mends that: its brakings that start colder than the settled cycle enter
every figure with their likely growth, the middle between the estimates from above and from below; where nothing bounds them from
above, with the largest growth that the tests saw, or with the method's `film_growth` where none glazed. Where nothing bounds a
braking of the settled cycle, there is no upper bound at all. A test that ran the mix of a use's stops bounds the use as a whole
(`pipeline.duty.mixed_use`), its cold start with it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.constants import Array
from pipeline.drift.film import Film
from pipeline.duty.mixed_use import bounds
from pipeline.duty.places import Places
from pipeline.results.openings import FilmLoss
from pipeline.wording import in_percent

USES = 3  # in a row


@dataclass(frozen=True)
class Losses:
    """Share of mu lost at each opening [k] after one use and after several in a row; inf: no upper bound, nan: no value.

    growth: what each braking of `use` may add at most, in ln mu [c, e, k]. heat: what the duty's heat leaves open of a use, over what the
    checks do, at each opening [k]; nan where no test of the use's mix holds the target by its estimate.
    """

    use: Places
    growth: Array
    heat: Array
    low: Array
    value: Array
    high: Array
    low_uses: Array
    value_uses: Array
    high_uses: Array

    def upto(self, n: int) -> Losses:
        """At the first n openings."""
        ends = (self.low, self.value, self.high, self.low_uses, self.value_uses, self.high_uses)
        return Losses(self.use.upto(n), self.growth[..., :n], self.heat[:n], *(end[:n] for end in ends))

    def at(self, k: int, wanted: float) -> tuple[FilmLoss, FilmLoss]:
        """(over one use, over several) at an opening."""
        one = _told(float(self.low[k]), float(self.value[k]), float(self.high[k]), wanted)
        return one, _told(float(self.low_uses[k]), float(self.value_uses[k]), float(self.high_uses[k]), wanted)


def _told(low: float, value: float, high: float, wanted: float) -> FilmLoss:
    bounded = bool(np.isfinite(high))
    told = bounded and bool(np.isfinite(value))
    open_ = f"between what glazed and what was harmless in tests lies more than the {in_percent(wanted)} that the target accepts"
    return FilmLoss(
        value=value if told else None,
        low=low,
        high=high if bounded else None,
        why=None if told else open_ if bounded else "nothing tested bounds it from above",
        high_why=None if bounded else "no use as gentle and as cold as its brakings, or more so, was tested",
    )


def losses(use: Places, film: Film, wanted: float, assumed: float) -> Losses:
    """Bounds of the loss at every opening; wanted: the loss that the target accepts, assumed: growth (mm2/J) of a cold start's
    brakings where no test glazed.
    """
    found = [film.at_most(float(p), use.temperature[:, e]) for e, p in enumerate(use.power)]
    bound, estimate = (np.array([f[k] for f in found]).transpose(1, 0, 2) for k in range(2))
    cold = use.temperature < _warm(use)
    fastest = film.largest_seen() or assumed
    # a bound that a stop or two of a test make is none: nothing is likely to grow faster than what grew fastest
    likely = np.minimum((estimate + _seen_below(use, film)) / 2, fastest)
    unknown = cold & ~(estimate < fastest)
    bound, estimate = np.where(cold, likely, bound), np.where(cold, likely, estimate)
    # beside a test of the mix it is the few first brakings alone that this is for: alike uses tell it together
    together = min(film.fastest_together() or fastest, fastest)
    of_mix = np.where(unknown, together, bound), np.where(unknown, together, estimate)
    by_mix = bounds(film, use, of_mix)
    bound, estimate = bound * use.energy[:, None], estimate * use.energy[:, None]
    kept = np.exp(-film.decay(use.power[:, None], use.temperature) * use.energy[:, None])
    high, above = _uses(bound, kept, use.cycles), _uses(estimate, kept, use.cycles)
    high, above = (
        [np.minimum(x, n * y) for x, n in zip(own, (1, USES), strict=True)]
        for own, y in zip((high, above), by_mix.above, strict=True)
    )
    low, below = ([np.maximum(x, y) for x in own] for own, y in zip(_least(use, film), by_mix.below, strict=True))
    low = [np.minimum(x, y) for x, y in zip(low, high, strict=True)]
    value = [_between(_share(a), _share(b), wanted) for a, b in zip(above, below, strict=True)]
    most = [_share(x, np.inf) for x in high]
    heat = np.where(by_mix.above[1] <= -np.log1p(-wanted), by_mix.heat, np.nan)
    return Losses(use, bound, heat, _share(low[0]), value[0], most[0], _share(low[1]), value[1], most[1])


def _seen_below(use: Places, film: Film) -> Array:
    """Estimate of the growth from below, mm2/J, at every braking [c, e, k]."""
    found = np.zeros(use.temperature.shape)
    for one in film.grown:
        rows = [film.at_least(one, float(p), use.temperature[:, e])[1] for e, p in enumerate(use.power)]
        found = np.maximum(found, np.array(rows).transpose(1, 0, 2))
    return found


def _between(above: Array, below: Array, wanted: float) -> Array:
    """Middle of the estimates from both sides, where they are no further apart than the loss that counts."""
    return np.where(above - below <= wanted, (above + below) / 2, np.nan)


def _warm(use: Places) -> Array:
    """Temperature [k] under which a braking counts as the use's cold start: the coldest of the settled cycle, or half of the
    use's brakings where it does not get there."""
    often = np.minimum(use.times, len(use.temperature)).astype(int)  # beyond, the median is the settled cycle's
    usual = np.median(np.repeat(use.temperature, often, axis=0).reshape(-1, use.temperature.shape[-1]), axis=0)
    return np.asarray(np.minimum(use.temperature[-1].min(axis=0), usual), float)


def _share(lost: Array, open_end: float = np.nan) -> Array:
    """Share of mu that a fall of ln mu is; an infinite one as told."""
    return np.where(np.isfinite(lost), -np.expm1(-np.where(np.isfinite(lost), lost, 0.0)), open_end)


def _least(use: Places, film: Film) -> tuple[list[Array], list[Array]]:
    """(bound, estimate) from below, each after one use and after several: by each use that glazed on its own, the largest."""
    kept = np.where(film.may_clear(use.power[:, None], use.temperature), 0.0, 1.0)
    ends: tuple[list[Array], list[Array]] = ([], [])
    for k, into in enumerate(ends):
        into += [np.zeros(use.temperature.shape[-1]) for _ in range(2)]
        for one in film.grown:
            found = [film.at_least(one, float(p), use.temperature[:, e])[k] for e, p in enumerate(use.power)]
            growth = np.array(found).transpose(1, 0, 2) * use.energy[:, None]
            most = one.loss if k else max(one.loss - film.z * one.u, 0.0)
            for i, lost in enumerate(_uses(growth, kept, use.cycles)):
                into[i] = np.maximum(into[i], np.minimum(lost, most))
    return ends


def _uses(growth: Array, kept: Array, cycles: int) -> list[Array]:
    """[after one use, after USES]: the worst fall of ln mu in the last of them [k]; growth and kept [c, e, k] of its cycles."""
    lost, found = np.zeros(growth.shape[-1]), []
    for number in range(USES):
        lost, worst = _one_use(lost, growth, kept, cycles)
        if number in (0, USES - 1):
            found.append(worst)
    return found


def _one_use(lost: Array, growth: Array, kept: Array, cycles: int) -> tuple[Array, Array]:
    """(fall at the end, worst fall in it), from the fall at its beginning."""
    worst = np.zeros_like(lost)
    first = min(len(growth) - 1, cycles)
    for c in range(first):
        lost, worst = _one_cycle(lost, worst, growth[c], kept[c])
    rest = cycles - first
    if rest:
        lost, worst = _one_cycle(lost, worst, growth[-1], kept[-1])
    if rest > 1:
        whole = kept[-1].prod(axis=0)
        added, _ = _one_cycle(np.zeros_like(lost), worst, growth[-1], kept[-1])
        powers = whole ** (rest - 2)
        with np.errstate(divide="ignore", invalid="ignore"):
            terms = np.where(whole < 1, (1 - powers) / (1 - whole), rest - 2)
        # the fall of repeated cycles goes one way, so the worst is in the first or in the last of them
        lost = powers * np.where(powers > 0, lost, 0.0) + terms * np.where(terms > 0, added, 0.0)
        lost, worst = _one_cycle(lost, worst, growth[-1], kept[-1])
    return lost, worst


def _one_cycle(lost: Array, worst: Array, growth: Array, kept: Array) -> tuple[Array, Array]:
    for added, left in zip(growth, kept, strict=True):
        lost = np.where(left > 0, np.where(left > 0, lost, 0.0) * left, 0.0) + added
        worst = np.maximum(worst, lost)
    return lost, worst
