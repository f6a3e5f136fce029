"""What is said of each change: verdict, onset, loss, evidence, words. One function a cause."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.constants import ZERO_C, Array
from pipeline.drift.bedded import Bedding
from pipeline.drift.change import Change, phase_levels, phases
from pipeline.drift.matching import finite_median
from pipeline.drift.monitoring import Watch
from pipeline.drift.noise import Repeatability
from pipeline.drift.sensor import TorqueDrift
from pipeline.drift.series import Series
from pipeline.method.drift import Drift
from pipeline.results.drift import AfterPause, EvidenceItem, HotBlock, Size, Verdict
from pipeline.wording import counted


class Statement(NamedTuple):
    """One change with all that drift.json says about it; loss in mu (value, low, high), loss_share of the level
    before.
    """

    verdict: Verdict
    onset: tuple[int, int, int]
    loss: tuple[float, float, float] | None
    loss_share: float | None
    recovered: bool | None
    why: str
    words: list[str]
    items: dict[str, EvidenceItem]
    not_excluded: list[str]
    record_next: list[str]


def level_before(s: Series, w: Watch, friction: Array, phase: NDArray[np.str_]) -> float:
    """Mean mu before the change in the group with most fallen stops."""
    group = s.group[w.deciding]
    counted = np.bincount(group[phase == "fallen"], minlength=group.max() + 1)
    own = (phase == "before") & (group == int(np.argmax(counted)))
    own = own if own.any() else phase == "before"
    return float(np.exp(np.mean(friction[w.deciding][own])))


def torque(s: Series, w: Watch, drift: TorqueDrift, noise: Repeatability, settings: Drift) -> Statement:
    """A drift of the torque chain; the loss is the recorded friction's."""
    phase = phases(s, w.deciding, Change(drift.onset, 1.0, None), settings)
    levels = phase_levels(s, w.deciding, s.ln_mu, phase, noise)
    lost = levels.difference("fallen", "before", settings.confidence) if levels else None
    before = level_before(s, w, s.ln_mu, phase) if lost else 0.0
    share = lost.share() if lost else None
    words = (
        f"energy ratio changed by {100 * drift.size:+.1f} % ({100 * drift.low:+.1f} to {100 * drift.high:+.1f} %) "
        "from stop"
        f" {drift.onset.stop} ({drift.onset.low} to {drift.onset.high}), as a {drift.onset.family}; friction as "
        "recorded moves"
        " with it, friction as the deceleration shows it does not: the torque chain drifted"
    )
    size = Size(share=drift.size, low=drift.low, high=drift.high, threshold=settings.torque_change)
    return Statement(
        verdict="sensor",
        onset=(drift.onset.stop, drift.onset.low, drift.onset.high),
        loss=(-before * share[0], -before * share[2], -before * share[1]) if share else None,
        loss_share=-share[0] if share else None,
        recovered=None,
        why="the energy ratio moved",
        words=[words],
        items={"torque_drift": size},
        not_excluded=[],
        record_next=["check the torque chain against a known load and its zero; repeat what was measured since"],
    )


def bedding(bed: Bedding) -> Statement:
    """Bedding that was not finished; the loss is the level at first less the settled one (negative for a rise)."""
    words = (
        f"friction at the first check lay {100 * bed.size:+.1f} % ({100 * bed.low:+.1f} to {100 * bed.high:+.1f} %) "
        "off the level"
        f" at which it settled, dying away over about {bed.constant:.0f} stops; {bed.support}"
    )
    mu = bed.mu_settled
    return Statement(
        verdict="bedding-in",
        onset=(bed.onset, bed.onset, bed.settled),
        loss=(mu * bed.size, mu * bed.low, mu * bed.high),
        loss_share=bed.size / (1 + bed.size),
        recovered=None,
        why="friction changed early and settled",
        words=[words],
        items={"bedding": Size(share=bed.size, low=bed.low, high=bed.high, stops=bed.constant)},
        not_excluded=[],
        record_next=["bed in longer, until friction is within 3 % of where it settles"],
    )


def moisture(s: Series, wet: list[AfterPause], settings: Drift) -> Statement:
    """Dips after pauses; onset and loss are those of the first."""
    first = min(wet, key=lambda d: d.stop)
    words = [
        f"after {d.idle_s / 3600:.1f} h idle the first stops from stop {d.stop} lay {100 * d.dip:+.1f} %"
        f" ({100 * d.low:+.1f} to {100 * d.high:+.1f} %; beyond chance from {100 * d.limit:+.1f} %) off matched "
        "later ones,"
        f" starting at {_degrees(d.temperature_c)}, and friction was back after {counted(max(d.stops, 1), 'stop')}"
        for d in wet
    ]
    group = s.group[s.stop == first.touchable[0]][0]
    level = float(np.exp(finite_median(s.ln_mu[s.group == group])))
    last = first.touchable[min(max(first.stops, 1), len(first.touchable)) - 1]
    dry = settings.dry_above - ZERO_C
    warm = [d for d in wet if d.temperature_c is not None and d.temperature_c > dry]
    return Statement(
        verdict="moisture",
        onset=(first.stop, first.stop, last),
        loss=(-first.dip * level, -first.high * level, -first.low * level),
        loss_share=-first.dip,
        recovered=None,
        why="low only in the first stops after a pause",
        words=words,
        items={"moisture": wet},
        not_excluded=["contamination or handling in the pause: the stops did not start cold"] if warm else [],
        record_next=["record humidity and dry the disc before the first stop"],
    )


def _degrees(temperature_c: float | None) -> str:
    return "an unknown temperature" if temperature_c is None else f"{temperature_c:.0f} °C"


def fade(s: Series, hot: list[HotBlock], change: Change | None) -> list[Statement]:
    """Falls with temperature in hot blocks, unless friction at the checks fell from that block on."""
    for h in hot:
        lasting = change is not None and h.stop <= change.onset.stop <= h.last + 1
        if not h.beyond or lasting:
            continue
        level = float(np.exp(finite_median(s.ln_mu[s.name == h.block])))
        words = (
            f"in block {h.block} friction fell {100 * h.fall:+.1f} % ({100 * h.low:+.1f} to {100 * h.high:+.1f} "
            "%) as stops"
            f" started at {h.temperature_low_c:.0f} to {h.temperature_high_c:.0f} °C, and the checks after it were "
            "unchanged"
        )
        statement = Statement(
            verdict="fade",
            onset=(h.stop, h.stop, h.last),
            loss=(-h.fall * level, -h.high * level, -h.low * level),
            loss_share=-h.fall,
            recovered=None,
            why="low when hot, back when cool",
            words=[words],
            items={"fade": h},
            not_excluded=[],
            record_next=[],
        )
        return [statement]
    return []
