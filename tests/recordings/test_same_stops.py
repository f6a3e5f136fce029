"""One invented test written in other units, clocks and formats: the same stops come out, through ingest and reduction."""

import datetime
import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
import yaml
from polars.testing import assert_frame_equal

from tests.hostile.base import COLUMNS, simulated, write_base
from tests.hostile.chain import METHOD, to_stops

Samples = dict[int, pl.DataFrame]


def stops_of(folder: Path) -> pl.DataFrame:
    results = folder.parent / f"{folder.name}.results"
    to_stops(folder, results)
    return pl.read_parquet(results / METHOD / "tests" / folder.name / "stops.parquet")


def changed(folder: Path, change: Callable[[dict[str, Any]], None]) -> None:
    """The folder's card with a change."""
    card = yaml.safe_load((folder / "test.yaml").read_text())
    change(card)
    (folder / "test.yaml").write_text(yaml.safe_dump(card, sort_keys=False, allow_unicode=True), encoding="utf-8")


def recordings() -> Samples:
    """The test's samples by recording, columns t, n, Mb, p, T1 in s, rpm, N m, bar, degC; times to the microsecond, so that
    fifteen digits of a workbook are the same number."""
    parts = simulated().samples.partition_by("recording", as_dict=True)
    named = [pl.col(c).alias(n).round(6) if n == "t" else pl.col(c).alias(n) for n, c in COLUMNS.items()]
    return {int(number): rows.select(named) for (number,), rows in parts.items()}


def rewritten(folder: Path, write: Callable[[Path, pl.DataFrame], None], suffix: str = ".csv") -> None:
    """Each recording anew, as `write` writes it."""
    for old in (folder / "recordings").iterdir():
        old.unlink()
    for number, rows in recordings().items():
        write(folder / "recordings" / f"stop_{number:03d}{suffix}", rows)


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    folder = write_base(tmp_path_factory.mktemp("plain"), "delimited", "t")
    rewritten(folder, lambda path, rows: rows.write_csv(path))
    stops = stops_of(folder)
    assert stops.height == 11 and set(stops["status"]) == {"ok"}
    return stops


def assert_same(stops: pl.DataFrame, plain: pl.DataFrame, *, but: tuple[str, ...] = (), rel: float = 1e-9) -> None:
    left, right = (frame.drop("file", *but) for frame in (stops, plain))
    assert_frame_equal(left, right, rel_tol=rel, abs_tol=1e-9)


def test_the_last_digit_of_a_time_moves_no_figure(tmp_path, plain):
    """Windows of 0.1 s at 50 Hz end on a sample: it counts or not, whatever the times' last digits are. One unit of the 17th digit, up,
    down or none, and the clock's own sums instead of round microseconds."""
    chance = np.random.default_rng(1)

    def write(path, rows):
        t = rows["t"].to_numpy()
        moved = np.nextafter(t, t + chance.choice([-1.0, 0.0, 1.0], t.size))
        rows.with_columns(pl.Series("t", moved)).write_csv(path)

    folder = write_base(tmp_path, "delimited", "t")
    rewritten(folder, write)
    assert_same(stops_of(folder), plain, rel=1e-7)


def test_trade_units_and_decimal_commas_give_the_same_stops(tmp_path, plain):
    folder = write_base(tmp_path, "delimited", "t")
    scaled = {"p": 14.5037737730, "Mb": 0.1, "T1": 1.0, "n": 1.0, "t": 1.0}  # psi, daN m

    def write(path, rows):
        rows.select(pl.col(n) * scaled[n] for n in rows.columns).write_csv(path, separator=";", decimal_comma=True)

    def change(card):
        channels = card["recordings"]["channels"]
        for name, unit in {
            "pressure": "PSI",
            "torque": "daNm",
            "speed": "U/min",
            "disc_temperature": "°C",
            "time": "sec",
        }.items():
            channels[name]["unit"] = unit
        card["recordings"] |= {"delimiter": ";", "decimal": ","}
        number, unit = card["inertia"].split(" ", 1)
        assert unit == "kg m^2"
        card["inertia"] = number.replace(".", ",") + (",0 kgm²" if "." not in number else " kgm²")
        area = card["brake"]["pad_area"].split()
        card["brake"]["pad_area"] = f"{float(area[0]):.1f} cm²".replace(".", ",")

    rewritten(folder, write)
    changed(folder, change)
    assert_same(stops_of(folder), plain, rel=1e-7)


RADIUS = 0.31


@pytest.mark.parametrize(("unit", "size"), [("km/h", 1 / 3.6), ("m/s", 1.0), ("mph", 0.44704)])  # mph: NIST SP 811, B.8
def test_a_linear_speed_is_the_shafts_by_the_rolling_radius(tmp_path, plain, unit, size):
    folder = write_base(tmp_path, "delimited", "t")
    per_rpm = 2 * math.pi / 60 * RADIUS / size

    def change(card):
        card["recordings"]["channels"]["speed"]["unit"] = unit
        card["rolling_radius"] = f"{RADIUS * 1000:.0f} mm"

    rewritten(folder, lambda path, rows: rows.with_columns(pl.col("n") * per_rpm).write_csv(path))
    changed(folder, change)
    assert_same(stops_of(folder), plain, but=("deceleration_mps2",), rel=1e-6)


def test_a_linear_speed_in_another_linear_unit_is_named(tmp_path):
    """Values in mph under the label km/h: every stop's speed is 0.62 of the schedule's."""
    folder = write_base(tmp_path, "delimited", "t")
    per_rpm = 2 * math.pi / 60 * RADIUS / 0.44704

    def change(card):
        card["recordings"]["channels"]["speed"]["unit"] = "km/h"
        card["rolling_radius"] = f"{RADIUS * 1000:.0f} mm"

    rewritten(folder, lambda path, rows: rows.with_columns(pl.col("n") * per_rpm).write_csv(path))
    changed(folder, change)
    stops_of(folder)
    found = json.loads((folder.parent / "t.results" / METHOD / "tests" / "t" / "stops_findings.json").read_text())
    slips = [f for f in found["findings"] if f["code"] == "unit_slip" and f["stop"] is None]
    assert [f["channel"] for f in slips] == ["speed"] and "mph labelled km/h" in slips[0]["message"]


MORNING = datetime.datetime(2026, 3, 2, 7, 20)


def _stamps(rows: pl.DataFrame) -> pl.Series:
    offset = int(MORNING.replace(tzinfo=datetime.UTC).timestamp() * 1e6)
    return pl.Series("t", (rows["t"] * 1e6).round().cast(pl.Int64) + offset).cast(pl.Datetime("us"))


@pytest.fixture(scope="module")
def since_midnight(tmp_path_factory):
    """The stops of the test whose times are written in seconds of the day, to the microsecond."""
    folder = write_base(tmp_path_factory.mktemp("midnight"), "delimited", "t")
    seconds = (pl.col("t") * 1e6).round() / 1e6 + 26400.0
    rewritten(folder, lambda path, rows: rows.with_columns(seconds.round(6)).write_csv(path))
    return stops_of(folder)


@pytest.mark.parametrize(
    "form",
    [
        "time of day",
        "parquet with zone",
        *(pytest.param(form, marks=pytest.mark.heavy) for form in ("text", "parquet")),
    ],
)
def test_timestamps_give_the_same_stops_and_the_clock_runs_through(tmp_path, since_midnight, form):
    folder = write_base(tmp_path, "delimited", "t")
    text = "parquet" not in form

    def write(path, rows):
        stamped = rows.with_columns(_stamps(rows))
        if text:
            stamped.write_csv(path, datetime_format="%H:%M:%S%.6f" if "day" in form else "%Y-%m-%dT%H:%M:%S%.6f")
        else:
            zone = pl.col("t").dt.replace_time_zone("UTC") if "zone" in form else pl.col("t")
            stamped.with_columns(zone).write_parquet(path)

    def change(card):
        card["recordings"]["channels"]["time"]["unit"] = "timestamp"
        if not text:
            card["recordings"] |= {"files": "recordings/*.parquet", "format": "parquet"}

    rewritten(folder, write, ".csv" if text else ".parquet")
    changed(folder, change)
    assert_same(stops_of(folder), since_midnight)


def test_timestamps_of_tdms_are_the_clock_too(tmp_path, since_midnight):
    from nptdms import ChannelObject, TdmsWriter

    folder = write_base(tmp_path, "tdms", "t")

    def write(path, rows):
        stamped = rows.with_columns(_stamps(rows))
        with TdmsWriter(path) as file:
            file.write_segment([ChannelObject("rig", n, stamped[n].to_numpy()) for n in stamped.columns])

    rewritten(folder, write, ".tdms")
    changed(folder, lambda card: card["recordings"]["channels"]["time"].update(unit="timestamp"))
    assert_same(stops_of(folder), since_midnight, rel=1e-5)


def _xlsx(path: Path, rows: pl.DataFrame) -> None:
    import openpyxl

    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet("Stop")
    for row in (rows.columns, *rows.iter_rows()):
        sheet.append(list(row))
    book.save(path)


def _hdf5(path: Path, rows: pl.DataFrame) -> None:
    import h5py

    with h5py.File(path, "w") as file:
        for name in rows.columns:
            file[name] = rows[name].to_numpy()


@pytest.mark.parametrize(("form", "write"), [("xlsx", _xlsx), ("hdf5", _hdf5)])
def test_workbooks_and_hdf5_give_the_same_stops(tmp_path, plain, form, write):
    folder = write_base(tmp_path, "delimited", "t")
    rewritten(folder, write, f".{form}")
    changed(folder, lambda card: card["recordings"].update(files=f"recordings/*.{form}", format=form))
    assert_same(stops_of(folder), plain)
