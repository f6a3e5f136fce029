"""Pad, surface, ambient and caliper temperatures in a wrong unit: found where something contradicts them, else said."""

import polars as pl
import pytest

from tests.stops.makers import Rig, reduce, write_test
from tests.stops.test_levels import APPS, ZERO, all_and_ten

PAIRS = [(a, b) for a in ZERO for b in ZERO if a != b]


def with_channel(tmp_path, name, true_c, actual, labelled, stops=range(24)):
    """The test with a further channel whose true temperature is true_c(disc in degC)."""
    (a, b), (c, d) = ZERO[actual], ZERO[labelled]

    def change(i, channels):
        kelvin = true_c(channels["disc_temperature"] - 273.15) + 273.15
        read = c * (kelvin - b) / a + d if i in stops else kelvin
        return channels | {name: read}

    write_test(tmp_path, APPS, Rig(), change=change, more={name: labelled})
    return reduce(tmp_path)


def told(found):
    return [f for f in found.findings if f["severity"] != "info"]


@pytest.mark.parametrize(("actual", "labelled", "stops"), all_and_ten(PAIRS, lambda pair: None))
def test_the_air_and_a_pyrometer_in_a_wrong_unit_are_named(tmp_path, actual, labelled, stops):
    for name, true_c in (
        ("ambient_temperature", lambda disc: 0 * disc + 24),
        ("surface_temperature", lambda disc: 1.04 * disc),
    ):
        (tmp_path / name).mkdir()
        (found,) = told(with_channel(tmp_path / name, name, true_c, actual, labelled, stops))
        assert (found["code"], found["channel"], found["stop"]) == ("unit_slip", name, None)
        assert f"in {actual} labelled {labelled}" in found["message"]


@pytest.mark.parametrize(
    "name", ["pad_temperature", "caliper_temperature", "ambient_temperature", "surface_temperature"]
)
def test_a_sound_channel_is_silent_and_says_which_units_it_cannot_be_told_from(tmp_path, name):
    shares = {"pad": 0.35, "caliper": 0.15, "ambient": 0.0, "surface": 1.0}
    share = shares[name.split("_")[0]]
    found = with_channel(tmp_path, name, lambda disc: 24 + share * (disc - 24), "degC", "degC")
    assert told(found) == []
    (row,) = [row for row in found.summary["units"] if row["channel"] == name]
    assert row["unit"] == "degC" and row["vouched_by"]
    assert bool(row["why"]) == bool(row["not_verifiable"])
    if name == "pad_temperature":
        assert row["not_verifiable"] == ["degF"]
    assert found.stops["status"].to_list() == ["ok"] * 24


def test_a_further_channel_that_is_called_a_temperature_and_is_none_is_left_alone(tmp_path):
    write_test(tmp_path, APPS, Rig(), change=lambda i, channels: channels | {"oil_temperature_flag": 0 * channels["time"]},
               more={"oil_temperature_flag": ""})  # fmt: skip
    found = reduce(tmp_path)
    assert found.stops["status"].to_list() == ["ok"] * 24
    assert "oil_temperature_flag" not in [row["channel"] for row in found.summary["units"]]


def test_a_slip_of_a_pad_is_either_named_or_stands_as_not_verifiable(tmp_path):
    for actual, labelled in PAIRS:
        folder = tmp_path / f"{actual}-{labelled}"
        folder.mkdir()
        found = with_channel(folder, "pad_temperature", lambda disc: 24 + 0.35 * (disc - 24), actual, labelled)
        (row,) = [row for row in found.summary["units"] if row["channel"] == "pad_temperature"]
        named = [c["cause"] for f in told(found) for c in f["evidence"]["candidates"]]
        cause = f"pad temperature in {actual} labelled {labelled}"
        assert cause in named or (named == [] and actual in row["not_verifiable"])
        assert pl.Series(found.stops["status"]).unique().to_list() == ["ok"]
