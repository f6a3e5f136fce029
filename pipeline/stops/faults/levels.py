"""Levels and energy ratio against what the stated accuracies allow: small gains, drifts and cross-talk, as findings
of the test.

A channel may stand off its schedule by its sensor's stated limit and by what a rig misses a level (1 %, common
practice); it may move within a test by both ends of that limit. The energy ratio may stand off 1 by the limits of
torque, speed (twice, as it comes squared into the energy) and inertia (1 % where `sensors` does not state it, common
practice), and moves within a test by the sensors' limits only: an inertia does not change. Where pressure or torque
states no accuracy, only the wide limits of `level_step` and of the method's `balance_limit` hold.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl

from pipeline.archive.card import Card, sensor_limit
from pipeline.constants import MAD_TO_SD
from pipeline.findings import Finding, finding
from pipeline.stops.faults.explained import Explanation, explained
from pipeline.stops.uncertainty import gain_and_zero

RIG = 0.01  # of a level: what a rig misses it by, common practice
INERTIA = 0.01  # of the inertia where no accuracy is stated, common practice
SPEED = 0.002  # of a speed where no accuracy is stated: encoders count
RATIO_MOVES = 0.005  # of the energy ratio within a test, beside the sensors' limits
LEAST_STOPS = 8
WIDE = 0.18  # |ln| of a level's ratio above which the alignment's scale names it (a unit, or another schedule)
STEP = 0.05  # |ln| of a step above which `level_step` names it


def stated_limit(card: Card, name: str, dimension: str, level: float) -> float | None:
    """Half-width of a sensor's stated limits of gain, relative; None where none is stated."""
    limit = sensor_limit(card, name, dimension)
    return None if limit is None else gain_and_zero(limit, level)[0] * float(np.sqrt(3))


def torque_limit(card: Card, stops: pl.DataFrame) -> float | None:
    """`stated_limit` of torque at the test's strongest stop."""
    return stated_limit(card, "torque", "torque", _most(stops, "torque_nm"))


def balance_allowance(card: Card, method_limit: float, stops: pl.DataFrame) -> float:
    """|energy ratio - 1| that the stated accuracies allow, at most the method's limit; that limit where torque states
    none.
    """
    torque = torque_limit(card, stops)
    if torque is None:
        return method_limit
    speed = stated_limit(card, "speed", "angular_speed", _most(stops, "speed_start_rpm") * np.pi / 30)
    drive = 0.0
    if card.simulates_inertia:
        stated = stated_limit(card, "drive_torque", "torque", _most(stops, "torque_nm"))
        if stated is None:
            return method_limit
        drive = stated
    inertia = stated_limit(card, "inertia", "inertia", card.inertia)
    allowed = torque + 2 * (SPEED if speed is None else speed) + drive + (INERTIA if inertia is None else inertia)
    return float(min(method_limit, allowed + 3 * _median_u(stops["energy_ratio"])))


def level_findings(stops: pl.DataFrame, schedule: pl.DataFrame, card: Card) -> list[Finding]:
    """Pressure and speed off the schedule by less than a unit's ratio, and what the deviation follows.

    stops: the stops table; schedule: row, wanted_bar, wanted_rpm (null where none is held).
    """
    joined = stops.join(schedule, left_on="schedule_row", right_on="row", how="left").sort("stop")
    pressure = stated_limit(card, "pressure", "pressure", 1e5 * _most(stops, "pressure_plateau_bar"))
    speed = stated_limit(card, "speed", "angular_speed", _most(stops, "speed_start_rpm") * np.pi / 30)
    found: list[Finding] = []
    for channel, measured, wanted, limit in (
        ("pressure", "pressure_plateau_bar", "wanted_bar", pressure),
        ("speed", "speed_start_rpm", "wanted_rpm", SPEED if speed is None else speed),
    ):
        rows = joined.filter((pl.col(measured) > 0) & (pl.col(wanted) > 0) & pl.col("mu").is_not_null())
        rows = rows.filter((pl.col("window_start_s") / pl.col("duration_s")).fill_null(0.0) < 0.4)  # it has a plateau
        if rows.height < LEAST_STOPS or limit is None:
            continue
        off = (rows[measured] / rows[wanted]).log().to_numpy()
        found += _of_channel(channel, rows, off, rows[wanted].to_numpy(), limit)
    return found


def _of_channel(channel: str, rows: pl.DataFrame, off: np.ndarray, wanted: np.ndarray, limit: float) -> list[Finding]:
    middle = float(np.median(off))
    if abs(middle) > WIDE:
        return []
    others = {"torque": _others(rows, "torque_nm", "pressure_plateau_bar")} if channel == "pressure" else {}
    cause = explained(
        off, wanted, temperature=_column(rows, "temperature_initial_c"), others=others, limit=2 * limit + RIG
    )
    if cause is not None:
        return (
            [] if cause.what == "time" and abs(cause.size) > np.log1p(STEP) else [_moves(channel, rows, cause, limit)]
        )
    sigma = MAD_TO_SD * float(np.median(np.abs(off - middle)))
    allowed = limit + RIG + 3 * 1.2533 * sigma / np.sqrt(off.size)
    if abs(middle) <= allowed:
        return []
    ratio = float(np.exp(middle))
    text = (
        f"{channel} is {ratio:.3f} times the schedule's throughout, where stated accuracy and a rig's control allow "
        f"{100 * allowed:.1f} %. Candidates: gain of the {channel} sensor; a rig that runs another level"
    )
    return [finding("level_off_schedule", text, channel=channel, evidence={"ratio": ratio, "allowed": allowed})]


def _moves(channel: str, rows: pl.DataFrame, cause: Explanation, limit: float) -> Finding:
    ratio, evidence = float(np.exp(cause.size)), _evidence(cause, rows, limit)
    if cause.what == "torque":
        text = (
            f"{channel} leaves the schedule by {100 * (ratio - 1):+.1f} % as torque per pressure grows: the "
            "pressure channel "
            "sees the torque (cross-talk), or the rig's control gives way to it"
        )
        return finding("cross_talk", text, channel=channel, evidence=evidence)
    if cause.what == "temperature":
        text = (
            f"{channel} stands {100 * (ratio - 1):+.1f} % off the schedule's in the hot stops, from "
            f"{evidence['from_c']:.0f} °C on: a sensor whose gain moves with temperature, or the rig's control"
        )
        return finding("level_with_temperature", text, channel=channel, evidence=evidence)
    where = f"at stop {evidence['from_stop']}" if cause.what == "time" else "over the test"
    text = (
        f"{channel} moves by {100 * (ratio - 1):+.1f} % against the schedule {where}, where its stated accuracy "
        f"allows {200 * limit:.1f} %: a gain of the sensor that changed, or another level on the rig"
    )
    return finding("level_step", text, channel=channel, evidence=evidence)


def ratio_findings(stops: pl.DataFrame, card: Card, allowed_zero: float) -> list[Finding]:
    """An energy ratio that moves within the test further than the sensors' stated limits let it.

    allowed_zero: what an untold zero may be worth of the ratio.
    """
    rows = stops.filter((pl.col("energy_ratio") > 0) & (pl.col("torque_nm") > 0) & pl.col("mu").is_not_null())
    torque = torque_limit(card, stops)
    if rows.height < LEAST_STOPS or torque is None:
        return []
    others = {"pressure": _others(rows, "pressure_plateau_bar", "torque_nm"), "zero": 1 / rows["torque_nm"].to_numpy()}
    cause = explained(
        rows["energy_ratio"].log().to_numpy(),
        np.zeros(rows.height),
        temperature=_column(rows, "temperature_initial_c"),
        others=others,
        limit=2 * torque + RATIO_MOVES + 2 * allowed_zero,
    )
    if cause is None or cause.what == "drift":
        return []  # a drift is told as the ratio's trend
    share, evidence = 100 * float(np.expm1(cause.size)), _evidence(cause, rows, torque)
    if cause.what == "pressure":
        text = (
            f"energy ratio moves by {share:+.1f} % as pressure per torque grows: the torque channel sees the "
            "pressure (cross-talk)"
        )
        return [finding("cross_talk", text, channel="torque", evidence=evidence)]
    words = {
        "time": f"at stop {evidence.get('from_stop')}: the gain of torque, or the speed's or time's scale, changed",
        "temperature": f"in the hot stops, from {evidence.get('from_c', 0):.0f} °C on: a torque gain that moves with "
        "temperature",
        "zero": "from strong to weak stops: the torque's zero in braking is not the one at rest, or the drag "
        "is another",
    }
    text = f"energy ratio moves by {share:+.1f} % {words[cause.what]}"
    return [finding("energy_ratio_step", text, channel="torque", evidence=evidence)]


def _evidence(cause: Explanation, rows: pl.DataFrame, limit: float) -> dict[str, Any]:
    evidence = {"follows": cause.what, "ratio": float(np.exp(cause.size)), "u": cause.u, "stated_limit": limit}
    if cause.at is not None:
        first = rows.row(cause.at, named=True)
        evidence |= {"from_stop": first["stop"]} if cause.what == "time" else {"from_c": first["temperature_initial_c"]}
    return evidence


def _others(rows: pl.DataFrame, name: str, over: str) -> np.ndarray:
    return _column(rows, name) / _column(rows, over)


def _column(rows: pl.DataFrame, name: str) -> np.ndarray:
    return rows[name].cast(pl.Float64).fill_null(np.nan).to_numpy().astype(float)


def _most(stops: pl.DataFrame, name: str) -> float:
    most = stops[name].max()
    return float(most) if isinstance(most, int | float) else 0.0


def _median_u(values: pl.Series) -> float:
    known = values.drop_nulls().to_numpy()
    if known.size < 2:
        return 0.0
    return 1.2533 * MAD_TO_SD * float(np.median(np.abs(known - np.median(known)))) / float(np.sqrt(known.size))
