"""Stops that the engineer excludes in test.yaml: shown, told with the reason, not used; everything else as before."""

import datetime
import json

import polars as pl
import pytest

from pipeline.archive.card import load_card
from pipeline.errors import InputError
from pipeline.workspace.check import checked_place
from tests.recordings.makers import card, samples, text, write_card, written
from tests.stops.makers import Application, Rig, reduce, write_test

APPS = [Application(pressure=p, block=f"map {p}") for p in (15, 30, 50)] * 2
BY = "reason: pad lifted by hand, by: R. Sandling, date: 2026-03-05"


def put(folder, line):
    path = folder / "test.yaml"
    path.write_text(f"{path.read_text(encoding='utf-8')}{line}\n", encoding="utf-8")


def test_excluded_stops_lose_their_mu_and_nothing_else(tmp_path):
    folder, _ = write_test(tmp_path, APPS, Rig())
    before = reduce(tmp_path)
    put(folder, f"exclude: [{{stops: [2, 5], {BY}}}]")
    found = reduce(tmp_path)
    chosen = pl.col("stop").is_in([2, 5])
    out = found.stops.filter(chosen)
    assert out["status"].to_list() == ["rejected"] * 2 and out["mu"].to_list() == [None, None]
    assert out["energy_kj"].to_list() == before.stops.filter(chosen)["energy_kj"].to_list()
    assert all(codes[-1] == "excluded_by_hand" for codes in out["findings"].to_list())
    assert found.stops.filter(~chosen).equals(before.stops.filter(~chosen)) and found.traces.equals(before.traces)
    aside = pl.read_parquet(tmp_path / "results" / "first" / "tests" / "t1" / "excluded.parquet")
    assert aside.equals(before.stops.filter(chosen))
    assert found.summary["stops"] == {"ok": 4, "suspect": 0, "rejected": 2}
    told = [f for f in found.findings if f["code"] == "excluded_by_hand"]
    assert [(f["stop"], f["severity"], f["file"]) for f in told] == [
        (2, "rejected", "recordings/stop_002.csv"), (5, "rejected", "recordings/stop_005.csv")]  # fmt: skip
    assert told[0]["message"] == "stop 2: excluded by hand: pad lifted by hand (R. Sandling, 2026-03-05)"
    assert told[0]["evidence"]["mu"] == pytest.approx(before.stops["mu"][1], rel=1e-6)


def test_a_stop_that_does_not_exist_is_named_and_nothing_is_used_instead(tmp_path):
    folder, _ = write_test(tmp_path, APPS[:3], Rig())
    put(folder, f"exclude: [{{stops: [2], {BY}}}, {{stops: [9], reason: lifted}}]")
    why = reduce(tmp_path).summary["unusable"]
    assert "exclude.entry 2.stops: stop 9 does not exist; the test has 3 brake applications" in why


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("exclude: [{stops: [2]}]", "exclude.entry 1.reason: missing"),
        ("exclude: [{stops: [2], reason: ''}]", "exclude.entry 1.reason: is empty"),
        ("exclude: [{stops: [0], reason: x}]", "exclude.entry 1.stops.entry 1: "),
        ("exclude: [{stops: [], reason: x}]", "exclude.entry 1.stops: "),
        ("exclude: [{stop: [2], reason: x}]", "exclude.entry 1.stop: unknown key; nearest known key: stops"),
        ("exclude: [{stops: [2], reason: x, date: 2026-03-01}]", "exclude.entry 1.date: 2026-03-01 is before"),
        ("exclude: [{stops: [2], reason: x, date: TOMORROW}]", "lies in the future"),
        ("exclude: [{stops: [2, 3], reason: x}, {stops: [3], reason: y}]", "stop 3 is named twice (entries 1 and 2)"),
    ],
)
def test_a_wrong_exclusion_is_refused_with_its_place(tmp_path, line, said):
    folder, _ = write_test(tmp_path, APPS[:1], Rig())
    put(folder, line.replace("TOMORROW", str(datetime.date.today() + datetime.timedelta(days=3))))
    with pytest.raises(InputError) as error:
        load_card(folder)
    assert said in str(error.value) and str(error.value).startswith("test.yaml: ")


def test_check_knows_a_stop_that_the_recordings_cannot_hold(tmp_path):
    own = {**card(), "exclude": [{"stops": [2, 7], "reason": "pad lifted"}]}
    folder = write_card(tmp_path / "archive" / "t", own)
    for number in (1, 2, 3):
        written(folder, f"{number}.csv", text(samples(number)).encode())
    (found,) = checked_place(tmp_path / "archive").problems
    assert (found.where, found.level) == ("t", "unusable")
    message = found.message
    assert "exclude.entry 1.stops: stop 7 does not exist" in message and "3 recordings" in message


def test_without_exclusions_there_is_an_empty_table(tmp_path):
    write_test(tmp_path, APPS[:1], Rig())
    found = reduce(tmp_path)
    into = tmp_path / "results" / "first" / "tests" / "t1"
    aside = pl.read_parquet(into / "excluded.parquet")
    assert aside.is_empty() and aside.columns == found.stops.columns
    assert json.loads((into / "stops_findings.json").read_text())["unusable"] is None
