"""The quiet faults of the study, as rows: kind, sizes, the findings that name them, what is changed."""

from __future__ import annotations

import polars as pl

from tests.studies.silent_fault_kinds import (
    FROM,
    HOT_C,
    LONE,
    Quiet,
    appended,
    blocks,
    counted,
    cut,
    each_block,
    entry,
    exchanged_parts,
    exchanged_sessions,
    frame,
    from_other,
    gaps,
    grows,
    late,
    later,
    moved,
    plus,
    reading,
    renamed,
    samples,
    shortened,
    smoothed,
    stretched,
    swapped_digits,
    times,
    turned_points,
    wear,
)

AFTER, LONELY = pl.col("recording") >= FROM, pl.col("recording") == LONE
HOT, TEN = pl.col("disc_temperature_c").first().over("recording") > HOT_C, pl.col("recording").is_between(61, 70)
P, T, N, C = "pressure_bar", "torque_nm", "speed_rpm", "disc_temperature_c"
LEVEL = ("level_off_schedule", "level_step", "level_with_temperature")
BALANCE = ("energy_balance", "energy_ratio_trend", "energy_ratio_step")
START = (
    "unit_slip",
    "temperature_off_schedule",
    "level_off_schedule",
    "level_step",
    "unit_disagrees",
    "thermocouple_odd",
)
LAST = 156
SPECIMEN = ("stop_unlike", "wear_reading_odd", "wear_negative")
ODD = ("wear_reading_odd", "wear_negative", "wear_reading_impossible", "wear_mass_thickness")

same_sensor = "the rig holds the schedule's level within its own scatter only; a sensor that controls the rig shows the level wanted whatever its gain. Several tests: a step between tests of one rig (`rig_shift`)"
within_accuracy = "within what stated accuracies, rig and inertia allow together"
inertia_unsure = "beyond the torque's own accuracy, but the balance cannot tell it from an inertia (1 % where `sensors` states none) and a speed (0.2 %, twice): up to 1.5 % stays unseen, and is not in mu_u. A stated inertia narrows it; another rig shows it"
geometry = "a constant factor on mu has no witness in one test but mu's plausible band. Several tests of a compound whose cards differ show it"

PRESSURE = (
    Quiet("pressure gain", (0.03, 0.06, -0.03, 0.015, 0.01), LEVEL, times(P), same_sensor),
    Quiet("pressure gain from stop 81", (0.03, -0.03, 0.015), LEVEL, times(P, AFTER), within_accuracy),
    Quiet("pressure gain above 450 C", (-0.04, 0.03, -0.02), LEVEL, times(P, HOT), within_accuracy),
    Quiet("pressure gain drifts", (0.04, 0.02), LEVEL, grows(P), within_accuracy),
    Quiet("pressure gain in one stop", (0.08, 0.04), ("pressure_off_schedule",), times(P, LONELY), "rigs miss a single stop's level by a few percent; mu of the stop shows only what leaves the scatter of mu"),
    Quiet("pressure comes late", (0.08, 0.03), ("lag_corrected",), late(P)),
    Quiet("pressure smoothed", (0.3, 0.1), ("lag_corrected", "pressure_slow"), smoothed(P)),
    Quiet("pressure sees torque", (0.002, 0.0005), ("cross_talk", *LEVEL), samples(lambda x: pl.col(P) + x * pl.col(T)), "below what stated accuracy and rig allow a level to move (1.3 %); up to 0.007 of mu stays unseen"),
    Quiet("pressure counts the other way", (-1.0,), ("pressure_turned", "pressure_negative", "test_unusable"), samples(lambda x: pl.col(P) * x)),
    Quiet("pressure lost for moments", (0.04, 0.02), ("pressure_jump", "spike"), gaps(P, 0.12, 0.5)),
    Quiet("pressure rounded", (1.0, 4.0), ("coarse_values",), samples(lambda x: (pl.col(P) / x).round() * x), "a rounding of up to a twelfth of the level averages out over a braking; a level held between two steps is off by half of one"),
    Quiet("pressure zero set within the test", (0.6,), ("zero_moved",), plus(P, AFTER)),
    Quiet("pressure zero rises in braking", (0.6, 2.0), ("zero_shifts", *LEVEL), plus(P, pl.col(P) > 2.0), "a zero that moves only under pressure looks like a gain"),
)  # fmt: skip

TORQUE = (
    Quiet("torque gain", (0.02, -0.02, 0.01, 0.005), BALANCE, times(T), inertia_unsure),
    Quiet("torque gain from stop 81", (0.02, 0.01), BALANCE, times(T, AFTER), within_accuracy),
    Quiet("torque gain above 450 C", (0.03, 0.015), (*BALANCE, "energy_ratio_odd"), times(T, HOT), within_accuracy),
    Quiet("torque gain drifts", (0.02, 0.01), BALANCE, grows(T), within_accuracy),
    Quiet("torque gain in one stop", (0.04, 0.02), ("energy_ratio_odd",), times(T, LONELY), within_accuracy),
    Quiet("torque drops out for 60 ms", (0.06, 0.03), ("dropout", "torque_lost"), gaps(T, 8.0, 1.0)),
    Quiet("torque drops out in one stop", (0.06, 0.2), ("dropout", "torque_lost"), gaps(T, 8.0, 1.0, LONELY)),
    Quiet("torque sees pressure", (2.0, 0.5), ("cross_talk", *BALANCE), samples(lambda x: pl.col(T) + x * pl.col(P)), "within what inertia and torque allow"),
    Quiet("torque smoothed", (0.3,), ("lag_corrected", "torque_slow"), smoothed(T)),
    Quiet("torque compressed above 500 N m", (0.1, 0.3), (*BALANCE, "saturated"), samples(lambda x: pl.when(pl.col(T) > 500).then(500 + (pl.col(T) - 500) * (1 - x)).otherwise(T).alias(T))),
    Quiet("torque zero rises in braking", (20.0, 8.0), BALANCE, plus(T, pl.col(P) > 2.0), within_accuracy),
    Quiet("torque noisy", (60.0,), (), samples(lambda x: pl.col(T) + x * (pl.int_range(pl.len()) % 2 * 2 - 1)), "noise is averaged out and is in mu_u"),
)  # fmt: skip

MOTION = (
    Quiet("speed scale", (0.02, -0.02, 0.01, 0.005), ("level_off_schedule", *BALANCE), times(N), inertia_unsure),
    Quiet("speed scale from stop 81", (0.02, 0.01), ("level_step", *BALANCE), times(N, AFTER), within_accuracy),
    Quiet("speed comes late", (0.08, 0.03), ("speed_lags", "speed_late"), late(N), "less than one and a half samples behind the torque is not told"),
    Quiet("speed sees torque", (0.02, 0.005), ("speed_late", "cross_talk", "speed_jump", *BALANCE), samples(lambda x: pl.col(N) + x * pl.col(T)), "looks like a speed that is late by less than one and a half samples; mu moves by 0.0005 at most"),
    Quiet("speed scale in one stop", (0.05, 0.02), ("energy_ratio_odd", "speed_off_schedule"), times(N, LONELY), within_accuracy),
    Quiet("sample rate", (0.02, -0.02, 0.05, 0.01), ("time_scale", *BALANCE), stretched(), inertia_unsure),
    Quiet("sample rate from stop 81", (0.02,), ("time_scale", *BALANCE), stretched(AFTER), within_accuracy),
    Quiet("sample rate in one stop", (0.05,), ("energy_ratio_odd",), stretched(LONELY), within_accuracy),
    Quiet("speed and torque late together", (0.08,), ("lag_corrected",), late(N, T)),
)  # fmt: skip

WARMTH = (
    Quiet("temperature gain", (-0.1, 0.05), START, times(C), "within 20 K of the schedule's at most starts"),
    Quiet("temperature offset", (30.0, -15.0), START, plus(C), "within 20 K of the schedule's"),
    Quiet("temperature offset from stop 81", (30.0, 15.0), START, plus(C, AFTER), "within 20 K of the schedule's"),
    Quiet("ten stops in degF", (32.0,), START, samples(lambda x: pl.when(TEN).then(1.8 * pl.col(C) + x).otherwise(C).alias(C))),
    Quiet("temperature smoothed", (3.0,), ("thermocouple_slow",), smoothed(C), "a slow thermocouple changes the end and the peak, not the start that the map uses; the start is the schedule's"),
    Quiet("temperature offset in one stop", (40.0, 20.0), START, plus(C, LONELY), "a single start that the rig missed by so much is no fault of the thermocouple; the stop stands at its own temperature in the map. The next stops do not show it"),
)  # fmt: skip

RECORDINGS = (
    Quiet("specimen changed at stop 81", (-0.07, -0.03, -0.15), SPECIMEN, from_other(FROM), "within the scatter of matched stops; a change of the material looks alike"),
    Quiet("one stop of another specimen", (-0.1, -0.05, 0.2), ("stop_unlike",), from_other(LONE, LONE), "within the scatter of like stops"),
    Quiet("one stop of a block of another specimen", (-0.1, -0.2), ("stop_unlike",), from_other(124, 124), "within the scatter of like stops"),
    Quiet("a stop's recording ends early", (0.62, 0.8, 0.5), ("clipped_end", "stop_aborted", "recording_cut"), frame(cut), "only rest after the release is lost"),
    Quiet("samples taken out of a stop", (0.62, 0.9), ("speed_jump", "time_gap", "energy_ratio_odd", "stop_short"), frame(shortened)),
    Quiet("a second test appended", (152, 30, 12), ("stops_extra_many", "stop_extra"), appended, "up to a tenth of extra stops is told as info"),
    Quiet("two stops exchanged", (4, 20), ("stop_extra", "stop_missing", "stop_off_schedule"), renamed(lambda x: {LONE: LONE + x, LONE + x: LONE}), "told as info (`stop_extra`, `stop_missing`, `clock_jump`): both stops keep their numbers and are left out of the blocks, mu by stop number is exchanged"),
    Quiet("recordings numbered backwards in a block", (8,), ("clock_jump", "stop_extra"), renamed(lambda x: {121 + i: 121 + x - 1 - i for i in range(x)}), "told as info by a clock that runs through (`clock_jump`); each stop's numbers are right, their order within the block is not. A clock that restarts with each file shows nothing"),
)  # fmt: skip

WEAR = (
    Quiet("thickness digits exchanged at a point", (1, 2), ODD, lambda t, c, x: swapped_digits(reading(70, "disc", point=3) & (pl.int_range(pl.len()) >= 0), x)(t, c, x), "smaller than the readings' own noise allows"),
    Quiet("one thickness reading off (mm)", (0.1, 0.03, 0.012), ODD, moved(reading(70, "disc", point=3)), "within the noise of a point's reading"),
    Quiet("thickness of a part off at one reading (mm)", (0.1, 0.03, 0.012), ODD, moved(reading(70, "disc")), "within what the next intervals' own wear allows"),
    Quiet("gauge zero off at one reading (mm)", (0.02, 0.05, 0.01, -0.02), ODD, moved(reading(70)), "within what the next intervals' own wear allows"),
    Quiet("gauge zero off from one reading on (mm)", (0.02, 0.05), ODD, wear(lambda w, x: w.with_columns(value=pl.when((pl.col("after_stop") >= 70) & (pl.col("quantity") == "thickness")).then(pl.col("value") + x).otherwise("value"))), "a single interval's wear by so much is a change of rate"),
    Quiet("gauge zero off at the last reading (mm)", (0.02, 0.05), ODD, moved(reading(LAST)), "nothing follows that would show it; mass beside thickness only"),
    Quiet("gauge zero off at the first reading (mm)", (0.02,), ODD, moved(reading(0)), "nothing comes before; mass beside thickness only"),
    Quiet("gauge gain", (0.02, 0.005), ("wear_card_differs", *ODD), moved(pl.col("quantity") == "thickness", 1.0), "losses change by the same share only"),
    Quiet("after_stop of one reading", (10, 3, -10, 30), ("wear_after_last_stop", *ODD), counted(70), "the rate of the two intervals beside stays within what the law fits"),
    Quiet("after_stop of the last reading", (-10, 10), ("wear_after_last_stop", *ODD), counted(LAST), "one interval's rate changes by less than the law fits"),
    Quiet("two sessions exchanged", (0,), ("wear_negative", *ODD), exchanged_sessions(70, 82)),
    Quiet("pads exchanged at one reading", (0,), ODD, exchanged_parts(70, "pad_inner", "pad_outer"), "the pads wear alike"),
    Quiet("points read in another order", (2, 1), ODD, turned_points(70, "disc"), "the mean over the points is the same; only its noise grows"),
    Quiet("scale zero off at one weighing (g)", (2.0, 0.5), ("wear_moisture", *ODD), moved(reading(70, quantity="mass")), "within the scatter of mass beside thickness"),
    Quiet("mass digits exchanged", (1,), ODD, lambda t, c, x: swapped_digits(reading(70, "disc", "mass"), 1)(t, c, x), "the digits differ by a few hundredths of a gram: a fraction of a micrometre"),
)  # fmt: skip

CARD = (
    Quiet("threshold pressure", ("4 bar", "1.2 bar", "0 bar"), ("card_unusual",), entry("brake", "threshold_pressure"), "the intercept of torque on pressure moves with friction as much as with the threshold, so nothing measures it; its limits (0.2 bar where the card states none for it) stand in mu_u, 0.8 bar is 0.04 of mu in the softest stops"),
    Quiet("efficiency", (0.87, 0.93, 0.55), ("card_unusual",), entry("brake", "efficiency"), geometry),
    Quiet("effective radius", ("132 mm", "128 mm", "160 mm"), ("card_unusual",), entry("brake", "effective_radius"), geometry),
    Quiet("pistons", (["28 mm", "36 mm", "36 mm"], ["30 mm", "32 mm", "36 mm"], ["28 mm", "32 mm"]), ("card_unusual",), entry("brake", "pistons_per_side"), geometry),
    Quiet("pads", (4, 1), ("card_unusual", "wear_card_differs", "wear_mass_thickness"), entry("brake", "pads"), "four pads are common; energy density and wear are then of twice the area. Pads read in wear.csv show it"),
    Quiet("pad area", ("42 cm^2", "94 cm^2", "470 cm^2"), ("card_unusual",), entry("brake", "pad_area"), geometry),
    Quiet("date", ("2062-01-12", "1926-01-12"), ("card_unusual", "card_invalid", "date_impossible"), entry("date")),
    Quiet("date tomorrow", (1,), (), lambda t, c, x: (t, c | {"date": str(later(x))}), "time zones put a date a day ahead"),
    Quiet("inertia", ("26.52 kg m^2", "27.3 kg m^2", "25.74 kg m^2"), BALANCE, entry("inertia"), inertia_unsure),
    Quiet("disc mass", ("2.77 kg", "17.7 kg", "1.6 kg"), ("card_unusual", "wear_reading_impossible", "wear_card_differs"), entry("brake", "disc", "mass")),
    Quiet("disc thickness", ("82 mm", "26 mm"), ("card_unusual", "wear_reading_impossible", "wear_card_differs"), entry("brake", "disc", "thickness")),
    Quiet("disc minimum thickness", ("27.99 mm", "14 mm"), ("card_unusual",), entry("brake", "disc", "minimum_thickness"), "a plausible limit of the drawing has no witness"),
    Quiet("density", ("1.5 g/cm^3", "17.8 g/cm^3", "1.9 g/cm^3"), ("card_unusual", "wear_mass_thickness"), entry("brake", "disc", "density"), "within what inner oxidation would do to mass"),
    Quiet("sensor sees no drag", (False,), ("energy_balance",), entry("recordings", "channels", "torque", "includes_drag"), "the drag is within what the balance allows"),
    Quiet("schedule's pressure of one block", ("35 bar",), ("pressure_off_schedule", *LEVEL), blocks(lambda b, x: b[4].__setitem__("pressure", x))),
    Quiet("schedule's pressures", (1.03, 1.5), LEVEL, each_block("pressure", lambda x: x, "bar"), same_sensor),
    Quiet("schedule's temperatures", (1.1,), START, each_block("initial_temperature", lambda x: x, "degC")),
    Quiet("schedule's stops of a block", (2, 8), ("stop_extra", "stop_missing"), blocks(lambda b, x: b[1].__setitem__("stops", x))),
    Quiet("torque accuracy", ("0.001 %", "5 %"), ("card_unusual", "energy_balance"), entry("recordings", "sensors", "torque", "accuracy"), "an accuracy that is stated too wide only widens mu_u and the limits here"),
)  # fmt: skip

ALL = {"Pressure": PRESSURE, "Torque": TORQUE, "Speed and time": MOTION, "Temperature": WARMTH, "Recordings": RECORDINGS, "Wear readings": WEAR, "Card": CARD}  # fmt: skip
