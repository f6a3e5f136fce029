"""Readers and models meet anything: they answer with an InputError in one line, or with what is there."""

import math

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.archive.card import load_card
from pipeline.errors import InputError
from pipeline.inputs.quantities import to_si
from pipeline.recordings.stage import run
from pipeline.wear.readings import read_wear
from tests.hostile.settings import DOCUMENTS
from tests.recordings.makers import card, samples, text, write_card, written

ANY = settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
FEW = settings(ANY, max_examples=15)


def whole_and_finite(folder, out):
    out.mkdir(exist_ok=True)
    run(folder, out / "c.parquet", out / "c.json")
    table = pl.read_parquet(out / "c.parquet")
    for name in table.columns[1:]:
        assert not table[name].is_nan().any()
        assert not table[name].is_infinite().any()
    return table


def of_delimited(folder, content):
    written(write_card(folder / "t", card()), "1.csv", content)
    whole_and_finite(folder / "t", folder / "out")


@FEW
@given(content=st.binary(max_size=400))
def test_any_bytes_as_delimited_text(tmp_path, content):
    of_delimited(tmp_path, content)


@pytest.mark.heavy
@ANY
@given(content=st.binary(max_size=400))
def test_more_bytes_as_delimited_text(tmp_path, content):
    of_delimited(tmp_path, content)


CELL = st.one_of(
    st.floats(allow_nan=True).map(repr),
    st.text(max_size=6),
    st.sampled_from(["", "NaN", "1,5", '"', "1e999", "#", "\t", "-"]),
)


ROWS = st.lists(st.lists(CELL, min_size=3, max_size=7), max_size=12)


def under_a_sound_header(rows):
    body = "\n".join(",".join(row) for row in rows)
    return f"t,n,Mb,p,T1\n{body}\n".encode("utf-8", "replace")


@FEW
@given(rows=ROWS)
def test_any_cells_under_a_sound_header(tmp_path, rows):
    of_delimited(tmp_path, under_a_sound_header(rows))


@pytest.mark.heavy
@ANY
@given(rows=ROWS)
def test_more_cells_under_a_sound_header(tmp_path, rows):
    of_delimited(tmp_path, under_a_sound_header(rows))


@settings(ANY, max_examples=25)
@given(content=st.binary(max_size=300), form=st.sampled_from(["parquet", "mdf", "tdms"]))
def test_any_bytes_as_another_format(tmp_path, content, form):
    folder = write_card(tmp_path / "t", card(format=form))
    written(folder, "1.bin", {"parquet": b"PAR1", "mdf": b"MDF     4.10    ", "tdms": b"TDSm"}[form] + content)
    assert whole_and_finite(folder, tmp_path / "out").height == 0


@ANY
@given(seed=st.integers(0, 10_000), cut=st.integers(0, 2000))
def test_a_card_with_bytes_changed(tmp_path, seed, cut):
    import numpy as np

    folder = write_card(tmp_path / "t", card())
    path = folder / "test.yaml"
    data = bytearray(path.read_bytes())
    rng = np.random.default_rng(seed)
    for at in rng.integers(0, len(data), 3):
        data[at] = int(rng.integers(256))
    path.write_bytes(bytes(data[: cut or None]))
    one_line_or_fine(folder)


@pytest.mark.parametrize("document", DOCUMENTS)
def test_a_document_that_is_no_card(tmp_path, document):
    folder = tmp_path / "t"
    folder.mkdir()
    (folder / "test.yaml").write_text(document)
    with pytest.raises(InputError) as caught:
        load_card(folder)
    assert "\n" not in str(caught.value)
    assert "test.yaml" in str(caught.value)
    assert not (tmp_path / "escaped").exists()


def one_line_or_fine(folder):
    message = refusal(load_card, folder)
    assert "\n" not in message
    assert len(message) < 3000


def refusal(call, *arguments) -> str:
    """The message of an InputError or ValueError; empty where there is none."""
    try:
        call(*arguments)
    except (InputError, ValueError) as error:
        return str(error) or "a refusal without a word\n"
    return ""


@settings(deadline=None, max_examples=200)
@given(
    value=st.one_of(st.text(max_size=30), st.floats(), st.integers(), st.none(), st.booleans()),
    dimension=st.sampled_from(["length", "pressure", "torque", "temperature", "share", "angular_speed", "inertia"]),
)
def test_any_value_is_a_finite_number_or_a_refusal(value, dimension):
    message = refusal(to_si, value, dimension)
    assert "\n" not in message
    assert message or math.isfinite(to_si(value, dimension))


def test_a_recording_of_nothing_but_text_that_looks_like_code(tmp_path):
    folder = write_card(tmp_path / "t", card())
    lines = text(samples(1)).splitlines()
    lines[1:] = ["=cmd|'/C calc'!A0,<script>,../..,$(id),`id`"] * 50
    written(folder, "1.csv", "\n".join(lines).encode())
    assert whole_and_finite(folder, tmp_path / "out").height == 0


@pytest.mark.parametrize(
    "cell", ["", "nan", "inf", "-inf", "-1", "1e300", "=cmd|'/C calc'!A0", "<xss-marker>", "0.5", '"', "24,013"]
)
@pytest.mark.parametrize("column", range(6))
def test_any_cell_in_the_wear_readings(tmp_path, cell, column):
    row = ["4", "disc", "thickness", "1", "24.013", "mm"]
    row[column] = cell
    path = tmp_path / "wear.csv"
    path.write_text(
        "after_stop,component,quantity,point,value,unit\n0,disc,thickness,1,24.1,mm\n" + ",".join(row) + "\n"
    )
    assert "\n" not in refusal(read_wear, path)
