"""What the test's energy balance, levels and second sensors say, as findings: of the test, and of the stops they
reach.
"""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import polars as pl

from pipeline.archive.card import Card
from pipeline.conditioning.energy_balance import BalanceLine
from pipeline.conditioning.from_brakings import FoundCorrections
from pipeline.conditioning.offsets import robust_line
from pipeline.constants import MAD_TO_SD
from pipeline.findings import Finding, finding, of_each
from pipeline.inputs import unit_slips
from pipeline.method import Method
from pipeline.results.summary import Candidate, EnergyBalance
from pipeline.stops.alignment import Alignment
from pipeline.stops.faults.levels import RATIO_MOVES, balance_allowance, ratio_findings, torque_limit

ODD_RATIO = (
    0.05  # least distance from its neighbours at which a stop's energy ratio is odd; where no accuracy is stated
)
ODD_STATED = 3 * RATIO_MOVES  # beside both ends of torque's stated limits
SPEED_ALIKE = 0.006  # a speed's scale and the ratio's inverse that lie so near speak for each other
NEIGHBOURS = 9
LEAST_RATIOS = 4
TREND_LIMIT = 0.015  # of the ratio over the whole test; where no accuracy is stated
# channel -> its dimension and the power of its factor in the balance's ratio
POWERS = {"torque": ("torque", 1), "speed": ("angular_speed", -1), "time": ("duration", 1), "inertia": ("inertia", -1)}
UNIT_TOLERANCE = 0.03
LEVELS = {"pressure": "pressure", "speed": "angular_speed", "torque": "torque"}  # channel -> dimension


def ratio_statistics(ratios: np.ndarray) -> EnergyBalance:
    """Median, robust scatter, trend per 100 stops with its standard uncertainty; null with why where there are too
    few.

    ratios: (n,) energy ratio of each stop in the order run, 1, NaN where a stop has none.
    """
    index = np.flatnonzero(np.isfinite(ratios))
    values = ratios[index]
    if values.size == 0:
        return EnergyBalance(why="no stop with an energy ratio")
    median = float(np.median(values))
    scatter = MAD_TO_SD * float(np.median(np.abs(values - median)))
    if values.size < 10:
        why = "fewer than ten stops with an energy ratio"
        return EnergyBalance(ratio_median=median, ratio_scatter=scatter, trend_why=why)
    (_, slope), covariance = robust_line(index.astype(float), values)
    return EnergyBalance(
        ratio_median=median,
        ratio_scatter=scatter,
        trend_per_100_stops=float(100 * slope),
        trend_u=float(100 * np.sqrt(covariance[1, 1])),
    )


def candidates(
    median: float | None, line: BalanceLine | None, *, limit: float, units: Mapping[str, str] | None = None
) -> list[Candidate]:
    """What a balance off by one factor may come from, the like unit slips first; empty where it is within `limit`.

    units: the card's, by channel.
    """
    if median is None or not np.isfinite(median) or abs(median - 1) <= limit:
        return []
    found: list[tuple[str, float | None, float | None]] = []
    for channel, (dimension, power) in POWERS.items():
        word = "entered as" if channel == "inertia" else "labelled"
        for slip in unit_slips.named(dimension, median**power, (units or {}).get(channel), tolerance=UNIT_TOLERANCE):
            factor = slip.factor**power
            cause = f"{channel} in {slip.actual} {word} {slip.labelled}"
            found.append((cause, factor, median / factor - 1))
    same: list[tuple[str, float | None, float | None]] = [
        (f"torque gain {median:.3f} times the true one", median, 0.0),
        (f"inertia entered {1 / median:.3f} times the true one", median, 0.0),
        (f"speed scale {1 / median:.3f} times the true one", median, 0.0),
        (f"time scale (sample rate) {median:.3f} times the true one", median, 0.0),
    ]
    if line is not None and abs(line.gain - 1) < min(limit, abs(median - 1) / 2):
        same.insert(0, ("torque offset or drag, not a gain: the line's slope is 1", None, None))
    told = "a torque gain, a wrong inertia, a speed scale and a time scale give the same ratio"
    return [
        Candidate(cause=cause, factor=factor, residual=residual, not_told_apart_from=told)
        for cause, factor, residual in [*found, *same]
    ]


def balance_findings(
    stops: pl.DataFrame, found: FoundCorrections, card: Card, method: Method, alignment: Alignment
) -> list[Finding]:
    """Energy ratio off over the test (with candidates) and odd in single stops; levels off the schedule."""
    ratios = stops["energy_ratio"].cast(pl.Float64).to_numpy()
    statistics = ratio_statistics(ratios)
    median, limit = statistics.ratio_median, balance_limit(stops, found, card, method)
    stated = torque_limit(card, stops)
    result: list[Finding] = []
    causes = candidates(median, found.line, limit=limit, units=units_of(card))
    causes = _first_named(causes, median, found, alignment)
    if causes and median is not None:
        named = "; ".join(c.cause for c in causes)
        evidence = {"ratio_median": median, "candidates": [c.model_dump(exclude_unset=True) for c in causes]}
        text = f"work at the brake is {median:.3f} of the energy the shaft gave up. Candidates: {named}"
        result.append(finding("energy_balance", text, evidence=evidence))
        if abs(median - 1) > max(method.reduction.balance_gross, limit):
            text = f"the whole test's energy ratio is {median:.3f}"
            result += of_each(_every(stops), "energy_balance", text, evidence={"ratio_median": median})
    trend, u = statistics.trend_per_100_stops, statistics.trend_u
    stretch = np.ptp(np.flatnonzero(np.isfinite(ratios))) / 100 if trend is not None else 0.0
    # A late speed bends the ratio by itself, from stop to stop too.
    moves = [] if found.speed_late else ratio_findings(stops, card, unsplit_share(stops, found))
    result += moves
    least = TREND_LIMIT if stated is None else min(TREND_LIMIT, RATIO_MOVES + 2 * stated)
    if not moves and trend is not None and u and abs(trend) > 4 * u and abs(trend) * stretch > least:
        text = f"energy ratio moves by {100 * trend * stretch:+.1f} % over the test: torque gain, speed or drag drifts"
        evidence = {"trend_per_100_stops": trend, "u": u, "over_test": trend * stretch}
        result.append(finding("energy_ratio_trend", text, channel="torque", evidence=evidence))
    odd = ODD_RATIO if stated is None else min(ODD_RATIO, ODD_STATED + 2 * stated)
    for i in odd_ratios(ratios, statistics.ratio_scatter, odd):
        text = f"energy ratio {ratios[i]:.3f} stands out from its neighbours: speed or torque is wrong in this stop"
        result.append(
            finding(
                "energy_ratio_odd",
                text,
                stop=int(stops["stop"][int(i)]),
                file=stops["file"][int(i)],
                evidence={"energy_ratio": float(ratios[i])},
            )
        )
    return result + _pressures(stops, card, method) + _level_findings(alignment, stops, card)


def units_of(card: Card) -> dict[str, str]:
    """The card's units of the channels that the balance rests on."""
    return card.recordings.units_of(("torque", "speed", "time"))


def _pressures(stops: pl.DataFrame, card: Card, method: Method) -> list[Finding]:
    """Two pressure sensors that differ by more than the balance may: the balance itself is blind to pressure."""
    if "pressure_2_bar" not in stops.columns:
        return []
    ratio = (stops["pressure_2_bar"] / stops["pressure_bar"]).drop_nulls().to_numpy()
    ratio = ratio[np.isfinite(ratio)]
    if not ratio.size or abs(np.median(ratio) - 1) <= method.reduction.balance_limit:
        return []
    text = (
        f"the second pressure sensor reads {np.median(ratio):.3f} of the first: one of them is wrong, mu with it if "
        "the first"
    )
    middle, unit = float(np.median(ratio)), card.recordings.channels["pressure_2"].unit
    causes = [f"pressure 2 in {slip.text}" for slip in unit_slips.named("pressure", middle, unit)]
    if causes:
        text += f". Candidates: {'; '.join(causes)}"
    return [
        finding(
            "pressures_disagree",
            text,
            channel="pressure_2",
            evidence={"ratio_median": middle, "stops": int(ratio.size), "candidates": [{"cause": c} for c in causes]},
        )
    ]


def unsplit_share(stops: pl.DataFrame, found: FoundCorrections) -> float:
    """What a constant reading that may be drag or offset is worth in the energy ratio: median over the stops; 0 if
    told apart.
    """
    zero = found.corrections.zero
    if zero.separated or not zero.known or not zero.includes_drag or "angle_rad" not in stops.columns:
        return 0.0
    share = (abs(zero.offset) * stops["angle_rad"] / (1e3 * stops["energy_kj"])).median()
    return float(share) if isinstance(share, int | float) and np.isfinite(share) else 0.0


def _first_named(
    causes: list[Candidate], median: float | None, found: FoundCorrections, alignment: Alignment
) -> list[Candidate]:
    """The candidates, led by what another witness speaks for: a late speed, or a speed that stands off the schedule
    alike.
    """
    if not causes or median is None:
        return causes
    if found.speed_late:
        cause = f"speed recorded {1e3 * found.speed_late:.0f} ms late, or one that sees the torque"
        return [Candidate(cause=cause, factor=None, residual=None), *causes]
    scale = alignment.scales.get("speed")
    if scale is not None and abs(scale - 1) > SPEED_ALIKE and abs(median * scale - 1) < SPEED_ALIKE:
        cause = f"speed scale: speed stands at {scale:.3f} of the schedule's too"
        return [Candidate(cause=cause, factor=1 / scale, residual=median * scale - 1), *causes]
    return causes


def balance_limit(stops: pl.DataFrame, found: FoundCorrections, card: Card, method: Method) -> float:
    """|energy ratio - 1| from which on the balance is a finding: what the accuracies allow, and a drag not told from
    the offset.
    """
    return balance_allowance(card, method.reduction.balance_limit, stops) + unsplit_share(stops, found)


def odd_ratios(ratios: np.ndarray, scatter: float | None, least: float = ODD_RATIO) -> np.ndarray:
    """Indices of energy ratios far from the median of their neighbours: by `least` and eight robust sigmas.

    ratios: (n,) energy ratio of each stop in the order run, 1, NaN where a stop has none; scatter: their robust one.
    """
    index = np.flatnonzero(np.isfinite(ratios))
    if index.size < LEAST_RATIOS or scatter is None:
        return np.empty(0, dtype=np.int64)
    values = ratios[index]
    if values.size < NEIGHBOURS:
        centre = np.full(values.size, np.median(values))
    else:
        padded = np.pad(values, NEIGHBOURS // 2, mode="reflect")
        centre = np.median(np.lib.stride_tricks.sliding_window_view(padded, NEIGHBOURS), axis=1)
    off = values - centre
    sigma = MAD_TO_SD * float(np.median(np.abs(off)))
    return index[np.abs(off) > max(least, 8 * sigma)]


def _level_findings(alignment: Alignment, stops: pl.DataFrame, card: Card) -> list[Finding]:
    """Channels whose level over the test stands in one ratio to the schedule's: a unit slip, or a wrong schedule."""
    result: list[Finding] = []
    for channel, dimension in LEVELS.items():
        scale = alignment.scales.get(channel)
        if scale is None or abs(np.log(scale)) < 0.18:
            continue
        unit = card.recordings.channels[channel].unit
        named: list[dict[str, Any]] = [
            {"cause": f"{channel} in {slip.text}", "factor": slip.factor}
            for slip in unit_slips.named(dimension, scale, unit, tolerance=0.1)
        ]
        named.append({"cause": f"gain of the {channel} sensor, or a schedule that was not run", "factor": scale})
        text = f"{channel} is {scale:.3g} times the schedule's. Candidates: {'; '.join(str(n['cause']) for n in named)}"
        result += _over_test(stops, "level_off_schedule", text, channel, {"ratio": scale, "candidates": named})
    return result


def _over_test(stops: pl.DataFrame, code: str, text: str, channel: str, evidence: dict[str, Any]) -> list[Finding]:
    """The finding for the test and, short, for each of its stops: nothing measured in doubtful units is used
    unasked.
    """
    short = f"{channel} is off its schedule as in the whole test"
    every = of_each(_every(stops), code, short, channel=channel, evidence={"ratio": evidence["ratio"]})
    return [finding(code, text, channel=channel, evidence=evidence), *every]


def _every(stops: pl.DataFrame) -> Iterator[tuple[int, str]]:
    return stops.select("stop", "file").iter_rows()
