"""Old tests of which one row per stop is left."""

import numpy as np

from tests.recordings.makers import card, ingested, write_card, written

ROWS = """block;mu;p;T;E;note
check 1;0,42;580,15;572;0,24;a
check 1;0,41;580,15;572;0,25;b
check 1;x;580,15;572;0,25;c
"""


def summary_card(**channels):
    content = card(holds="summary", delimiter=";", decimal=",")
    content["recordings"]["channels"] = {
        "block": {"column": "block"}, "mu": {"column": "mu"}, "pressure": {"column": "p", "unit": "psi"},
        "temperature_initial": {"column": "T", "unit": "degF"}, "energy": {"column": "E", "unit": "MJ"}, **channels,
    }  # fmt: skip
    return content


def test_rows_come_in_the_columns_and_units_of_the_table_of_stops(tmp_path):
    folder = write_card(tmp_path / "t", summary_card())
    written(folder, "old.csv", ROWS.encode())
    table, record = ingested(folder, tmp_path / "out")
    assert record["holds"] == "summary"
    assert record["unusable"] is None
    assert table["block"].to_list() == ["check 1"] * 3
    assert table["mu"].to_list() == [0.42, 0.41, None]
    assert np.allclose(table["pressure_bar"], 40.0, atol=0.001)
    assert np.allclose(table["temperature_initial_c"], 300.0)
    assert np.allclose(table["energy_kj"], [240, 250, 250])
    assert [f["code"] for f in record["findings"]] == ["recording_damaged"]


def test_a_name_that_no_column_has_makes_the_test_unusable(tmp_path):
    folder = write_card(tmp_path / "t", summary_card(friction={"column": "mu"}))
    written(folder, "old.csv", ROWS.encode())
    _, record = ingested(folder, tmp_path / "out")
    assert "channels.friction" in record["unusable"]


def test_a_unit_that_does_not_fit_makes_the_test_unusable(tmp_path):
    folder = write_card(tmp_path / "t", summary_card(pressure={"column": "p", "unit": "K"}))
    written(folder, "old.csv", ROWS.encode())
    _, record = ingested(folder, tmp_path / "out")
    assert "channels.pressure" in record["unusable"]
