"""Timestamps: to the microsecond whatever the notation; midnight passed; a clock that was set is told."""

import datetime

import numpy as np
import polars as pl
import pytest

from pipeline.recordings.timestamps import parsed
from tests.recordings.makers import card, ingested, samples, write_card, written

START = datetime.datetime(2026, 3, 2, 14, 5, 9, 250000)


@pytest.mark.parametrize(
    ("text", "kind", "utc"),
    [
        ("2026-03-02T14:05:09.250001", "local", START.replace(microsecond=250001)),
        ("2026-03-02 14:05:09,250001", "local", START.replace(microsecond=250001)),
        ("2026-03-02T14:05:09.25Z", "zoned", START),
        ("2026-03-02T14:05:09.25+02:00", "zoned", START - datetime.timedelta(hours=2)),
        ("2026-03-02T14:05:09.250000999-0530", "zoned", START + datetime.timedelta(hours=5, minutes=30)),
        ("2026-03-02T14:05:09.25+02", "zoned", START - datetime.timedelta(hours=2)),
        ("2026-03-02T14:05", "local", START.replace(second=9 - 9, microsecond=0)),
        ("14:05:09.25", "time of day", START.replace(year=1970, month=1, day=1)),
        ("T14:05:09,25", "time of day", START.replace(year=1970, month=1, day=1)),
        ("2:05:09.25 PM", "time of day", START.replace(year=1970, month=1, day=1)),
        ("02:05:09,25pm", "time of day", START.replace(year=1970, month=1, day=1)),
        ("2026-03-02 2:05:09.25 p.m.", "local", START),
        ("2026-03-02T12:05:09.25 AM", "local", START.replace(hour=0)),
        ("9:05:09.25", "time of day", START.replace(year=1970, month=1, day=1, hour=9)),
    ],
)
def test_what_iso_8601_writes_is_read_to_the_microsecond(text, kind, utc):
    values, bad, found = parsed(pl.Series([text]), None)
    assert found == kind and not bad.any()
    assert values[0] == (utc - datetime.datetime(1970, 1, 1)) // datetime.timedelta(microseconds=1)


@pytest.mark.parametrize(
    "text",
    ["02.03.2026 14:05:09", "03/02/2026 14:05:09", "2026-02-30T14:05:09", "2026-03-02T24:05:09", "14:65:09", "12.5", "2026-03-02",
     "14:05:09+02:00", "14:05:09 PM", "0:05:09 am"],
)  # fmt: skip
def test_what_may_mean_two_days_or_none_is_no_timestamp(text):
    values, bad, _ = parsed(pl.Series([text]), None)
    assert bad[0] and np.isnan(values[0])


@pytest.mark.parametrize(
    ("text", "dates", "utc"),
    [
        ("02.03.2026 14:05:09,25", "day_first", START),
        ("2.3.26 14:05:09.25", "day_first", START),
        ("02-03-2026, 14:05:09,250", "day_first", START),
        ("02/03/2026T14:05", "day_first", START.replace(second=0, microsecond=0)),
        ("3/2/2026 2:05:09.25 PM", "month_first", START),
        ("03/02/26 2:05:09 p.m.", "month_first", START.replace(microsecond=0)),
        ("3/2/2026 12:05:09 AM", "month_first", START.replace(hour=0, microsecond=0)),
        ("3/2/2026 12:05:09 pm", "month_first", START.replace(hour=12, microsecond=0)),
        ("3/2/1970 14:05:09.25", "month_first", START.replace(year=1970)),
        ("3/2/70 14:05:09.25", "month_first", START.replace(year=1970)),
        ("2026-03-02 14:05:09.25", "day_first", START),
    ],
)
def test_dates_with_the_day_or_the_month_first_are_read_where_the_card_says_which(text, dates, utc):
    values, bad, found = parsed(pl.Series([text, None]), None, dates)
    assert found == "local" and not bad.any() and values[1] is None
    assert values[0] == (utc - datetime.datetime(1970, 1, 1)) // datetime.timedelta(microseconds=1)


@pytest.mark.parametrize(
    "text",
    [
        "13/02/2026 14:05:09",
        "3/2/2026 14:05:09 PM",
        "3/2/2026 0:05:09 AM",
        "3/2/2026",
        "2/30/2026 14:05:09",
        "3/2/026 14:05:09",
        "3/2/2026 24:05",
    ],
)
def test_what_is_no_date_of_that_order_is_no_timestamp(text):
    values, bad, _ = parsed(pl.Series([text]), None, "month_first")
    assert bad[0] and np.isnan(values[0])


def test_a_recording_has_one_kind_of_timestamp():
    _, bad, kind = parsed(pl.Series(["2026-03-02T14:05:09Z", "2026-03-02T14:05:10", None]), None)
    assert kind == "zoned" and bad.to_list() == [False, True, False]


def stamped(folder, starts, form="%Y-%m-%dT%H:%M:%S.%f", leap=None):
    """A test with a recording from each start on; leap: (row, timedelta) by which a clock is set within the first."""
    content = card()
    content["recordings"]["channels"]["time"]["unit"] = "timestamp"
    write_card(folder, content)
    for number, start in enumerate(starts, start=1):
        columns = samples(number)
        times = [start + datetime.timedelta(microseconds=round(1e6 * (t - 100.0 * number))) for t in columns["time"]]
        if leap and number == 1:
            times = [t + leap[1] * (row >= leap[0]) for row, t in enumerate(times)]
        rows = pl.DataFrame({"t": [t.strftime(form) for t in times], "n": columns["speed"], "Mb": columns["torque"],
                             "p": columns["pressure"], "T1": columns["disc_temperature"]})  # fmt: skip
        written(folder, f"{number}.csv", rows.write_csv().encode())
    return folder


def at(hour, minute=0, *, day=2, month=3, second=0):
    return datetime.datetime(2026, month, day, hour, minute, second)


def clock_findings(record):
    return [
        (f["severity"], f["evidence"]["leap_s"], f["file"]) for f in record["findings"] if f["code"] == "clock_changed"
    ]


def test_dates_and_times_run_through_over_files(tmp_path):
    table, record = ingested(stamped(tmp_path / "t", [at(23, 59), at(0, 30, day=3), at(9, day=3)]), tmp_path / "out")
    assert record["clock_from"] == "2026-03-02T00:00:00"
    firsts = [r["first_time"] for r in record["recordings"]]
    assert firsts == [86340.0, 88200.0, 118800.0] and clock_findings(record) == []
    own = table.filter(pl.col("recording") == 2)["time"].to_numpy()
    assert np.abs(own - 88200.0 - (samples(2)["time"] - 200.0)).max() < 1e-6


def test_times_of_day_gain_a_day_at_midnight_in_a_file_and_between(tmp_path):
    starts = [
        at(23, 59, second=57),
        at(0, 30),
        at(9),
        at(8, second=10),
    ]  # the last was set back by an hour
    table, record = ingested(stamped(tmp_path / "t", starts, "%H:%M:%S.%f"), tmp_path / "out")
    firsts = [r["first_time"] for r in record["recordings"]]
    assert firsts == [86397.0, 88200.0, 118800.0, 115210.0]
    time = table.filter(pl.col("recording") == 1)["time"].to_numpy()
    assert np.allclose(np.diff(time), 0.01, atol=1e-6) and time[-1] > 86400
    assert [(s, f) for s, _, f in clock_findings(record)] == [("suspect", "recordings/4.csv")]


@pytest.mark.parametrize(("hours", "told"), [(-1, True), (1, True), (0.5, True), (0.2, False)])
def test_a_clock_that_is_set_within_a_recording_is_told(tmp_path, hours, told):
    leap = (30, datetime.timedelta(hours=hours))
    _, record = ingested(stamped(tmp_path / "t", [at(10), at(15)], leap=leap), tmp_path / "out")
    found = clock_findings(record)
    assert bool(found) == told
    if told:
        assert found[0][1] == pytest.approx(3600 * hours + 0.01, abs=1e-3) and found[0][2] == "recordings/1.csv"


def test_a_night_of_summer_time_between_recordings_without_zone_is_told(tmp_path):
    """29 March 2026 is the last Sunday of March."""
    starts = [at(23, day=28), at(4, day=29)]
    _, record = ingested(stamped(tmp_path / "local", starts), tmp_path / "a")
    _, zoned = ingested(stamped(tmp_path / "zoned", starts, "%Y-%m-%dT%H:%M:%S.%f+00:00"), tmp_path / "b")
    assert [(s, f) for s, _, f in clock_findings(record)] == [("info", "recordings/2.csv")]
    assert clock_findings(zoned) == [] and zoned["clock_from"] == "2026-03-28T00:00:00Z"


def test_timestamps_that_are_not_iso_say_what_is_read(tmp_path):
    _, record = ingested(stamped(tmp_path / "t", [at(10)], "%d.%m.%Y %H:%M:%S"), tmp_path / "out")
    assert "say by dates: day_first or month_first beside unit: timestamp" in record["unusable"]
    _, record = ingested(stamped(tmp_path / "u", [at(10)], "%H.%M:%S"), tmp_path / "further")
    assert "ISO 8601" in record["unusable"] and "2026-03-02T14:05:09.25" in record["unusable"]
