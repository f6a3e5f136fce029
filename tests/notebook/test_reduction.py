"""Tests and stops in memory: equal to the stages', errors as one exception, nothing left behind."""

from __future__ import annotations

import gc
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl
import pytest

import pipeline
from pipeline import InputError, drift_verdict, friction_map, read_test, reduce, stop_samples, wear_laws
from tests.recordings.makers import write_card, written
from tests.recordings.test_summary import ROWS, summary_card
from tests.stops import makers
from tests.stops.makers import Application, Rig, write_test

APPS = [Application(pressure=p, block=f"map {p}") for p in (15, 30, 50)]
RAISED = "torque_gain: {value: 1.012, u: 0.3 %}"


def archived(base: Path, apps: list[Application] = APPS, rig: Rig | None = None, **how: object) -> Path:
    """The folder of a test with its recordings as files, and beside it what the stages before would hand over."""
    folder, _ = write_test(base, apps, rig or Rig(), **how)
    channels = pl.read_parquet(base / f"{folder.name}.parquet")
    (folder / "recordings").mkdir()
    for (number,), rows in channels.group_by("recording", maintain_order=True):
        rows.select(
            t="time",
            n=pl.col("speed") / makers.RPM,
            Mb="torque",
            p=pl.col("pressure") / 1e5,
            T1=pl.col("disc_temperature") - 273.15,
        ).write_csv(folder / "recordings" / f"stop_{number:03d}.csv")
    return folder


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return archived(tmp_path_factory.mktemp("archive"))


@pytest.fixture(scope="module")
def reduced(folder: Path) -> pipeline.Reduced:
    return reduce(read_test(folder))


def state(folder: Path) -> dict[Path, tuple[int, int]]:
    return {path: (path.stat().st_size, path.stat().st_mtime_ns) for path in folder.rglob("*")}


def test_recordings_and_their_samples_are_those_of_the_files(folder: Path) -> None:
    test = read_test(folder)
    assert test.recordings["file"].to_list() == [f"recordings/stop_00{n}.csv" for n in (1, 2, 3)]
    written = pl.read_csv(folder / "recordings" / "stop_002.csv")
    for key in (2, "recordings/stop_002.csv", "stop_002.csv"):
        samples = test.samples(key)
        for ours, theirs in (("speed_rpm", "n"), ("pressure_bar", "p"), ("disc_temperature_c", "T1"), ("time_s", "t")):
            assert samples[ours].to_list() == pytest.approx(written[theirs].to_list(), rel=1e-12), ours
    with pytest.raises(InputError, match=r"no recording 9 was read; there are 1 recordings/stop_001.csv"):
        test.samples(9)


def test_what_a_notebook_shows_of_them_is_one_line(folder: Path, reduced: pipeline.Reduced) -> None:
    assert repr(read_test(folder)) == "<test t1: Marram 4, batch M4-9901, specimen A, 2026-03-02; 3 recordings>"
    assert repr(read_test(folder, only=[2])).endswith("; 1 recording of it read>")
    assert repr(reduced).startswith("<t1 reduced: 3 stops ok, 0 suspect, 0 rejected; ")


def test_traces_are_the_samples_of_the_stops_thinned(reduced: pipeline.Reduced) -> None:
    """One code path: what is drawn of a stop at its full rate is what its row in the tables was made of."""
    for stop in (1, 3):
        samples = stop_samples(reduced, stop)
        trace = reduced.traces.filter(pl.col("stop") == stop)
        at = np.searchsorted(samples["time_s"].to_numpy(), trace["time_s"].to_numpy())
        rows = samples[at]
        for name in ("time_s", "speed_rpm", "torque_nm", "pressure_bar", "disc_temperature_c"):
            assert rows[name].to_list() == trace[name].to_list(), name
        inside = trace["mu"].is_not_null()
        assert rows.filter(inside)["mu"].to_list() == trace.filter(inside)["mu"].to_list()
        assert rows["in_window"].to_list() == inside.to_list()
        assert samples["time_s"][0] == pytest.approx(-1, abs=0.1)


def test_stops_of_a_series_are_those_of_its_one_recording(tmp_path: Path) -> None:
    found = reduce(read_test(archived(tmp_path, series=True)))
    assert found.stops["recording"].to_list() == [1, 1, 1]
    for stop, row in enumerate(found.stops.iter_rows(named=True), start=1):
        samples = stop_samples(found, stop)
        used = samples.filter(pl.col("in_window"))
        assert used["time_s"][-1] == pytest.approx(row["window_end_s"], abs=0.02)
        weights = used["speed_rpm"].to_numpy()  # the mean over distance, of even samples
        assert np.average(used["mu"].to_numpy(), weights=weights) == pytest.approx(row["mu_distance"], rel=1e-3)


def test_a_table_of_reduced_rows_is_taken_over_and_has_no_samples(tmp_path: Path) -> None:
    folder = write_card(tmp_path / "old", summary_card())
    written(folder, "old.csv", ROWS.encode())
    test = read_test(folder)
    found = reduce(test)
    assert found.stops["mu"].to_list() == [0.42, 0.41, None] == test.samples(1)["mu"].to_list()
    assert found.summary.reprocessable is False
    with pytest.raises(InputError, match=r"^old: only reduced rows were kept of this test: it has no samples"):
        stop_samples(found, 1)
    with pytest.raises(InputError, match="no recordings to choose from"):
        read_test(folder, only=[1])


def test_raw_torque_is_that_of_the_recording(reduced: pipeline.Reduced) -> None:
    samples, row = stop_samples(reduced, 2), reduced.stops.row(1, named=True)
    recorded = reduced.test.samples(2)
    at = recorded["time_s"].to_numpy() - row["start_s"]
    same = recorded.filter(pl.Series((at >= samples["time_s"][0] - 1e-9) & (at <= samples["time_s"][-1] + 1e-9)))
    assert same["torque_nm"].to_list() == samples["torque_recorded_nm"].to_list()
    assert same["pressure_bar"].to_list() == pytest.approx(samples["pressure_recorded_bar"].to_list(), rel=1e-12)


def test_a_rigs_calibration_is_applied_where_its_file_is_given(tmp_path: Path) -> None:
    folder = archived(tmp_path, rig=Rig(torque_gain=1.012))
    north = tmp_path / "north.yaml"
    north.write_text(f"rig: north\nevents: [{{date: 2026-02-20, what: calibration, {RAISED}}}]\n")
    test = read_test(folder)
    bare, true = reduce(test), reduce(test, rig=north)
    staged = makers.reduce(tmp_path, rig=north)
    assert true.stops["mu"].to_list() == pytest.approx(staged.stops["mu"].to_list(), rel=1e-9)
    assert (bare.stops["mu"] / true.stops["mu"]).to_list() == pytest.approx([1.012] * 3, rel=2e-3)
    assert [one.code for one in true.found].count("calibration_applied") == 1
    ratio = stop_samples(bare, 1)["torque_recorded_nm"] / stop_samples(true, 1)["torque_recorded_nm"]
    assert ratio.to_list() == pytest.approx([1.012] * ratio.len())


def test_one_recording_alone_gives_its_stop_within_its_uncertainty(folder: Path, reduced: pipeline.Reduced) -> None:
    alone = reduce(read_test(folder, only=["stop_002.csv"]))
    (row,), whole = alone.stops.to_dicts(), reduced.stops.row(1, named=True)
    assert row["file"] == whole["file"] and row["block"] == whole["block"] and row["stop"] == 1
    assert row["recording"] == whole["recording"] == 2
    assert abs(row["mu"] - whole["mu"]) < 2 * row["mu_u_stop"]
    assert row["mu_u"] == pytest.approx(whole["mu_u"], rel=0.2)
    assert not alone.summary.missing and "stop_missing" not in alone.findings["code"].to_list()


@pytest.mark.parametrize(
    ("of", "said"), [(wear_laws, "wear is that of all stops"), (drift_verdict, "order and the pauses")]
)
def test_what_needs_all_stops_is_refused_of_some(folder: Path, of: object, said: str) -> None:
    some = reduce(read_test(folder, only=[1, 2]))
    assert some.stops.height == 2
    with pytest.raises(InputError, match=rf"^t1: only some of its recordings were read, and .*{said}.*without `only`"):
        of(some)  # type: ignore[operator]


def test_nothing_is_written_but_a_copy_that_goes_with_the_test(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    before = state(folder)
    test = read_test(folder)
    found = reduce(test)
    friction_map(found)
    assert len(list(tmp_path.rglob("*.parquet"))) == 1
    del test, found
    gc.collect()
    assert list(tmp_path.iterdir()) == [] and state(folder) == before


@dataclass(frozen=True)
class Wrong:
    """An edit of test.yaml, and what the message must have."""

    old: str
    new: str
    said: tuple[str, ...]


@pytest.mark.parametrize(
    "wrong",
    [
        Wrong("compound: Marram 4", "compuond: Marram 4", ("compuond: unknown key; nearest known key: compound",)),
        Wrong("recordings/*.csv", "records/*.csv", ("recordings.files: 'records/*.csv' matches no file",)),
        Wrong("{column: Mb", "{column: torque", ("none of 3 recordings can be read", "torque")),
        Wrong("inertia: 22 kg m^2", "inertia: 22 kg", ("inertia: ", "kg m^2")),
    ],
)
def test_a_wrong_card_is_one_exception_in_the_words_of_the_command_line(tmp_path: Path, wrong: Wrong) -> None:
    folder = archived(tmp_path)
    card = folder / "test.yaml"
    text = card.read_text()
    assert wrong.old in text
    card.write_text(text.replace(wrong.old, wrong.new))
    with pytest.raises(InputError) as raised:
        read_test(folder)
    assert all(words in str(raised.value) for words in ("t1: ", *wrong.said))
    assert "\n" not in str(raised.value)
    from pipeline.recordings import stage
    from pipeline.results.model import read
    from pipeline.results.record import Record

    stage.run(folder, tmp_path / "c.parquet", tmp_path / "c.json")
    assert str(raised.value) == f"t1: {read(tmp_path / 'c.json', Record).unusable}"
    assert not list(Path(tmp_path).rglob("stopsheet-*"))


def test_a_test_without_a_braking_is_one_exception(tmp_path: Path) -> None:
    folder = archived(tmp_path)
    for path in (folder / "recordings").iterdir():
        pl.read_csv(path).with_columns(p=pl.lit(0.1)).write_csv(path)
    test = read_test(folder)
    found = reduce(test)
    assert found.stops["status"].to_list() == ["rejected"] * 3
    with pytest.raises(InputError, match="stop 2: pressure never passes the on-threshold"):
        stop_samples(found, 2)
    with pytest.raises(InputError, match="there is no stop 4; the test has 3 brake applications"):
        stop_samples(found, 4)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda here: read_test(here / "nowhere"), "no such folder; give the folder of a test"),
        (lambda here: pipeline.read_method(here / "nope.yaml"), "nope.yaml: is not there"),
        (lambda here: pipeline.read_results(here), "holds no method's results"),
        (lambda here: read_test(here / "t1", only=["x.csv"]), "no recording 'x.csv'; the test has 3, numbered from 1"),
        (lambda here: reduce(read_test(here / "t1"), rig=here / "south.yaml"), "south.yaml: is not there"),
    ],
)
def test_what_is_not_there_is_told(folder: Path, call: object, said: str) -> None:
    with pytest.raises(InputError, match=said):
        call(folder.parent)  # type: ignore[operator]
