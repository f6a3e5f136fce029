"""Wrong units and facts, drifting gains and zeros: named among the candidates, the test flagged, nothing silently used."""

import json
import re

import numpy as np
import polars as pl
import pytest

from pipeline.findings import finding
from tests.stops.makers import Application, Rig, reduce, write_test

APPS = [
    Application(pressure=p, speed=(w, 500), block=f"{p} {w} {t}", temperature=t)
    for p in (10, 20, 40, 60) for w in (1200, 1500, 1800) for t in (100, 300)
]  # fmt: skip


def scaled(channel, factor):
    return lambda _, c: c | {channel: c[channel] * factor}


# SI size of one unit, from the definitions (SI brochure; NIST SP 811)
SIZE = {
    "pressure": {"bar": 1e5, "MPa": 1e6, "kPa": 1e3, "psi": 6894.757293168361, "kgf/cm^2": 98066.5, "Pa": 1.0},
    "torque": {
        "N m": 1.0,
        "lbf ft": 1.3558179483314,
        "lbf in": 0.1129848290276,
        "daN m": 10.0,
        "kgf m": 9.80665,
        "kN m": 1e3,
    },
    "speed": {"rpm": np.pi / 30, "rad/s": 1.0, "rps": 2 * np.pi, "deg/s": np.pi / 180},
}
PAIRS = [
    ("pressure", "MPa", "psi"), ("pressure", "psi", "MPa"), ("pressure", "psi", "bar"), ("pressure", "Pa", "bar"),
    ("pressure", "kPa", "kgf/cm^2"), ("pressure", "kgf/cm^2", "MPa"), ("torque", "lbf ft", "N m"), ("torque", "N m", "lbf ft"), ("torque", "kN m", "N m"),
    ("torque", "lbf in", "daN m"), ("speed", "rpm", "rad/s"), ("speed", "rps", "rpm"), ("speed", "deg/s", "rad/s"),
]  # fmt: skip
SHOWN = {"rps": "rev/s"}


def all_and_ten(pairs, one_of_each):
    """Every pair with all stops, and with ten of them, in the wrong unit: one pair of each by default, the rest is heavy.

    The first pair of each has ten stops of its own, the last all of them.
    """
    firsts = {one_of_each(pair): pair for pair in reversed(pairs)}.values()
    lasts = {one_of_each(pair): pair for pair in pairs}.values()
    return [
        pytest.param(*pair, stops, id=f"{'-'.join(pair)}-{name}", marks=[pytest.mark.heavy] * (pair not in by_default))
        for name, stops, by_default in (("all", range(24), lasts), ("ten", range(8, 18), firsts))
        for pair in pairs
    ]


@pytest.mark.parametrize(("channel", "actual", "labelled", "stops"), all_and_ten(PAIRS, lambda pair: pair[0]))
def test_a_wrong_unit_is_one_finding_of_the_test_with_its_name_and_its_stops_stay_out(
    tmp_path, channel, actual, labelled, stops
):
    factor = SIZE[channel][labelled] / SIZE[channel][actual]
    write_test(tmp_path, APPS, Rig(), change=over(stops, channel, factor), units={channel: labelled})
    found = reduce(tmp_path)
    (told,) = [f for f in found.findings if f["stop"] is None and f["severity"] != "info"]
    assert (told["code"], told["channel"]) == ("unit_slip", channel)
    causes = [c["cause"] for c in told["evidence"]["candidates"]]
    assert f"{channel} in {SHOWN.get(actual, actual)} labelled {labelled}" in causes
    out = set(found.stops.filter(pl.col("status") != "ok")["stop"].to_list())
    assert out == {i + 1 for i in stops}


UNSCHEDULED = [
    ("degF", "degC", True), ("K", "degC", False), ("degC", "degF", False), ("degC", "K", True), ("degF", "K", True), ("K", "degF", False),
]  # fmt: skip


@pytest.mark.parametrize(
    ("actual", "labelled", "seen"),
    [pytest.param(*case, marks=[pytest.mark.heavy] * (case not in UNSCHEDULED[:2])) for case in UNSCHEDULED],
)
def test_without_wanted_starts_the_heat_tells_some_units_and_the_test_says_which_it_does_not(
    tmp_path, actual, labelled, seen
):
    (a, b), (c, d) = ZERO[actual], ZERO[labelled]
    change = lambda _, ch: ch | {"disc_temperature": c * (ch["disc_temperature"] - b) / a + d}  # noqa: E731
    folder, _ = write_test(tmp_path, APPS, Rig(), change=change, units={"disc_temperature": labelled})
    card = re.sub(r", initial_temperature: [^,}]*", "", (folder / "test.yaml").read_text())
    card = card.replace("brake:\n", "brake:\n  disc: {mass: 1.7 kg, heat_capacity: 1400 J/(kg K)}\n", 1)
    (folder / "test.yaml").write_text(card)
    found = reduce(tmp_path)
    (row,) = [row for row in found.summary["units"] if row["channel"] == "disc_temperature"]
    named = [c["cause"] for f in of_test(found, "unit_slip") for c in f["evidence"]["candidates"]]
    assert (f"disc temperature in {actual} labelled {labelled}" in named) == seen
    assert seen or actual in row["not_verifiable"]
    assert ("ok" not in found.stops["status"].to_list()) == seen


SECONDS = {"s": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0}


@pytest.mark.parametrize(("actual", "labelled"), [("ms", "s"), ("s", "ms"), ("min", "s"), ("s", "h"), ("h", "min")])
def test_a_whole_test_with_its_time_in_another_unit_is_unusable_with_one_reason(tmp_path, actual, labelled):
    factor = SECONDS[labelled] / SECONDS[actual]
    write_test(tmp_path, APPS, Rig(), change=stretched(range(24), factor), units={"time": labelled})
    found = reduce(tmp_path)
    (told,) = found.findings
    assert (told["code"], told["severity"]) == ("test_unusable", "unusable")
    assert f"time is in {actual} labelled {labelled}" in told["message"]
    assert found.stops.height == 0


@pytest.mark.parametrize("continuous", [False, True])
def test_a_series_with_its_time_in_another_unit_is_unusable_with_one_reason(tmp_path, continuous):
    write_test(tmp_path, APPS[:12], Rig(), series=True, continuous=continuous)
    frame = pl.read_parquet(tmp_path / "t1.parquet").with_columns(pl.col("time") * 1000.0)
    frame.write_parquet(tmp_path / "t1.parquet")
    (told,) = reduce(tmp_path).findings
    assert told["code"] == "test_unusable" and "time is in ms labelled s" in told["message"]


def test_ten_recordings_with_their_time_in_another_unit_are_set_apart(tmp_path):
    write_test(tmp_path, APPS, Rig(), change=stretched(range(8, 18), 1000.0))
    found = reduce(tmp_path)
    assert of_test(found, "unit_slip")[0]["evidence"]["candidates"][0]["cause"] == "time in ms labelled s"
    assert found.stops["status"].to_list() == ["ok"] * 8 + ["rejected"] * 10 + ["ok"] * 6


def stretched(stops, factor):
    """The time of `stops` goes `factor` times as fast, from each recording's own start."""

    def change(i, c):
        start = c["time"][0]
        return c | {"time": start + (c["time"] - start) * (factor if i in stops else 1.0)}

    return change


def over(stops, channel, factor):
    return lambda i, c: c | {channel: c[channel] * (factor if i in stops else 1.0)}


def test_a_conversion_made_twice_is_named_by_its_units(tmp_path):
    write_test(tmp_path, APPS, Rig(), change=scaled("pressure", 1 / 14.5037738))
    (told,) = of_test(reduce(tmp_path), "unit_slip")
    assert told["evidence"]["candidates"][0]["cause"] == "pressure in bar labelled psi"


def test_two_slips_in_one_test_are_both_named(tmp_path):
    def both(i, c):
        return c | {"pressure": c["pressure"] * 10, "torque": c["torque"] * 0.737562149}

    write_test(tmp_path, APPS, Rig(), change=both, units={"pressure": "MPa"})
    told = {f["channel"]: f["evidence"]["candidates"][0]["cause"] for f in of_test(reduce(tmp_path), "unit_slip")}
    assert told == {"pressure": "pressure in bar labelled MPa", "torque": "torque in lbf ft labelled N m"}


ZERO = {"degC": (1.0, 273.15), "degF": (5 / 9, 459.67 * 5 / 9), "K": (1.0, 0.0)}  # kelvin = a x value + b


TEMPERATURES = [(a, b) for a in ZERO for b in ZERO if a != b]


@pytest.mark.parametrize(("actual", "labelled", "stops"), all_and_ten(TEMPERATURES, lambda pair: "".join(sorted(pair))))
def test_a_temperature_in_a_wrong_unit_is_one_finding_of_the_test_and_its_stops_are_suspect(
    tmp_path, actual, labelled, stops
):
    (a, b), (c, d) = ZERO[actual], ZERO[labelled]

    def slipped(i, channels):
        true = channels["disc_temperature"]
        return channels | {"disc_temperature": c * (true - b) / a + d if i in stops else true}

    write_test(tmp_path, APPS, Rig(), change=slipped, units={"disc_temperature": labelled})
    found = reduce(tmp_path)
    (told,) = [f for f in found.findings if f["stop"] is None and f["severity"] != "info"]
    assert told["code"] == "unit_slip"
    assert told["evidence"]["candidates"][0]["cause"] == f"disc temperature in {actual} labelled {labelled}"
    suspect = set(found.stops.filter(pl.col("status") == "suspect")["stop"].to_list())
    # K and degF cross at 301 degC: neighbours that start there are in doubt with the stretch.
    assert {i + 1 for i in stops} <= suspect <= {i + 1 for i in range(min(stops) - 1, max(stops) + 2)}
    assert {f["code"] for f in found.findings if f["severity"] != "info"} == {told["code"]}


def of_test(found, code):
    return [f for f in found.findings if f["code"] == code and f["stop"] is None]


def column(frame, name):
    return frame[name].cast(pl.Float64).to_numpy()


def test_a_wrong_inertia_and_a_torque_gain_are_both_named(tmp_path):
    write_test(tmp_path, APPS, Rig(), inertia="25.3 kg m^2")
    found = reduce(tmp_path)
    assert found.summary["energy_balance"]["ratio_median"] == pytest.approx(1 / 1.15, abs=0.003)
    causes = " ".join(c["cause"] for c in found.summary["energy_balance"]["candidates"])
    assert "inertia entered 1.150 times" in causes and "torque gain 0.869 times" in causes
    assert all("torque gain" in c["not_told_apart_from"] for c in found.summary["energy_balance"]["candidates"])
    assert "ok" not in found.stops["status"].to_list()


def test_a_clean_test_has_no_candidates(tmp_path):
    write_test(tmp_path, APPS, Rig())
    found = reduce(tmp_path)
    assert found.summary["energy_balance"]["candidates"] == [] and found.findings == []
    assert found.summary["energy_balance"]["gain"] == pytest.approx(1.0, abs=0.004)
    assert found.summary["energy_balance"]["trend_per_100_stops"] == pytest.approx(0.0, abs=0.004)


def test_a_drifting_torque_gain_is_a_trend_of_the_ratio(tmp_path):
    write_test(tmp_path, APPS, Rig(), change=lambda i, c: c | {"torque": c["torque"] * (1 - 0.08 * i / len(APPS))})
    found = reduce(tmp_path)
    (trend,) = of_test(found, "energy_ratio_trend")
    assert trend["evidence"]["over_test"] == pytest.approx(-0.08 * 23 / 24, abs=0.01)
    assert found.summary["energy_balance"]["gain"] == pytest.approx(0.96, abs=0.006)


@pytest.mark.parametrize(("channel", "step", "key"), [("pressure", 0.8e5, "pressure"), ("torque", 20.0, "torque")])
def test_a_zero_that_steps_within_the_test_is_corrected_and_told(tmp_path, channel, step, key):
    _, truths = write_test(tmp_path, APPS, Rig(), change=lambda i, c: c | {channel: c[channel] + step * (i >= 14)})
    found = reduce(tmp_path)
    moved = [f["stop"] for f in found.findings if f["code"] == "zero_moved"]
    assert len(moved) >= 6
    assert column(found.stops, "mu") == pytest.approx([t.mu_distance for t in truths], abs=0.003)
    assert column(found.stops, "energy_ratio") == pytest.approx(1.0, abs=0.008)
    assert key in {f["channel"] for f in found.findings}


def test_one_stop_with_a_wrong_speed_stands_out_by_its_energy_ratio(tmp_path):
    write_test(tmp_path, APPS, Rig(), change=lambda i, c: c | {"speed": c["speed"] * (1.12 if i == 9 else 1.0)})
    found = reduce(tmp_path)
    assert [f["stop"] for f in found.findings if f["code"] == "energy_ratio_odd"] == [10]
    assert found.stops["status"].to_list().count("ok") == len(APPS) - 1


@pytest.mark.parametrize("files", [None, ["recordings/stop_003.csv", "recordings/stop_004.csv"]])
def test_a_unit_that_the_recordings_contradict_puts_their_stops_in_doubt(tmp_path, files):
    write_test(tmp_path, APPS[:6], Rig())
    record = json.loads((tmp_path / "t1.json").read_text())
    evidence = {"recordings": "psi", "card": "bar"} | ({"files": files} if files else {})
    record["findings"] = [
        finding("unit_disagrees", "pressure: psi, bar", channel="pressure", evidence=evidence).as_dict()
    ]
    (tmp_path / "t1.json").write_text(json.dumps(record))
    out = reduce(tmp_path).stops.filter(pl.col("status") == "suspect")["stop"].to_list()
    assert out == ([3, 4] if files else [1, 2, 3, 4, 5, 6])


def test_sensors_left_out_leave_scatter_and_the_default_of_the_threshold(tmp_path):
    write_test(tmp_path, APPS[:6], Rig(), sensors="")
    found = reduce(tmp_path)
    assert found.summary["mu_u_common_relative"] is None and found.summary["mu_u_common_relative_why"]
    assert of_test(found, "sensors_missing")
    assert (column(found.stops, "mu_u") < 0.006).all()
    stated = ("torque", "pressure", "piston_area", "effective_radius", "efficiency", "threshold_pressure")
    assert all(row["note"] for row in found.summary["budget"] if row["source"] in stated)


def test_the_budget_names_what_is_not_stated(tmp_path):
    write_test(tmp_path, APPS[:6], Rig())
    budget = {row["source"]: row for row in reduce(tmp_path).summary["budget"]}
    assert budget["torque"]["relative_u"] == pytest.approx(0.002 / np.sqrt(3))
    assert budget["effective_radius"]["relative_u"] == pytest.approx(0.5 / 134 / np.sqrt(3))
    for name in ("efficiency", "piston_area"):
        assert budget[name]["relative_u"] is None and budget[name]["why"] == "no accuracy stated: counted as 0"
    assert budget["pressure"]["note"] is None
    assert 0 < budget["zeros of torque and pressure over the test"]["relative_u"] < 0.005


THRESHOLDS = {  # what the card says -> limits in bar
    "stated": ("threshold_pressure: 0.4 bar", ", threshold_pressure: {accuracy: 0.05 bar}", 0.05),
    "share": ("threshold_pressure: 0.4 bar", ", threshold_pressure: {accuracy: 25 %}", 0.1),
    "no accuracy": ("threshold_pressure: 0.4 bar", "", 0.2),
    "no threshold": ("", "", 0.5),
    "share of nothing": ("threshold_pressure: 0 bar", ", threshold_pressure: {accuracy: 10 %}", 0.5),
}  # fmt: skip


@pytest.mark.parametrize(("value", "accuracy", "limit"), THRESHOLDS.values(), ids=THRESHOLDS)
def test_the_threshold_pressure_is_never_taken_as_exact(tmp_path, value, accuracy, limit):
    """Its part of mu_u is that of a change of the threshold by its standard uncertainty, and the budget names it."""
    apps = [Application(pressure=p, block=f"map {p}") for p in (12.0, 12.0, 40.0, 40.0)]
    sensors = f"sensors: {{torque: {{full_scale: 3000 N m, accuracy: 0.2 %}}{accuracy}}}"
    folder, _ = write_test(tmp_path, apps, Rig(), sensors=sensors)
    card = folder / "test.yaml"
    card.write_text(card.read_text().replace("threshold_pressure: 0.4 bar", value, 1))
    found = reduce(tmp_path)
    u, stops = limit / np.sqrt(3), found.stops
    threshold = 0.4 if "0.4" in value else 0.0
    part = column(stops, "mu") * u / (column(stops, "pressure_bar") - threshold)
    assert column(stops, "mu_u_common") == pytest.approx(
        np.hypot(part, 0.002 / np.sqrt(3) * column(stops, "mu")), rel=0.05
    )
    (row,) = (row for row in found.summary["budget"] if row["source"] == "threshold_pressure")
    assert row["part"] == "common" and f"u {u:.2g} bar" in row["note"]
    assert ("no accuracy stated" in row["note"]) == (accuracy == "")
    middle = np.median(column(stops, "pressure_bar")) - threshold
    assert row["relative_u"] == pytest.approx(u / middle, rel=0.01)
    assert found.summary["mu_u_common_relative"] == pytest.approx(np.hypot(u / middle, 0.002 / np.sqrt(3)), rel=0.02)


@pytest.mark.parametrize(("channel", "step"), [("pressure", 0.9e5), ("torque", 120.0)])
def test_a_zero_reading_that_one_stop_has_alone_is_not_believed_unasked(tmp_path, channel, step):
    def before_the_braking(i, c):
        early = c["time"] - c["time"][0] < 0.93
        return c | {channel: c[channel] + step * early * (i == 9)}

    write_test(tmp_path, APPS, Rig(), change=before_the_braking)
    found = reduce(tmp_path)
    assert [f["stop"] for f in found.findings if f["code"] == "zero_moved" and f["severity"] == "suspect"] == [10]
    assert found.stops["status"][9] == "suspect"
    assert found.stops["status"].to_list().count("ok") == len(APPS) - 1
