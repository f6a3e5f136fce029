"""The same test in every format gives the same stops (the study tests.studies.formats, in full: it is short)."""

import pytest

from tests.studies.formats import compared


@pytest.fixture(scope="module")
def table():
    return compared()


def test_formats_agree_to_a_millionth(table):
    files = [row for row in table if "series" not in row["name"]]
    assert len(files) == 6
    assert all(row["difference"] <= 1e-6 and row["text"] for row in files)


def test_a_series_gives_the_same_stops_and_friction(table):
    series = [row for row in table if "series" in row["name"]]
    assert len(series) == 2
    assert all(row["stops"] == table[0]["stops"] and row["text"] for row in series)
    assert all(row["mu"] < 1e-4 for row in series)
