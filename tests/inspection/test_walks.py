"""Strange recordings walked to numbers: `new-test`, the blanks filled in by hand and nothing else, reduced."""

from __future__ import annotations

from dataclasses import replace

import polars as pl
import pytest

from pipeline.archive.card import load_card
from pipeline.cli import run
from pipeline.errors import InputError
from pipeline.recordings.heads import listed
from tests.hostile.base import write_base
from tests.hostile.chain import METHOD, to_stops
from tests.inspection.messy import MESSES, write, write_parts
from tests.inspection.walking import PLAIN, filled, made


@pytest.fixture(scope="module")
def truth(tmp_path_factory):
    """The sound test with its own card, reduced: µ of each stop."""
    room = tmp_path_factory.mktemp("truth")
    folder = write_base(room / "archive", "delimited", "t")
    to_stops(folder, room / "results")
    return folder, pl.read_parquet(room / "results" / METHOD / "tests" / "t" / "stops.parquet")


WALKED = ("german, units row in brackets, Latin-1", "spanish, series, ISO stamps", "numbered names, no units, shuffled")
FURTHER = ("french, tab, units row, km/h", "english, psi, lbf ft, degF", "MDF, german abbreviations", "TDMS with a time channel", "HDF5, french",
           "workbook, header in row 3, units row", "torque and pressure swapped by name and unit", "negative torque, rad/s, kPa",
           "time of day, decimal comma", "Parquet, timestamps, no units")  # fmt: skip


@pytest.mark.parametrize("name", [*WALKED, *(pytest.param(name, marks=pytest.mark.heavy) for name in FURTHER)])
def test_a_strange_archive_is_walked_to_its_numbers(name, tmp_path, truth):
    """new-test, blanks filled in, reduced: every stop of use, and µ as from the sound card."""
    folder = made(tmp_path, next(one for one in MESSES if one.name == name))
    with pytest.raises(InputError, match="to fill in"):
        load_card(folder)
    filled(folder, truth[0])
    to_stops(folder, tmp_path / "results")
    stops = pl.read_parquet(tmp_path / "results" / METHOD / "tests" / "t1" / "stops.parquet")
    sound = truth[1]
    assert stops.height == sound.height
    if "swapped" in name:  # the file's own units contradict the card's
        assert set(stops["status"]) == {"suspect"}
    else:
        assert set(stops["status"]) == {"ok"}, stops["findings"].to_list()
    mu = (stops["mu"] / (sound["mu"] * sound_factor(sound))).to_numpy()
    assert abs(mu - 1).max() < 0.01


def sound_factor(sound: pl.DataFrame) -> float:
    """The walked card leaves efficiency at 1 and the threshold at 0 where the sound one has 0.97 and 0.4 bar."""
    return 0.97 * float(((sound["pressure_bar"] - 0.4) / sound["pressure_bar"]).mean())


@pytest.mark.parametrize(
    ("form", "line"), [("hdf5", 'dataset: "runs/*"'), pytest.param("xlsx", 'sheet: "Stop *"', marks=pytest.mark.heavy)]
)
def test_the_parts_of_one_file_are_recordings(form, line, tmp_path, truth):
    """Groups or sheets, in natural order, what is no recording left aside."""
    path = write_parts(replace(PLAIN, form=form), tmp_path / "source")
    folder = tmp_path / "archive" / "t1"
    assert run(["new-test", str(folder), "--from", str(path)]) == 0
    text = (folder / "test.yaml").read_text(encoding="utf-8")
    assert f"  {line}\n  channels:" in text and "holds: stop" in text
    filled(folder, truth[0])
    to_stops(folder, tmp_path / "results")
    stops = pl.read_parquet(tmp_path / "results" / METHOD / "tests" / "t1" / "stops.parquet")
    assert set(stops["status"]) == {"ok"} and stops.height == 11
    assert stops["block"].to_list() == [b.name for b in load_card(folder).blocks for _ in range(b.stops)]


def test_a_name_with_brackets_is_found_by_the_card(tmp_path, truth):
    path = write(replace(PLAIN, series=True), tmp_path / "source")[0].rename(tmp_path / "source" / "run [1].csv")
    folder = tmp_path / "archive" / "t1"
    assert run(["new-test", str(folder), "--from", str(path)]) == 0
    filled(folder, truth[0])
    assert [p.name for p in listed(folder, load_card(folder))] == ["run [1].csv"]


@pytest.mark.heavy
def test_from_recordings_to_the_first_page_in_three_commands(tmp_path, truth, capfd):
    """inspect, new-test, the blanks, run: without a config, a conversion or another edited line."""
    source = tmp_path / "source"
    write(MESSES[0], source)
    folder = tmp_path / "archive" / "t1"
    assert run(["inspect", str(source)]) == 0
    assert run(["new-test", str(folder), "--from", str(source)]) == 0
    filled(folder, truth[0])
    assert run(["run", str(folder), "--cores", "1"]) == 0
    assert "11 ok, 0 suspect, 0 rejected" in capfd.readouterr().out
    assert (tmp_path / "archive-run" / "results" / "default" / "tests" / "t1" / "test.html").is_file()
