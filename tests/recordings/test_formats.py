"""The same test in every format gives the same stops: the study tests.studies.formats in full is heavy; by default test_same_stops.py."""

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from tests.recordings.makers import COLUMNS, UNITS, card, ingested, samples, write_card
from tests.studies.formats import compared


@pytest.fixture(scope="module")
def table():
    return compared()


@pytest.mark.heavy
def test_formats_agree_to_a_millionth(table):
    files = [row for row in table if "series" not in row["name"]]
    assert len(files) == 6
    assert all(row["difference"] <= 1e-6 and row["text"] for row in files)


@pytest.mark.heavy
def test_a_series_gives_the_same_stops_and_friction(table):
    series = [row for row in table if "series" in row["name"]]
    assert len(series) == 2
    assert all(row["stops"] == table[0]["stops"] and row["text"] for row in series)
    assert all(row["mu"] < 1e-4 for row in series)


def test_units_in_a_parquet_columns_metadata_are_held_against_the_card(tmp_path):
    """Whole archives are exported so; the card's unit is used, and what contradicts it is told."""
    content = card(format="parquet")
    folder = write_card(tmp_path / "t", content)
    columns = samples(1)
    fields = [
        pa.field(COLUMNS[name], pa.float64(), metadata={"unit": {"pressure": "MPa"}.get(name, UNITS[name])})
        for name in columns
    ]
    table = pa.table([pa.array(values) for values in columns.values()], schema=pa.schema(fields))
    pq.write_table(table, folder / "recordings" / "1.parquet")
    _, record = ingested(folder, tmp_path / "out")
    (found,) = [f for f in record["findings"] if f["code"] == "unit_disagrees"]
    assert (found["channel"], found["evidence"]) == ("pressure", {"recordings": "MPa", "card": "bar"})
