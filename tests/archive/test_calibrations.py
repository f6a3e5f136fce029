"""Calibrations in a rig's file: when each holds, and what is refused."""

import datetime

import pytest

from pipeline.archive.rigs import Rig, in_effect
from pipeline.errors import InputError
from pipeline.inputs.model import load
from pipeline.workspace.run import load_run
from tests.recordings.makers import card, write_card

FOUND = "date: 2026-03-10, what: calibration"


def rig_of(folder, *events, rig="north"):
    path = folder / f"{rig}.yaml"
    path.write_text(f"rig: {rig}\nevents:\n" + "".join(f"  - {{{event}}}\n" for event in events))
    return load(path, Rig)


def gains(rig, *days):
    """Torque gain in effect on days of 2026, None for none."""
    found = ({c.quantity: c.value for c in in_effect(rig, datetime.date.fromisoformat(f"2026-{day}"))} for day in days)
    return [one.get("torque_gain") for one in found]


def test_a_figure_holds_from_its_date_on_or_from_back_to_or_up_to_until(tmp_path):
    rig = rig_of(tmp_path, f"{FOUND}, torque_gain: 1.012")
    assert gains(rig, "03-09", "03-10", "12-31") == [None, 1.012, 1.012]
    rig = rig_of(tmp_path, f"{FOUND}, torque_gain: 1.012, back_to: 2026-02-01")
    assert gains(rig, "01-31", "02-01", "03-10", "12-31") == [None, 1.012, 1.012, 1.012]
    rig = rig_of(tmp_path, f"{FOUND}, torque_gain: 1.012, back_to: 2026-02-01, until: 2026-03-10")
    assert gains(rig, "02-01", "03-09", "03-10") == [1.012, 1.012, None]


def test_a_later_event_takes_over_from_its_own_beginning_on(tmp_path):
    first = "date: 2026-01-10, what: calibration, torque_gain: 1.012, pressure_zero: {value: -1 psi, u: 0.2 psi}"
    rig = rig_of(tmp_path, f"{FOUND}, torque_gain: 0.995, back_to: 2026-02-01, until: 2026-03-12", first)
    assert gains(rig, "01-31", "02-01", "03-12", "06-01") == [1.012, 0.995, None, None]
    (zero,) = (c for c in in_effect(rig, datetime.date(2026, 4, 1)) if c.quantity == "pressure_zero")
    assert (zero.value, zero.u) == (pytest.approx(-6894.757), pytest.approx(1378.951))
    assert zero.later == ("calibration 2026-03-10",)


def test_as_found_and_as_left_of_one_day_do_not_contradict(tmp_path):
    rig = rig_of(
        tmp_path, f"{FOUND}, torque_gain: 1.012, back_to: 2026-02-01, until: 2026-03-10", f"{FOUND}, torque_gain: 1.001"
    )
    assert gains(rig, "03-09", "03-10") == [1.012, 1.001]


@pytest.mark.parametrize(
    ("events", "said"),
    [
        ((f"{FOUND}, torque_gain: 0",), "events.entry 1.torque_gain.value: 0 is no gain"),
        ((f"{FOUND}, torque_gain: -1.01",), "events.entry 1.torque_gain.value: -1.01 is no gain"),
        ((f"{FOUND}, torque_gain: 1012",), "events.entry 1.torque_gain.value: 1012 is no gain"),
        ((f"{FOUND}, torque_gain: 1.2 %",), "'1.2 %' is not a number"),
        ((f"{FOUND}, torque_gain: {{value: 1.01, u: -0.1}}",), "must not be negative"),
        ((f"{FOUND}, pressure_zero: 0.1",), "a unit is missing"),
        ((f"{FOUND}, torque_gian: 1.01",), "torque_gian: unknown key; nearest known key: torque_gain"),
        ((f"{FOUND}, torque_gain: {{value: 1.01, k: 2}}",), "k: unknown key"),
        ((f"{FOUND}, torque_gain: 1.01, pressure_gain: 1.02, u: 0.01",), "u of which figure?"),
        ((f"{FOUND}, back_to: 2026-02-01",), "this event states none"),
        ((f"{FOUND}, torque_gain: 1.01, back_to: 2026-04-01",), "is after the event's date"),
        ((f"{FOUND}, torque_gain: 1.01, until: 2026-03-10",), "until: 2026-03-10 is not after"),
        ((f"{FOUND}, torque_gain: 1.01", f"{FOUND}, torque_gain: 1.02"), "different values of torque_gain"),
        (
            ("date: 2026-02-01, what: calibration, torque_gain: 1.01", f"{FOUND}, torque_gain: 1.02, back_to: 2026-01-01"),
            "events of 2026-02-01 and 2026-03-10 state different values of torque_gain for the same days",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_meant_is_refused_with_its_place(tmp_path, events, said):
    with pytest.raises(InputError) as error:
        rig_of(tmp_path, *events)
    assert str(error.value).startswith("north.yaml: ") and said in str(error.value)


def test_a_test_depends_on_the_calibrations_of_its_own_rig_and_date_alone(tmp_path):
    for test, rig, date in (("a", "north", "2026-03-02"), ("b", "north", "2026-04-02"), ("c", "south", "2026-04-02")):
        write_card(tmp_path / "archive" / test, {**card(), "rig": rig, "date": date})
    (tmp_path / "rigs").mkdir()
    (tmp_path / "methods").mkdir()
    (tmp_path / "methods" / "plain.yaml").write_text("")
    (tmp_path / "methods" / "raw.yaml").write_text("conditioning: {calibrations: false}\n")
    config = tmp_path / "config.yaml"
    config.write_text(
        "archive: archive\nresults: results\nmethods: [methods/plain.yaml, methods/raw.yaml]\nrigs: rigs/*.yaml\n"
    )

    def seen(north, south=""):
        rig_of(tmp_path / "rigs", f"{FOUND}{north}")
        rig_of(tmp_path / "rigs", f"{FOUND}{south}", rig="south")
        load_run.cache_clear()
        run = load_run(config)
        assert all(run.calibrations("raw", test) == run.rig("raw", test) == "" for test in "abc")
        assert all(bool(run.rig("plain", test)) == bool(run.calibrations("plain", test)) for test in "abc")
        return [run.calibrations("plain", test) for test in "abc"]

    assert seen("") == ["", "", ""]
    one = seen(", torque_gain: 1.012")
    assert one[0] == one[2] == "" and "1.012" in one[1]
    assert seen(", torque_gain: 1.012, note: by the maker") == one
    other = seen(", torque_gain: 1.012", ", pressure_gain: 0.99")
    assert other[:2] == one[:2] and "0.99" in other[2]
    assert seen(", torque_gain: 1.013")[1] != one[1]
    north = tmp_path / "rigs" / "north.yaml"
    for broken in (f"rig: north\nevents: [{{{FOUND}, torque_gain: 0}}]", "rig: north\nevents: [\n"):
        north.write_text(broken)
        load_run.cache_clear()
        run = load_run(config)
        assert [run.rig("plain", test) for test in "ab"] == ["", ""]
        assert run.uncorrected("plain", "a").startswith("north.yaml: ") and run.calibrations("plain", "a")
        assert run.uncorrected("plain", "c") == run.uncorrected("raw", "a") == run.calibrations("raw", "a") == ""
