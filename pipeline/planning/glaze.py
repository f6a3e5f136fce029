"""What a program can show of glazing: the smallest loss after gentle use that the drift analysis finds.

The planned stops go through the drift stage's own search: matched groups, watched stops, the shapes it tries and the
limits for its stated share of false alarms. Healthy series of that very design, drawn from the compound's pooled scatter,
then get a loss laid on the stops between gentle and high-energy use, and the share of them beyond a limit is the chance
that a loss of that size raises an alarm. The name `glazing-like` asks for more than an alarm; what of it the program can
give (enough gentle stops, high-energy stops that bring friction back, checks after both) is told beside.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.constants import Array
from pipeline.drift.change import matched, search, spreads
from pipeline.drift.detection import problem, shape_scores, simulated_noise, statistics
from pipeline.drift.monitoring import Watch, watch
from pipeline.drift.noise import Repeatability
from pipeline.drift.series import Series, series
from pipeline.method.drift import Drift
from pipeline.wording import in_percent

Indices = NDArray[np.int64]
LOSSES = tuple(round(0.005 * k, 3) for k in range(21))  # at which the chance is drawn
LARGEST = 0.5  # share of friction lost up to which a loss is looked for


@dataclass(frozen=True)
class Glaze:
    """Smallest share of friction lost after the gentle use that is found with the wanted chance (None with `why`).

    gentle: low-energy stops before the last checks that can see them; false_alarms: share of healthy tests; lacking:
    what the program lacks for the name `glazing-like`; chance: losses (share) and their chance of an alarm.
    """

    loss: float | None
    gentle: int
    power_w_mm2: float | None
    false_alarms: float
    lacking: tuple[str, ...]
    chance: tuple[tuple[float, float], ...] = ()
    why: str | None = None


def foreseen(stops: pl.DataFrame, noise: Repeatability, settings: Drift, wanted: float) -> Glaze:
    """What the planned stops (`program.table`) would show; noise: the compound's pooled scatter."""
    s = series(stops, settings)
    w = watch(s, noise, settings)
    rate = settings.false_alarm_rate
    gentle = _gentle(s)
    power = float(np.median(s.power[gentle])) if len(gentle) else None
    if not len(gentle):
        why = (
            f"no block of use has stops under {settings.low_power_share * s.reference_power:.2g} W/mm2, which is what "
            "counts as gentle beside this program's checks"
        )
        return Glaze(None, 0, None, rate, (), why=why)
    lost = lost_at(s, gentle, settings)
    if not ((s.purpose == "check") & (s.stop < s.stop[gentle[0]])).any():
        return Glaze(None, len(gentle), power, rate, (), why="no check comes before the gentle use to tell a loss from")
    if len(w.deciding) < 6 or not (lost[w.deciding] > 0).any():
        why = "no check follows the gentle use before high-energy use: plan five checks or more, as those before it"
        return Glaze(None, len(gentle), power, rate, (), why=why)
    found = _found(s, w, lost, noise._replace(sigma=w.noise.sigma), settings, wanted)
    lacking = _lacking(s, w, gentle, lost, settings)
    loss, curve = found
    missed = (
        None
        if loss is not None
        else f"not even a loss of {in_percent(LARGEST)} is found with a chance of {in_percent(wanted)}"
    )
    return Glaze(loss, len(gentle), power, rate, lacking, curve, missed)


def _gentle(s: Series) -> Indices:
    """Indices of the low-energy stops of use."""
    return np.asarray(np.flatnonzero((s.low > 0) & (s.purpose == "duty")), np.int64)


def lost_at(s: Series, gentle: Indices, settings: Drift) -> Array:
    """1 at the stops that feel the whole loss: after the last gentle stop of a stretch up to high-energy use."""
    lost, now, hard = np.zeros(len(s)), False, 0
    last = set(int(i) for i in gentle if i + 1 >= len(s) or i + 1 not in set(gentle.tolist()))
    for i in range(len(s)):
        hard = hard + 1 if s.high[i] else 0
        if hard >= settings.least_clearing:
            now = False
        lost[i] = now
        now = now or i in last
    return lost


def _found(
    s: Series, w: Watch, lost: Array, noise: Repeatability, settings: Drift, wanted: float
) -> tuple[float | None, tuple[tuple[float, float], ...]]:
    """(smallest loss found with the wanted chance, chance by loss)."""
    index = w.deciding
    spread, block = spreads(s, index, noise), s.block[index]
    _, columns = matched(s, index, s.ln_mu)
    p = problem(s.stop[index], np.zeros(len(index)), s.group[index], block, w.baseline, spread, noise, columns)
    search_ = search(s, s.ln_mu, w, noise, settings)
    unit, _, _ = shape_scores(p, search_.shapes)
    limits = search_.found.limits
    ends = np.array([limits.ratio, limits.cusum, limits.ewma])[:, None]
    healthy = simulated_noise(p, noise, spread, block)

    def chance(loss: float) -> float:
        largest = statistics(p, healthy + np.log1p(-loss) * lost[index], unit, settings)
        return float((largest > ends).any(axis=0).mean())

    curve = tuple((loss, chance(loss)) for loss in LOSSES)
    if chance(LARGEST) < wanted:
        return None, curve
    low, high = 0.0, LARGEST
    for _ in range(14):
        middle = (low + high) / 2
        low, high = (low, middle) if chance(middle) >= wanted else (middle, high)
    return max(high, settings.least_loss), curve


def _lacking(s: Series, w: Watch, gentle: Indices, lost: Array, settings: Drift) -> tuple[str, ...]:
    """What keeps a found loss from being called glazing-like."""
    found = []
    if len(gentle) < settings.least_exposure:
        found.append(f"{len(gentle)} gentle stops; a fall can be laid to {settings.least_exposure} or more")
    after = np.flatnonzero(s.stop > s.stop[gentle[-1]])
    hard = np.flatnonzero(s.high[after] > 0)
    checks = np.isin(after, w.deciding) & (lost[after] == 0)
    if hard.size < settings.least_clearing or not checks[hard[min(hard.size, settings.least_clearing) - 1] :].any():
        found.append(
            f"{settings.least_clearing} high-energy stops in a row (from {settings.high_power_share * s.reference_power:.2g} "
            "W/mm2) with checks after them: friction that comes back tells glaze from damage"
        )
    return tuple(found)
