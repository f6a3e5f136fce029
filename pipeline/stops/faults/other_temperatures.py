"""Temperatures beside the disc's (pad, surface, ambient, caliper) held against what they can be: which unit are they
in?

No schedule says what they should read, so each has a band, recording by recording:

    ambient   0 to 50 degC: the air of a test house
    surface   within 25 K + 15 % of the disc's thermocouple before braking, when the disc is even
    others    from 10 K below the air to 150 K above the disc: what is warmed by the disc and cooled by the air

(common practice). A wrong unit is told where it explains what lies outside the band; where a unit would stay inside,
the test cannot tell and says so. No friction coefficient rests on these channels, so a finding is the test's alone.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.archive.card import Card
from pipeline.conditioning.channels_file import ChannelsFile
from pipeline.constants import ZERO_C
from pipeline.findings import Finding, finding
from pipeline.inputs.quantities import scale_offset
from pipeline.inputs.unit_slips import SPELLED, Slip, slips
from pipeline.results.summary import ChannelUnit
from pipeline.stops.faults.stretch_search import best_stretch, bounded, left_open

AIR_C = (0.0, 50.0)
BELOW_AIR_K, ABOVE_DISC_K = 10.0, 150.0
EVEN_K, EVEN_SHARE = 25.0, 0.15
TOLERANCE_K, AIR_TOLERANCE_K = 10.0, 2.0
RIVAL = 0.9  # of the best score: another unit that explains as much
LEAST_STOPS, LEAST_SCORE, LEAST_GAINED, LEFT = 4, 2.2, 0.4, 0.3
PARTS = 40  # of a series
BY = {"ambient": "the air of a test house", "surface": "the disc temperature before braking"}
OTHERS = "the disc temperature and the air"


def others_of(card: Card) -> list[str]:
    """Temperature channels of the card beside the disc's; one that is called so but read in no unit of temperature is
    none.
    """
    return [
        name
        for name, channel in card.recordings.channels.items()
        if "_temperature" in name and not name.startswith("disc_") and _of_temperature(channel.unit)
    ]


def _of_temperature(unit: str) -> bool:
    try:
        scale_offset(SPELLED.get(unit, unit), "temperature")
    except ValueError:
        return False
    return True


def readings(card: Card, channels: ChannelsFile) -> pl.DataFrame:
    """The first value (degC) of every temperature channel in each recording, or in PARTS equal parts of a series."""
    names = [n for n in ("disc_temperature", *others_of(card)) if n in channels.names]
    part: pl.Expr = pl.col("recording")
    if card.recordings.holds != "stop":
        part = (pl.int_range(pl.len()) * PARTS // pl.len()).alias("recording")
    first = [(pl.col(n).fill_nan(None).drop_nulls().first() - ZERO_C).alias(n) for n in names]
    return (
        channels.scan(["recording", *names])
        .select(part, *names)
        .group_by("recording")
        .agg(first)
        .sort("recording")
        .collect()
    )


def other_temperatures(card: Card, table: pl.DataFrame, disc_slipped: bool) -> tuple[list[Finding], list[ChannelUnit]]:
    """Findings, and for each channel its unit, what vouches for it and the units that it might as well be in, with
    why.
    """
    found: list[Finding] = []
    rows = []
    disc = _floats(table, "disc_temperature")
    for name in others_of(card):
        unit = card.recordings.channels[name].unit
        read = _floats(table, name)
        low, high, by = _band(name, disc, _floats(table, "ambient_temperature"), disc_slipped)
        known = np.isfinite(read) & np.isfinite(low) & np.isfinite(high)
        read, low, high = read[known], low[known], high[known]
        slip = _slipped(read, low, high, unit)
        if slip is not None:
            found.append(_told(name, slip[0], slip[1], read, by))
        left = [s.actual for s in slips("temperature", unit) if _stays(read, low, high, s)]
        why = None
        if left and slip is None:
            lacks = f"too near to tell by {by}" if read.size >= LEAST_STOPS else "too few values to compare"
            why = f"{', '.join(left)}: {lacks if not disc_slipped else 'the disc temperature is in doubt itself'}"
        vouched = [by] if read.size >= LEAST_STOPS else []
        rows.append(
            ChannelUnit(channel=name, unit=unit, vouched_by=vouched, not_verifiable=[] if slip else left, why=why)
        )
    return found, rows


def _floats(table: pl.DataFrame, name: str) -> np.ndarray:
    if name not in table.columns:
        return np.full(table.height, np.nan)
    return table[name].cast(pl.Float64).fill_null(float("nan")).to_numpy().astype(float)


def _band(name: str, disc: np.ndarray, air: np.ndarray, disc_slipped: bool) -> tuple[np.ndarray, np.ndarray, str]:
    """Lowest and highest that a channel can read (degC), (n,) each, and what says so; NaN where the disc is in
    doubt.
    """
    if name.startswith("ambient"):
        return np.full(disc.size, AIR_C[0]), np.full(disc.size, AIR_C[1]), BY["ambient"]
    reference = np.full(disc.size, np.nan) if disc_slipped else disc
    if name.startswith("surface"):
        slack = EVEN_K + EVEN_SHARE * np.abs(reference)
        return reference - slack, reference + slack, BY["surface"]
    sound = np.where((air >= AIR_C[0]) & (air <= AIR_C[1]), air, AIR_C[0] + BELOW_AIR_K)
    return sound - BELOW_AIR_K, reference + ABOVE_DISC_K, OTHERS


def _outside(values: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Cost of lying outside the band; that of the air is sharp."""
    air = (low == AIR_C[0]) & (high == AIR_C[1])
    tolerance = np.where(air, AIR_TOLERANCE_K, TOLERANCE_K)
    return bounded(np.maximum(np.maximum(low - values, values - high), 0.0), tolerance)


def _true(read: np.ndarray, slip: Slip) -> np.ndarray:
    """What was there (degC) if the channel is in the slip's unit."""
    return (read + ZERO_C - slip.offset) / slip.factor - ZERO_C


def _slipped(
    read: np.ndarray, low: np.ndarray, high: np.ndarray, unit: str
) -> tuple[list[Slip], tuple[int, int]] | None:
    """The units that take what lies outside the band back into it, the best first, and its stretch; None without a
    clear one.
    """
    found: list[tuple[float, Slip, tuple[int, int]]] = []
    for slip in slips("temperature", unit) if read.size >= LEAST_STOPS else ():
        corrected = _outside(_true(read, slip), low, high)
        first, last, score = best_stretch(_outside(read, low, high) - corrected)
        n = last - first + 1
        clear = score >= max(LEAST_SCORE, LEAST_GAINED * n) and corrected[first : last + 1].mean() <= LEFT
        if n >= LEAST_STOPS and clear:
            found.append((score, slip, (first, last)))
    if not found:
        return None
    found.sort(key=lambda one: -one[0])
    return [slip for score, slip, _ in found if score >= RIVAL * found[0][0]], found[0][2]


def _stays(read: np.ndarray, low: np.ndarray, high: np.ndarray, slip: Slip) -> bool:
    """Whether values in the slip's unit, rightly read, would have lain inside the band too: the test can't tell."""
    worse = _outside(_true(read, slip), low, high) - _outside(read, low, high)
    return left_open(worse, LEAST_GAINED, LEAST_STOPS)


def _told(name: str, found: list[Slip], stretch: tuple[int, int], read: np.ndarray, by: str) -> Finding:
    n = stretch[1] - stretch[0] + 1
    where = "in the whole test" if n >= 0.9 * read.size else f"in {n} of {read.size} readings in a row"
    causes = [{"cause": f"{name.replace('_', ' ')} in {slip.text}", "factor": slip.factor} for slip in found]
    middle = float(np.median(read[stretch[0] : stretch[1] + 1]))
    evidence = {"read_c": middle, "actual": found[0].actual, "labelled": found[0].labelled, "candidates": causes}
    text = (
        f"{causes[0]['cause']} {where}: it reads {middle:.0f} °C (median), against {by}. No friction coefficient "
        "rests on it"
    )
    if len(causes) > 1:
        text += f". Or: {'; '.join(str(c['cause']) for c in causes[1:])}"
    return finding("unit_slip", text, channel=name, evidence=evidence)
