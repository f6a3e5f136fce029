"""Every channel's unit held against what the test itself says: slips as findings, and what could not be verified.

One slip of the whole test is one finding with its right name, and a short one for each of its stops, which stay out
of the models. What a slip brings with it (an energy ratio that is off, a mu that is none) is not told a second time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from pipeline.archive.card import Card
from pipeline.findings import Finding, finding, of_each
from pipeline.inputs.unit_slips import Slip
from pipeline.results.summary import ChannelUnit
from pipeline.stops.faults.start_temperatures import unit_not_excluded
from pipeline.stops.faults.unit_witness import EFFECTS, LEAST_STOPS, Found, not_excluded, slips_found
from pipeline.stops.reduction import Setup

CODE = "unit_slip"
MOST_APART = 0.9  # of the recordings: more is the whole test
BAR = 1e5
CARD_UNITS = {"inertia": "kg m^2"}
CALLED = {
    "pressure": "the schedule's pressure",
    "speed": "the schedule's speed",
    "torque": "the schedule's torque",
    "balance": "the energy balance",
    "drive": "the work of the drive",
    "duration": "the schedule's duration",
    "mu": "a plausible mu",
    "pressure_2": "the other pressure sensor",
    "temperature": "the schedule's start temperatures",
    "heat": "the rise that the work can give, and possible starts",
}
# finding codes that a slip of a channel brings with it
OF_ANY = (
    "energy_ratio_trend",
    "energy_ratio_step",
    "cross_talk",
    "pressures_disagree",
)  # name a channel that may be another
_RATIO = {"energy_balance", "energy_ratio_odd", "energy_ratio_trend", "energy_ratio_step", "cross_talk"}
_LEVEL = {"level_off_schedule", "level_step", "level_with_temperature", "cross_talk"}
FOLLOWS = {
    "pressure": {*_LEVEL, "pressure_off_schedule", "mu_implausible", "pressures_disagree", "stop_unlike"},
    "speed": {*_LEVEL, *_RATIO},
    "torque": {*_LEVEL, *_RATIO, "mu_implausible", "stop_unlike"},
    "time": _RATIO,
    "drive_torque": _RATIO,
    "inertia": {"energy_balance"},
    "disc_temperature": {"thermocouple_open", "thermocouple_debonded", "thermocouple_stuck", "thermocouple_swapped"},
}


@dataclass(frozen=True)
class Witnesses:
    """Log ratios (n,) by witness, the card's unit by channel, the plausible band of mu."""

    values: dict[str, np.ndarray]
    units: dict[str, str]
    band: tuple[float, float]


def witnesses_of(
    stops: pl.DataFrame, levels: pl.DataFrame, card: Card, setup: Setup, band: tuple[float, float]
) -> Witnesses:
    """The witnesses of a test. stops: the stops table in order; levels: what the schedule wants, by row."""
    rows = stops.join(levels, left_on="schedule_row", right_on="row", how="left", maintain_order="left")
    work = pl.col("energy_kj") + pl.col("drag_energy_kj").fill_null(0.0)
    braked = pl.col("kind") != "drag"
    lever = 2 * setup.efficiency * setup.piston_area * setup.radius * BAR  # N m per bar and mu
    ratios = {
        "pressure": pl.col("pressure_plateau_bar") / pl.col("wanted_bar"),
        "speed": pl.col("speed_start_rpm") / pl.col("wanted_rpm"),
        "torque": pl.col("torque_nm") / pl.col("wanted_nm"),
        "duration": pl.when(~braked).then(pl.col("duration_s") / pl.col("wanted_s")),
        "balance": pl.when(braked).then(work / pl.col("kinetic_energy_kj")),
        "pressure_2": pl.col("pressure_2_bar") / pl.col("pressure_bar"),
        "mu": 1e3 * pl.col("energy_kj") / pl.col("angle_rad") / (lever * pl.col("pressure_plateau_bar")),
    }
    units = card.recordings.units_of(EFFECTS)
    units |= CARD_UNITS
    if "drive_torque" in units and setup.inertia_mechanical is not None:
        own = setup.inertia_mechanical / setup.inertia
        kinetic = pl.col("kinetic_energy_kj")
        ratios["drive"] = (work / pl.col("energy_ratio") - own * kinetic) / ((1 - own) * kinetic)
    else:
        units.pop("drive_torque", None)
    values = {name: _logs(rows.select(ratio.cast(pl.Float64).alias(name))[name]) for name, ratio in ratios.items()}
    return Witnesses(values, units, band)


def _logs(values: pl.Series) -> np.ndarray:
    """Natural logs, NaN where there is no positive number."""
    number = values.fill_null(float("nan")).to_numpy().astype(float)
    return np.log(np.where(number > 0, number, np.nan))


def unit_findings(stops: pl.DataFrame, w: Witnesses) -> list[Finding]:
    """One finding for each slip, then one for each stop that it reaches."""
    if not stops.height:
        return []
    found: list[Finding] = []
    for one in slips_found(w.values, w.units, {"mu": w.band}):
        found += _told(one, stops, w)
    return found


def _told(one: Found, stops: pl.DataFrame, w: Witnesses) -> list[Finding]:
    by = [name for name in EFFECTS[one.channel][1] if name in w.values and np.isfinite(w.values[name]).any()]
    by = [name for name in by if name != "mu" or _outside(w.values["mu"][one.first : one.last + 1], w.band)] or by
    tells = np.any([np.isfinite(w.values[name]) for name in by], axis=0)
    before, after = np.flatnonzero(tells[: one.first]), np.flatnonzero(tells[one.last + 1 :])
    first = 0 if one.whole or not before.size else one.first
    last = stops.height - 1 if one.whole or not after.size else one.last
    struck = stops[first : last + 1]
    a, b = int(struck["stop"][0]), int(struck["stop"][-1])
    where = "in the whole test" if struck.height == stops.height else f"in stops {a} to {b}"
    causes = _causes(one)
    evidence = {
        "ratio": one.slip.factor,
        "from_stop": a,
        "to_stop": b,
        "witnesses": by,
        "candidates": causes,
        "actual": one.slip.actual,
        "labelled": one.slip.labelled,
    }
    verb = "entered" if one.channel == "inertia" else "read"
    text = (
        f"{causes[0]['cause']} {where}: {verb} {one.slip.factor:.4g} times the true values, by "
        f"{' and '.join(CALLED[n] for n in by)}"
    )
    text += _or(causes)
    if one.channel == "pressure_2":  # no figure of a stop rests on it
        return [finding(CODE, text, channel=one.channel, evidence=evidence)]
    short = {"ratio": one.slip.factor, "from_stop": a, "to_stop": b}
    every = of_each(
        struck.select("stop", "file").iter_rows(), CODE, str(causes[0]["cause"]), channel=one.channel, evidence=short
    )
    return [finding(CODE, text, channel=one.channel, evidence=evidence), *every]


def apart_findings(
    found: Sequence[Found], recordings: Sequence[int], files: Mapping[int, str], of: int
) -> tuple[list[Finding], dict[int, str]]:
    """Recordings in so grossly wrong a unit that they are set apart: a finding for each stretch, and recording -> the
    reason.

    recordings: those that the slips' stretches count in; of: recordings of the test. A slip of all of them sets none
    apart.
    """
    told: list[Finding] = []
    why: dict[int, str] = {}
    for one in found:
        struck = recordings[one.first : one.last + 1]
        if len(struck) >= MOST_APART * of:
            continue
        causes = _causes(one)
        cause = str(causes[0]["cause"])
        text = (
            f"{cause} in {len(struck)} recordings, {files[struck[0]]} to {files[struck[-1]]}: not reduced, so that "
            "the others stay sound"
        )
        evidence = {
            "ratio": one.slip.factor,
            "recordings": len(struck),
            "candidates": causes,
            "actual": one.slip.actual,
            "labelled": one.slip.labelled,
        }
        text += _or(causes)
        told.append(finding(CODE, text, channel=one.channel, evidence=evidence))
        why |= dict.fromkeys(struck, cause)
    return told, why


def _outside(logs: np.ndarray, band: tuple[float, float]) -> bool:
    """Whether the middle of the known values lies outside the band."""
    known = logs[np.isfinite(logs)]
    return bool(known.size) and not band[0] <= float(np.exp(np.median(known))) <= band[1]


def _causes(one: Found) -> list[dict[str, Any]]:
    """The slip, then those that explain as much."""
    named = ((one.channel, one.slip), *one.rivals)
    return [{"cause": _cause(channel, slip), "factor": slip.factor} for channel, slip in named]


def _or(causes: Sequence[Mapping[str, Any]]) -> str:
    return f". Or: {'; '.join(str(c['cause']) for c in causes[1:])}" if len(causes) > 1 else ""


def _cause(channel: str, slip: Slip) -> str:
    return (
        f"{channel.replace('_', ' ')} in {slip.actual} {'entered as' if channel == 'inertia' else 'labelled'} "
        f"{slip.labelled}"
    )


def without_consequences(findings: Sequence[Finding], stops: int) -> list[Finding]:
    """The findings less those that a unit slip told of the same stops brings with it; a stop's rejection stays."""
    struck: dict[str, set[int]] = {}
    for f in findings:
        if f.code == CODE and f.channel and f.stop is not None:
            struck.setdefault(f.channel, set()).add(f.stop)

    second = any(f.code == CODE and f.channel == "pressure_2" for f in findings)

    def follows(f: Finding, channel: str, reached: set[int]) -> bool:
        if f.code not in FOLLOWS.get(channel, ()) or f.severity == "rejected" or f.evidence.get("jumps"):
            return False
        of_channel = f.channel in (None, channel) or f.code in OF_ANY
        most = f.code != "energy_balance" or 2 * len(reached) >= stops
        return of_channel and (f.stop in reached if f.stop is not None else most)

    kept = [f for f in findings if not any(follows(f, *one) for one in struck.items())]
    return [f for f in kept if not (second and f.code == "pressures_disagree")]


def starts_known(stops: pl.DataFrame, levels: pl.DataFrame) -> bool:
    """Whether the schedule says of enough stops at what disc temperature they start."""
    return _starts(stops, levels)[0].size >= LEAST_STOPS


def _starts(stops: pl.DataFrame, levels: pl.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Start temperatures read and wanted (degC), where both are known."""
    joined = stops.join(levels, left_on="schedule_row", right_on="row", how="left").sort("stop")
    known = joined.filter(pl.col("temperature_initial_c").is_finite() & pl.col("wanted_c").is_finite())
    read, wanted = (known[name].to_numpy().astype(float) for name in ("temperature_initial_c", "wanted_c"))
    return read, wanted


def verified(
    stops: pl.DataFrame, levels: pl.DataFrame, card: Card, w: Witnesses, by_heat: list[str] | None = None
) -> list[ChannelUnit]:
    """For each needed channel: its unit, what vouches for it, and the units that nothing in the test tells it from,
    with why.

    by_heat: the units that the heat leaves open for the disc temperature, where the schedule wants no starts.
    """
    rows = []
    for channel, unit in w.units.items():
        if channel == "inertia" or not stops.height:
            continue
        by = [n for n in EFFECTS[channel][1] if n in w.values and np.isfinite(w.values[n]).sum() >= LEAST_STOPS]
        open_ = not_excluded(w.values, channel, unit, {"mu": w.band})
        rows.append(_row(channel, unit, by, [s.actual for s in open_], [s.factor for s in open_]))
    unit = card.recordings.channels["disc_temperature"].unit
    if by_heat is None:
        rows.append(
            _row("disc_temperature", unit, ["temperature"], unit_not_excluded(*_starts(stops, levels), unit), [])
        )
    else:
        rows.append(_row("disc_temperature", unit, ["heat"], by_heat, []))
    return rows


def _row(channel: str, unit: str, by: Sequence[str], left: Sequence[str], factors: Sequence[float]) -> ChannelUnit:
    near = [u for u, f in zip(left, factors, strict=False) if abs(np.log(f)) <= 0.05]
    far = [u for u in left if u not in near]
    why = [f"{', '.join(near)}: within 5 % of it"] if near else []
    if far:
        lacks = "what the test has does not tell them apart" if by else "nothing in the test says what it should read"
        why.append(f"{', '.join(far)}: {lacks}")
    vouched = [CALLED[name] for name in by]
    return ChannelUnit(
        channel=channel, unit=unit, vouched_by=vouched, not_verifiable=list(left), why="; ".join(why) or None
    )
