"""Findings: what was found wrong or odd, by test, file and stop.

A finding never fixes silently: it carries its evidence as numbers, says the consequence (its severity) and what to do.
The table of codes below is the only place where a code is defined; docs/findings.md is generated from it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

Severity = Literal["info", "suspect", "rejected", "unusable"]
RANK = {"info": 0, "suspect": 1, "rejected": 2, "unusable": 3}


@dataclass(frozen=True)
class Code:
    """A kind of finding: usual severity, what it means, what the engineer does about it."""

    severity: Severity
    meaning: str
    action: str


CODES: dict[str, Code] = {
    # the test as a whole
    "card_invalid": Code("unusable", "test.yaml cannot be used", "correct it as the message says"),
    "card_unusual": Code(
        "suspect",
        "test.yaml states what few brakes have, or what contradicts itself",
        "check the key that the message names against drawing and certificate",
    ),
    "no_recordings": Code("unusable", "no recording matches recordings.files", "check the pattern and the folder"),
    "recordings_too_large": Code(
        "unusable",
        "the recordings hold more, or take longer to read, than is read of a test",
        "divide the test, thin the recordings out, or export the file named again",
    ),
    "test_unusable": Code(
        "unusable", "a stage says that the test cannot be used", "correct what the message names and run again"
    ),
    "compound_renamed": Code(
        "info", "the compound's folder name got a suffix", "give compounds names that differ in letters or digits"
    ),
    # recordings
    "recording_unreadable": Code("rejected", "a recording cannot be read", "export the recording again or remove it"),
    "recording_duplicate": Code("info", "a recording repeats an earlier one sample for sample", "remove the copy"),
    "recording_repeated": Code(
        "suspect", "a recording has the samples of an earlier one under other times", "export the recording again"
    ),
    "recording_damaged": Code(
        "info", "some values or rows of a recording cannot be used and are left out", "export the recording again"
    ),
    "recording_cut": Code("suspect", "a recording can be read only in part", "export the recording again"),
    "clock_changed": Code(
        "suspect",
        "the recorder's clock was set, or may have been (summer time, by hand): a time between stops is not known",
        "see that files and names are in the order run; let the recorder write times with their zone",
    ),
    "unit_disagrees": Code(
        "suspect",
        "the recordings name another unit than test.yaml; every stop of them is suspect",
        "correct the unit in test.yaml, or the rig's export",
    ),
    "torque_turned": Code(
        "info", "torque counts the other way throughout and is turned round", "none, or correct the sign on the rig"
    ),
    "torque_sign_odd": Code(
        "suspect",
        "torque points the other way than in the rest of the test",
        "check the sensor's wiring and range on that day",
    ),
    # schedule
    "stop_extra": Code("info", "a brake application that the schedule does not have", "check the rig's log"),
    "stops_extra_many": Code(
        "suspect",
        "over a tenth of the stops are not in the schedule",
        "look for recordings of another test in the folder; correct the blocks",
    ),
    "stop_unlike": Code(
        "suspect",
        "one stop's friction is unlike the stops run alike beside it",
        "check the stop's recording, specimen and trace; repeat the stop",
    ),
    "stop_missing": Code(
        "info", "a scheduled stop has no recording", "look for the recording; its energy is counted from the schedule"
    ),
    "stop_aborted": Code("rejected", "braking was broken off", "none: its energy and wear are counted, its mu is not"),
    "excluded_by_hand": Code(
        "rejected",
        "the test card excludes the stop, with a reason",
        "none: its energy and wear are counted; the page tells what the test's map would say with it",
    ),
    "calibration_applied": Code(
        "info",
        "torque or pressure is corrected by what a calibration of the rig found",
        "none; the method's conditioning.calibrations decides, the rig's file says the figure",
    ),
    "calibration_not_applied": Code(
        "info",
        "calibrations of the rig are not applied: only reduced rows were kept, or the rig's file is left out (then suspect)",
        "correct the rig's file as the message says; of reduced rows mind it when comparing",
    ),
    # across tests
    "rig_shift": Code(
        "suspect",
        "all specimens of a rig step at a dated event",
        "check the rig's calibration; compare only tests of one state",
    ),
    "rig_wanders": Code(
        "suspect",
        "a control chart of the rig says that its level moved and no dated event explains it",
        "find what changed on the rig and date it in rigs/<rig>.yaml; run a specimen of a batch tested before; blame no batch",
    ),
    "test_copied": Code(
        "suspect",
        "two tests of the archive hold the same recordings",
        "remove one of the folders, or put the right recordings into it",
    ),
    # samples of a stop
    "no_braking": Code(
        "rejected",
        "a one-stop recording without a brake application",
        "check the pressure channel and the on-threshold",
    ),
    "further_braking": Code(
        "suspect", "more than one application in a one-stop recording", "split the recording, or declare it a series"
    ),
    "window_short": Code(
        "rejected", "the evaluation window is too short for an average", "none: energy is kept; look at the trace"
    ),
    "time_backwards": Code("rejected", "time goes back", "export the recording again"),
    "time_leaps": Code("rejected", "the clock was set within the braking", "export the recording again"),
    "time_repeated": Code("suspect", "samples share one time", "record or export time with more digits"),
    "time_gap": Code(
        "suspect", "samples are missing inside a braking or its zero windows", "look at the trace; export again"
    ),
    "dropout": Code("suspect", "samples of a channel are no number", "look at the trace and the sensor's cable"),
    "torque_without_pressure": Code(
        "suspect", "torque brakes the shaft while the pressure is at rest", "look at the pressure's trace"
    ),
    "speed_jump": Code("suspect", "the speed jumps as no shaft can", "look at the speed's trace and the encoder"),
    "pressure_jump": Code(
        "suspect",
        "pressure steps within a braking and the torque does not follow",
        "look at the pressure's trace and range",
    ),
    "torque_lost": Code(
        "suspect",
        "torque is lost for moments within a braking while the pressure stands",
        "look at the trace and the sensor's cable and plugs",
    ),
    "pressure_off_schedule": Code(
        "suspect", "one stop's pressure is off the schedule's", "check its recording's unit and the rig's log"
    ),
    "coarse_values": Code(
        "suspect", "a channel is recorded in steps too wide for its level", "export the recording with all its digits"
    ),
    "torque_reversed": Code(
        "suspect", "torque changes its sign within a braking", "look at the trace and the sensor's cable"
    ),
    "held_value": Code("suspect", "a channel stood still while it should move", "look at the trace and the recorder"),
    "saturated": Code("suspect", "a channel is cut off at the end of its range", "use a wider range"),
    "spike": Code("info", "single wild samples, left out", "look for interference"),
    "clipped_start": Code(
        "suspect", "the recording begins inside the braking", "record half a second or more before each stop"
    ),
    "clipped_end": Code("suspect", "the recording ends inside the braking", "record until after the release"),
    "thermocouple_missing": Code("suspect", "no disc temperature", "check the thermocouple"),
    "thermocouple_open": Code("suspect", "disc temperature does what no disc can", "check the thermocouple"),
    "thermocouple_stuck": Code(
        "suspect", "disc temperature did not move while energy went in", "check the thermocouple"
    ),
    "mu_implausible": Code(
        "suspect", "a friction coefficient that no brake material has", "check units and sensors of torque and pressure"
    ),
    "averages_differ": Code(
        "info",
        "averages by time, distance and energy differ by more than their uncertainty",
        "say which average is meant",
    ),
    "torque_ripple": Code(
        "info", "torque ripples with the shaft's turns", "measure the disc's thickness variation and run-out"
    ),
    # sensors over a test
    "offset_large": Code(
        "info", "a channel's zero is off by a large share of its range; subtracted", "zero the sensor"
    ),
    "zero_unknown": Code("suspect", "nothing tells a sensor's zero", "record before and after each stop"),
    "drag_not_separated": Code(
        "info", "offset and drag of torque were not separated", "record some samples at standstill with the brake open"
    ),
    "lag_corrected": Code(
        "info", "torque and pressure are recorded at different delays; aligned", "check the measuring chains' filters"
    ),
    "lag_scatter": Code(
        "info", "the lag between torque and pressure changes from stop to stop", "check the recorder's clock"
    ),
    "speed_late": Code(
        "suspect",
        "the speed is recorded behind torque and pressure, or sees the torque",
        "check the speed chain's filter and averaging time, and its screening",
    ),
    "sensors_missing": Code(
        "info", "sensor accuracies are missing, so mu_u is too small", "state the sensors' accuracies in test.yaml"
    ),
    "energy_balance": Code(
        "suspect",
        "work at the brake and energy of the shaft disagree over a whole test",
        "check the candidates that the message names",
    ),
    "energy_ratio_trend": Code(
        "suspect", "the energy ratio drifts over the test", "calibrate the torque sensor; see the drift verdict"
    ),
    "zero_moved": Code(
        "info",
        "a sensor's zero moved within the test; each stop is corrected by its own reading",
        "look for drift with temperature or a knock",
    ),
    "pressures_disagree": Code("suspect", "two pressure sensors differ over the test", "calibrate both"),
    "energy_ratio_odd": Code("suspect", "one stop's energy ratio stands out", "look at the stop's speed and torque"),
    "unit_slip": Code(
        "suspect",
        "a channel's values are in another unit than test.yaml says",
        "correct the channel's unit in test.yaml, or export the recordings again",
    ),
    "levels_from_recordings": Code(
        "info",
        "the card says that its blocks' levels were read off the recordings (`levels: recordings`): they show what was run, in whatever "
        "unit, and no unit is held against them",
        "hold the blocks against the schedule, above all their start temperatures, then write levels: schedule",
    ),
    "level_off_schedule": Code(
        "suspect",
        "a channel's level is off the schedule's by one factor",
        "check the candidates that the message names",
    ),
    "not_reprocessable": Code(
        "info", "only a reduced table was kept of this test", "none: it can be shown and compared, not reduced again"
    ),
    # faults that only the row of all stops shows
    "level_step": Code(
        "suspect",
        "a channel leaves the schedule's level by one factor from some stop on",
        "check the candidates that the message names",
    ),
    "level_with_temperature": Code(
        "suspect",
        "a channel leaves the schedule's level with the disc's temperature",
        "check how the sensor and its cable get warm; mu of hot stops carries it",
    ),
    "cross_talk": Code(
        "suspect",
        "one channel moves with another as no brake makes it",
        "check grounding and screens of the measuring chain; record with one channel unplugged",
    ),
    "energy_ratio_step": Code(
        "suspect",
        "the energy ratio moves within the test further than the stated accuracies allow",
        "check the candidates that the message names",
    ),
    "thermocouple_debonded": Code(
        "suspect",
        "disc temperature no longer rises with the heat as before",
        "check the thermocouple's seat; repeat the stops",
    ),
    "thermocouple_swapped": Code(
        "suspect", "disc and pad thermocouples look exchanged", "check the plugs; correct the channels in test.yaml"
    ),
    "face_temperature_off": Code(
        "info",
        "the pyrometer and the conduction model of the rubbing face disagree",
        "check the pyrometer's spot and emissivity; state the disc's measured conductivity in test.yaml",
    ),
    "thermocouples_disagree": Code(
        "suspect",
        "two thermocouples in the disc differ before braking",
        "check both thermocouples and their seats; map and wear rest on the first",
    ),
    "clock_jump": Code(
        "info",
        "the clock jumps back between two recordings",
        "use a clock that runs through; idle time is unknown there",
    ),
    # wear readings
    "wear_file_invalid": Code(
        "suspect", "wear.csv cannot be used, wear is not given", "correct what the message names"
    ),
    "wear_reading_impossible": Code(
        "info", "a wear reading cannot be true and is left out", "correct the row or measure again"
    ),
    "wear_reading_missing": Code(
        "info", "a component was not read when others were", "look for the reading; its intervals span the gap"
    ),
    "wear_points_differ": Code("info", "two readings share no measuring point", "measure at the same marked points"),
    "wear_negative": Code(
        "suspect",
        "a component grew beyond the reading's uncertainty",
        "dry and measure again; look for swelling or a hot reading",
    ),
    "wear_reading_odd": Code(
        "suspect",
        "a wear reading contradicts mass, energy, clock or its own points beside it",
        "check the row, after_stop and the bench's log; measure again",
    ),
    "wear_card_differs": Code(
        "suspect", "the parts measured are not the card's", "correct the card, or check which parts were measured"
    ),
    "oxidation_soak_off": Code(
        "suspect",
        "a soak without a stop took more or less than the oxidation law from the stops foresees",
        "check the soak's temperature and hours, the readings around it and the disc's conductivity and heat share",
    ),
    "wear_after_last_stop": Code(
        "suspect", "a wear reading lies after the last stop run", "check after_stop against the rig's count"
    ),
    "wear_not_dry": Code(
        "info", "mass was not read dry, so it carries moisture", "dry the parts before weighing, say so in column state"
    ),
    "wear_moisture": Code("suspect", "mass moved by the size of moisture uptake", "dry the parts before weighing"),
    "wear_mass_thickness": Code(
        "suspect",
        "mass and thickness tell different losses",
        "see the message: inner oxidation, a lost fragment or a pick-up",
    ),
    "wear_noise_assumed": Code(
        "info",
        "no repeats or points tell the readings' noise; the method's value is assumed",
        "repeat readings at some points",
    ),
    "wear_energy_filled": Code(
        "info", "a stop without a measured energy is counted in wear with its block's", "none, or recover the recording"
    ),
}


@dataclass(frozen=True)
class Finding:
    """One finding as it stands in findings.json."""

    code: str
    severity: Severity
    message: str
    stop: int | None = None
    file: str | None = None
    channel: str | None = None
    start_s: float | None = None
    end_s: float | None = None
    evidence: dict[str, Any] = field(default_factory=dict)
    action: str = ""

    def as_dict(self) -> dict[str, Any]:
        return asdict(self)


def finding(code: str, message: str, *, severity: Severity | None = None, **where: Any) -> Finding:
    """A finding of a known code, with the code's usual severity and action unless said otherwise.

    `where` takes stop, file, channel, start_s, end_s, evidence, action. An unknown code is a fault of ours (KeyError).
    """
    known = CODES[code]
    where.setdefault("action", known.action)
    return Finding(code=code, severity=severity or known.severity, message=message, **where)


def of_each(stops: Iterable[tuple[int, str]], code: str, text: str, **where: Any) -> list[Finding]:
    """The finding of each of `stops` (number, file); `text` follows the stop's number, `where` as for `finding`."""
    return [finding(code, f"stop {stop}: {text}", stop=stop, file=file, **where) for stop, file in stops]


def worst(severities: list[Severity]) -> Severity:
    return max(severities, key=RANK.__getitem__, default="info")
