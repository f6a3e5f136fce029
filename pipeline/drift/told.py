"""What is said of each change: verdict, onset, loss, evidence, words. One function a cause."""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.constants import ZERO_C
from pipeline.drift.bedded import Bedding
from pipeline.drift.change import Change, phase_levels, phases
from pipeline.drift.fade import Hot
from pipeline.drift.moisture import Damp
from pipeline.drift.monitoring import Watch
from pipeline.drift.noise import Repeatability
from pipeline.drift.sensor import TorqueDrift
from pipeline.drift.series import Series, finite_median
from pipeline.method.drift import Drift

Array = NDArray[np.float64]


class Told(NamedTuple):
    """One change with all that drift.json says about it; loss in mu (value, low, high), loss_share of the level before."""

    verdict: str
    onset: tuple[int, int, int]
    loss: tuple[float, float, float] | None
    loss_share: float | None
    recovered: bool | None
    why: str
    words: list[str]
    items: dict[str, Any]
    not_excluded: list[str]
    record_next: list[str]


def level_before(s: Series, w: Watch, friction: Array, phase: NDArray[np.str_]) -> float:
    """Mean mu before the change in the group with most fallen stops."""
    group = s.group[w.checks]
    counted = np.bincount(group[phase == "fallen"], minlength=group.max() + 1)
    own = (phase == "before") & (group == int(np.argmax(counted)))
    own = own if own.any() else phase == "before"
    return float(np.exp(np.mean(friction[w.checks][own])))


def torque(s: Series, w: Watch, drift: TorqueDrift, noise: Repeatability, settings: Drift) -> Told:
    """A drift of the torque chain; the loss is the recorded friction's."""
    phase = phases(s, w.checks, Change(drift.onset, 1.0, None), settings)
    levels = phase_levels(s, w.checks, s.friction, phase, noise)
    lost = levels.difference("fallen", "before", settings.confidence) if levels else None
    before = level_before(s, w, s.friction, phase) if lost else 0.0
    share = lost.share() if lost else None
    words = (
        f"energy ratio changed by {100 * drift.size:+.1f} % ({100 * drift.low:+.1f} to {100 * drift.high:+.1f} %) from stop"
        f" {drift.onset.stop} ({drift.onset.low} to {drift.onset.high}), as a {drift.onset.family}; friction as recorded moves"
        " with it, friction as the deceleration shows it does not: the torque chain drifted"
    )
    return Told(
        "sensor", (drift.onset.stop, drift.onset.low, drift.onset.high),
        (-before * share[0], -before * share[2], -before * share[1]) if share else None, -share[0] if share else None, None,
        "the energy ratio moved", [words],
        {"torque_drift": {"share": drift.size, "low": drift.low, "high": drift.high, "threshold": settings.torque_change}},
        [], ["check the torque chain against a known load and its zero; repeat what was measured since"],
    )  # fmt: skip


def bedding(bed: Bedding) -> Told:
    """Bedding that was not finished; the loss is the level at first less the settled one (negative for a rise)."""
    words = (
        f"friction at the first check lay {100 * bed.size:+.1f} % ({100 * bed.low:+.1f} to {100 * bed.high:+.1f} %) off the level"
        f" at which it settled, dying away over about {bed.constant:.0f} stops; {bed.support}"
    )
    mu = bed.mu_settled
    return Told(
        "bedding-in", (bed.onset, bed.onset, bed.settled), (mu * bed.size, mu * bed.low, mu * bed.high),
        bed.size / (1 + bed.size), None, "friction changed early and settled", [words],
        {"bedding": {"share": bed.size, "low": bed.low, "high": bed.high, "stops": bed.constant}},
        [], ["bed in longer, until friction is within 3 % of where it settles"],
    )  # fmt: skip


def moisture(s: Series, wet: list[Damp], settings: Drift) -> Told:
    """Dips after pauses; onset and loss are those of the first."""
    first = min(wet, key=lambda d: d.stop)
    words = [
        f"after {d.idle_s / 3600:.1f} h idle the first stops from stop {d.stop} lay {100 * d.dip:+.1f} %"
        f" ({100 * d.low:+.1f} to {100 * d.high:+.1f} %; beyond chance from {100 * d.limit:+.1f} %) off matched later ones,"
        f" starting at {d.temperature_c:.0f} degC, and friction was back after {max(d.stops, 1)} stops"
        for d in wet
    ]
    level = float(np.exp(finite_median(s.friction[s.group == s.group[first.touchable[0]]])))
    last = int(s.stop[first.touchable[min(max(first.stops, 1), len(first.touchable)) - 1]])
    warm = [d for d in wet if d.temperature_c > settings.dry_above - ZERO_C]
    return Told(
        "moisture", (first.stop, first.stop, last), (-first.dip * level, -first.high * level, -first.low * level), -first.dip,
        None, "low only in the first stops after a pause", words,
        {"moisture": [d._asdict() | {"touchable": s.stop[d.touchable]} for d in wet]},
        ["contamination or handling in the pause: the stops did not start cold"] if warm else [],
        ["record humidity and dry the disc before the first stop"],
    )  # fmt: skip


def fade(s: Series, hot: list[Hot], change: Change | None) -> list[Told]:
    """Falls with temperature in hot blocks, unless friction at the checks fell from that block on."""
    for h in hot:
        lasting = change is not None and h.stop <= change.onset.stop <= h.last + 1
        if not h.beyond or lasting:
            continue
        level = float(np.exp(finite_median(s.friction[s.name == h.block])))
        words = (
            f"in block {h.block} friction fell {100 * h.fall:+.1f} % ({100 * h.low:+.1f} to {100 * h.high:+.1f} %) as stops"
            f" started at {h.temperature_low_c:.0f} to {h.temperature_high_c:.0f} degC, and the checks after it were unchanged"
        )
        return [Told(
            "fade", (h.stop, h.stop, h.last), (-h.fall * level, -h.high * level, -h.low * level), -h.fall, None,
            "low when hot, back when cool", [words], {"fade": h._asdict()}, [], [],
        )]  # fmt: skip
    return []
