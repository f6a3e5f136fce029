"""What a look at the brakings says of the card: units by which they would be another machine's, channels that are swapped, a
schedule that was not run.

A brake gives mu = torque / (2 efficiency piston_area radius pressure); the work at the brake is the shaft's kinetic energy. What is
off by a factor of four and more is no matter of material or calibration (`stops.faults.gross_slips`, by which a run sets apart).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from pipeline.archive.card import Card
from pipeline.conditioning.looks import Look
from pipeline.errors import Complaint
from pipeline.inputs.quantities import scale_offset
from pipeline.inputs.unit_slips import slips
from pipeline.method.reduction import Reduction
from pipeline.stops.facts import setup_of
from pipeline.stops.faults.gross_slips import GROSS, HELD_SPEED, MU, PERIOD, SLACK
from pipeline.wording import counted as number
from pipeline.workspace.counted import Counted

NEAR = 0.3  # |ln| of a ratio within which a slip explains it
UNLIKE = 0.5  # of the looks: as many must say it
SI = {"pressure": (1e5, "bar"), "speed": (np.pi / 30, "rpm"), "time": (1.0, "s")}
DIMENSIONS = {"pressure": "pressure", "speed": "angular_speed", "time": "duration"}


def complaints(card: Card, counted: Counted, recordings: int) -> Iterator[Complaint]:
    """What is odd in the brakings found. recordings: of the whole test."""
    yield from _levels(card, counted.looks)
    yield from _number(card, counted, recordings)


def _levels(card: Card, looks: Sequence[Look]) -> Iterator[Complaint]:
    if not looks:
        return
    bands = _bands(card)
    level = {
        "pressure": float(np.median([one.pressure for one in looks])),
        "speed": float(np.median([one.first for one in looks])),
        "time": float(np.median([one.step for one in looks])),
    }
    if _swapped(card, looks, bands.get("pressure")):
        yield _of_channel(
            "torque",
            "torque and pressure look swapped: each has the other's values",
            "torque in the column of the torque, pressure in that of the pressure",
            "exchange the columns of torque and pressure",
        )
        return
    said = False
    for name, (low, high) in bands.items():
        room = 1.0 if name == "time" else GROSS
        if level[name] > 0 and not low / room <= level[name] <= high * room:
            said = True
            yield _of_level(card, name, level[name], low, high)
    mu, balance = _mu(card, looks), _balance(card, looks)
    if not said and np.isfinite(mu) and not MU[0] <= mu <= MU[1]:
        yield _of_channel(
            "torque",
            f"by torque, pressure and pistons mu would be {mu:.2g}",
            f"{MU[0]:g} to {MU[1]:g}",
            "check the units of torque and pressure, the pistons and the radius",
        )
    elif not said and np.isfinite(balance) and not 1 / GROSS <= balance <= GROSS:
        yield _of_balance(card, balance)


def _of_balance(card: Card, balance: float) -> Complaint:
    """The work grows as time and torque are read too large."""
    units = card.recordings.units_of(("time", "torque"))
    fits = {
        name: [one for one in slips(dimension, units[name]) if abs(np.log(balance / one.factor)) < NEAR]
        for name, dimension in (("time", "duration"), ("torque", "torque"))
        if name in units
    }
    likely = next((name for name, found in fits.items() if found), None)
    causes = [f"{name} in {one.text}" for name, found in fits.items() for one in found[:1]]
    mend = (
        f"correct the unit: {' or '.join(causes)}" if causes else "check inertia and the units of torque, speed, time"
    )
    found = f"the work at the brake is {balance:.3g} times the energy of the shaft"
    return Complaint(
        "test.yaml", found, "about 1 times", mend, key=f"recordings.channels.{likely}" if likely else "inertia"
    )


def _bands(card: Card) -> dict[str, tuple[float, float]]:
    """Lowest and highest that the schedule wants, and any rig's sample period."""
    found = {"time": PERIOD}
    wanted: dict[str, list[float | None]] = {
        "pressure": [b.pressure if b.control == "pressure" else None for b in card.blocks],
        "speed": [b.speed_start for b in card.blocks],
    }
    for name, values in wanted.items():
        known = [value for value in values if value]
        if known and len(known) == len(values):
            found[name] = (min(known) / SLACK, max(known) * SLACK)
    return found


def _of_level(card: Card, name: str, level: float, low: float, high: float) -> Complaint:
    size, unit = SI[name]
    what = "the sample period" if name == "time" else f"{name} in braking"
    labelled = card.recordings.channels[name].unit if name in card.recordings.channels else ""
    fits = (
        [one for one in slips(DIMENSIONS[name], labelled) if low <= level / one.factor <= high]
        if labelled and labelled != "timestamp"
        else []
    )
    near = sorted(fits, key=lambda one: abs(np.log(level / one.factor / np.sqrt(low * high))))
    mend = f"correct the unit: {' or '.join(one.text for one in near[:3])}" if near else "check the unit and the column"
    said = f"{low / size:.4g} to {high / size:.4g} {unit}"
    wants = said if name == "time" else f"{said} by the schedule, with some room"
    return _of_channel(name, f"{what} is {level / size:.4g} {unit}", wants, mend)


def _of_channel(name: str, found: str, accepted: str, mend: str) -> Complaint:
    return Complaint("test.yaml", found, accepted, mend, key=f"recordings.channels.{name}")


def _mu(card: Card, looks: Sequence[Look]) -> float:
    setup = setup_of(card, Reduction())
    lever = 2 * setup.efficiency * setup.piston_area * setup.radius
    values = [one.torque / (lever * one.pressure) for one in looks if one.pressure > 0]
    return float(np.median(values)) if values else float("nan")


def _balance(card: Card, looks: Sequence[Look]) -> float:
    braked = [one for one in looks if one.last < HELD_SPEED * one.first]
    values = [one.work / (0.5 * card.inertia * (one.first**2 - one.last**2)) for one in braked]
    return float(np.median(values)) if values else float("nan")


def _swapped(card: Card, looks: Sequence[Look], band: tuple[float, float] | None) -> bool:
    """Whether the two channels make sense the other way round, and do not as they stand."""
    if band is None:
        return False
    channels = card.recordings.channels
    if channels["torque"].arm is not None:
        return False
    torque_si, pressure_si = (scale_offset(channels[name].unit, name)[0] for name in ("torque", "pressure"))
    lever = 2 * card.brake.efficiency * card.brake.piston_area * setup_of(card, Reduction()).radius
    pressure = float(np.median([one.torque / torque_si * pressure_si for one in looks]))
    torque = float(np.median([one.pressure / pressure_si * torque_si for one in looks]))
    as_they_stand = float(np.median([one.pressure for one in looks]))
    sense = band[0] <= pressure <= band[1] and MU[0] <= torque / (lever * pressure) <= MU[1]
    return sense and not band[0] / GROSS <= as_they_stand <= band[1] * GROSS


def _number(card: Card, counted: Counted, recordings: int) -> Iterator[Complaint]:
    """How many brakings there are and how many the schedule has."""
    planned = sum(block.stops for block in card.blocks)
    counts = list(counted.by_recording.values())
    none = [name for name, count in counted.by_recording.items() if not count and name not in counted.backwards]
    several = [name for name, count in counted.by_recording.items() if count > 1]
    if card.recordings.holds == "stop":
        if several and len(several) > UNLIKE * len(counts):
            most = max(counts)
            yield Complaint(
                "test.yaml",
                f"up to {number(most, 'braking')} in a recording, of which `holds: stop` takes one",
                "one braking a recording",
                "write holds: series",
                key="recordings.holds",
            )
        elif recordings != planned:
            yield _unlike(f"{number(recordings, 'recording')} of a stop each", planned)
        if none:
            yield _without(none, len(counts))
    elif counts and not counted.cut and len(counts) == recordings and sum(counts) != planned:
        yield _unlike(f"{number(sum(counts), 'braking')} found in {number(recordings, 'recording')}", planned)
    if counted.backwards:
        yield _backwards(counted.backwards, len(counts))


def _unlike(found: str, planned: int) -> Complaint:
    return Complaint(
        "test.yaml",
        f"{found}, but the blocks have {number(planned, 'stop')}",
        number(planned, "braking"),
        "correct the blocks, or look for recordings that are missing or of another test",
        key="blocks",
    )


def _backwards(names: list[str], of: int) -> Complaint:
    return _of_channel(
        "time",
        f"time runs backwards in {_some(names)} of {number(of, 'recording')} looked at",
        "time that rises from row to row",
        "check the time's column, unit and format, or sort the rows by time",
    )


def _some(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{names[0]} and {len(names) - 1} more"


def _without(names: list[str], of: int) -> Complaint:
    return Complaint(
        "test.yaml",
        f"no braking in {_some(names)} of {of} recordings looked at",
        "pressure that rises above 1 bar while the shaft turns",
        "check the units and columns of pressure, speed and time",
        key="recordings.channels",
    )
