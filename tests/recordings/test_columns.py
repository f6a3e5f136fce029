"""A column is the file's as written, or the one that reads so without its unit; the unit is held against the card."""

import pytest

from pipeline.archive.written import Channel
from pipeline.errors import InputError
from pipeline.recordings.columns import positions, split
from tests.recordings.makers import COLUMNS, card, ingested, samples, text, write_card, written

NAMES = {
    "brackets": {
        "time": "t [s]",
        "speed": "n [1/min]",
        "torque": "Mb [Nm]",
        "pressure": "p (bar)",
        "disc_temperature": "T1 <°C>",
    },
    "strokes": {
        "time": "t_sec",
        "speed": "n_rpm",
        "torque": "Mb_Nm",
        "pressure": "p_bar",
        "disc_temperature": "T1_degC",
    },
}


@pytest.mark.parametrize(
    ("name", "bare", "unit"),
    [
        ("Mb [Nm]", "Mb", "Nm"), ("p (bar)", "p", "bar"), ("T1_degC", "T1", "degC"), ("x [%]", "x", "%"), ("p [bar(g)]", "p", "bar(g)"),
        ("n [1/s]", "n", "1/s"), ("v_km/h", "v", "km/h"), ("p (front)", "p (front)", ""), ("p_in", "p_in", ""), ("T_F", "T_F", ""),
        ("n_min", "n_min", ""), ("[bar]", "[bar]", ""), ("T1", "T1", ""), ("Mb_m", "Mb_m", ""),
    ],
)  # fmt: skip
def test_a_unit_at_the_end_of_a_name(name, bare, unit):
    assert split(name) == (bare, unit)


@pytest.mark.parametrize("form", list(NAMES))
def test_columns_are_found_with_their_units_left_out(tmp_path, form):
    written(write_card(tmp_path / "t", card()), "1.csv", text(samples(1), names=NAMES[form]).encode())
    plain = write_card(tmp_path / "p", card())
    written(plain, "1.csv", text(samples(1)).encode())
    table, record = ingested(tmp_path / "t", tmp_path / "a")
    assert record["findings"] == [] and table.equals(ingested(plain, tmp_path / "b")[0])


@pytest.mark.parametrize(
    ("column", "name", "said"),
    [("p", "p [MPa]", "MPa"), ("p", "p_psi", "psi"), ("T1", "T1 (°F)", "°F"), ("Mb", "Mb [bar]", "bar"), ("n", "n_kmh", "kmh"), ("t", "t [ms]", "ms")],
)  # fmt: skip
def test_a_name_with_another_unit_than_the_card_is_told(tmp_path, column, name, said):
    channel = next(c for c, known in COLUMNS.items() if known == column)
    written(write_card(tmp_path / "t", card()), "1.csv", text(samples(1), names=COLUMNS | {channel: name}).encode())
    _, record = ingested(tmp_path / "t", tmp_path / "out")
    (found,) = [f for f in record["findings"] if f["code"] == "unit_disagrees"]
    assert (found["channel"], found["evidence"]["recordings"], found["severity"]) == (channel, said, "suspect")


def test_a_row_of_units_in_brackets_is_seen_and_held_against_the_card(tmp_path):
    content = card()
    content["recordings"]["channels"]["torque"]["unit"] = "kgf m"
    written(write_card(tmp_path / "t", content), "1.csv", text(samples(1), units=True).encode())
    table, record = ingested(tmp_path / "t", tmp_path / "out")
    assert table.height == samples(1)["time"].size
    assert [(f["code"], f["channel"]) for f in record["findings"]] == [("unit_disagrees", "torque")]


def test_the_name_as_written_comes_first_and_two_that_fit_are_asked_about():
    channel = {"pressure": Channel(column="p", unit="bar")}
    assert positions(["p [bar]", "p"], channel, needed=()) == {"pressure": 1}
    assert positions(["p [bar]", "q"], channel, needed=()) == {"pressure": 0}
    with pytest.raises(InputError, match=r"'p \[bar\]' or 'p \[psi\]'; write the one"):
        positions(["p [bar]", "p [psi]"], channel, needed=())
    with pytest.raises(InputError, match="stands 2 times"):
        positions(["p", "p"], channel, needed=())
