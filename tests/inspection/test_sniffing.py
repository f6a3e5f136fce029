"""The layout of a text from its bytes: found whatever the spelling, and never a traceback whatever the bytes."""

from __future__ import annotations

import contextlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import InputError
from pipeline.inspection import tables
from pipeline.inspection.look import look
from pipeline.inspection.names import said
from pipeline.inspection.sniffing import Layout, NoTable, layout_of

MARKS = {";": (".", ","), "\t": (".", ","), ",": (".",), "|": (".", ","), "   ": (".", ",")}


def text_of(mark: str, decimal: str, width: int, before: list[str], units: bool, newline: str, negative: bool) -> str:
    head = [f"Kanal {chr(65 + at)}" for at in range(width)]
    lines = [*before, mark.join(head)]
    lines += [mark.join(["s", *["bar"] * (width - 1)])] if units else []
    for row in range(12):
        cells = [
            f"{(-1 if negative and at else 1) * (row + 0.25 * at + 0.5):.3f}".replace(".", decimal)
            for at in range(width)
        ]
        lines.append(mark.join(cells))
    return newline.join(lines) + newline


@given(
    st.sampled_from(sorted(MARKS)), st.booleans(), st.integers(2, 12),
    st.lists(st.sampled_from(["", "Rig: north", "# made up", "Prüfling = A", "Date 2026-03-02", "a;b", "notes, and more"]), max_size=5),
    st.booleans(), st.sampled_from(["\n", "\r\n", "\r"]), st.booleans(), st.sampled_from(["utf-8", "latin-1", "utf-8-sig", "utf-16"]),
)  # fmt: skip
@settings(max_examples=120, deadline=None)
def test_a_layout_is_found_however_it_is_spelt(mark, comma, width, before, units, newline, negative, encoding):
    decimal = "," if comma and "," in MARKS[mark] else "."
    data = text_of(mark, decimal, width, before, units, newline, negative).encode(encoding)
    found = layout_of(data, whole=True)
    assert isinstance(found, Layout), found
    assert (found.delimiter, found.decimal, found.width) == (" " if mark == "   " else mark, decimal, width)
    assert found.header_line == len(before)
    assert (found.units_line is not None) == units
    assert found.names == [f"Kanal {chr(65 + at)}" for at in range(width)]
    read = {"utf-8-sig": "utf-8", "latin-1": "utf-8" if data.isascii() else "latin-1"}
    assert found.encoding == read.get(encoding, encoding)


@pytest.mark.parametrize("mark", [";", " "])
def test_a_long_table_is_thinned_and_keeps_its_rows_and_rate(tmp_path, monkeypatch, mark):
    monkeypatch.setattr(tables, "MOST_ROWS", 100)
    path = tmp_path / "long.csv"
    path.write_text(
        "\n".join(
            [mark.join("tnp"), *(mark.join([f"{0.02 * k:.2f}", f"{1500 - k % 7}", f"{k % 5}"]) for k in range(1030))]
        )
        + "\n"
    )
    found = look([path], [path.name])
    assert found.table.rows == 1030 and found.table.every == 11 and found.table.values.height == 94
    assert found.ranges[0].rate == pytest.approx(50.0, rel=0.02)


@given(st.binary(max_size=600))
@settings(max_examples=200, deadline=None)
def test_random_bytes_give_a_layout_or_a_reason(data):
    assert isinstance(layout_of(data, whole=False), Layout | NoTable)
    assert isinstance(layout_of(data, whole=True), Layout | NoTable)


@given(st.text(alphabet="0123456789.,;:\t\n\r \"'-+eE#[]°µtnpM/\x00\ufeff", max_size=400))
@settings(max_examples=200, deadline=None)
def test_random_tables_give_a_layout_or_a_reason(text):
    assert isinstance(layout_of(text.encode(), whole=True), Layout | NoTable)


@given(st.text(alphabet='0123456789.,;\t\n"-eE#', min_size=20, max_size=300), st.booleans())
@settings(max_examples=40, deadline=None)
def test_a_look_at_anything_ends_in_words(tmp_path_factory, text, header):
    path = tmp_path_factory.mktemp("any") / "any.csv"
    path.write_bytes((("t;n;M;p;T\n1;2;3;4;5\n2;3;4;5;6\n3;4;5;6;7\n" if header else "") + text).encode())
    with contextlib.suppress(InputError):
        look([path], [path.name])


@given(st.text(max_size=40))
@settings(max_examples=200, deadline=None)
def test_any_name_says_something_or_nothing(name):
    assert 0 <= said(name).strength <= 3


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "is empty"),
        (bytes(range(256)) * 4, "binary"),
    ],
)
def test_what_is_not_read_is_told_with_what_to_do(data, why):
    found = layout_of(data, whole=True)
    assert isinstance(found, NoTable) and why in found.why


@pytest.mark.parametrize(
    ("data", "encoding", "delimiter", "decimal", "names"),
    [
        ("t;n\n1;2\n".encode("utf-16"), "utf-16", ";", ".", ["t", "n"]),
        ("t;n\n1;2\n3;4\n5;6\n".encode("utf-16-le"), "utf-16", ";", ".", ["t", "n"]),
        (b"t|n\n1|2\n3|4\n5|6\n", "utf-8", "|", ".", ["t", "n"]),
        (b"t n\n1 2\n3 4\n5 6\n", "utf-8", " ", ".", ["t", "n"]),
        (b"  t   shaft speed\n  1  2,5\n 3   4,5\n  5  6\n", "utf-8", " ", ",", ["t", "shaft speed"]),
        (b'"t","n"\n"1,5","2"\n"3,5","4"\n"5,5","6"\n', "utf-8", ",", ",", ["t", "n"]),
        (b"1;2\n3;4\n5;6\n", "utf-8", ";", ".", ["", ""]),
    ],
)
def test_layouts(data, encoding, delimiter, decimal, names):
    found = layout_of(data, whole=True)
    assert (found.encoding, found.delimiter, found.decimal, found.names) == (encoding, delimiter, decimal, names)


@pytest.mark.parametrize(
    ("name", "channel"),
    [
        ("Drehzahl", "speed"), ("n_ist", "speed"), ("Vitesse", "speed"), ("Giri", "speed"), ("velocidad", "speed"), ("rpm", "speed"),
        ("n_soll", ""), ("Bremsmoment", "torque"), ("MBrems", "torque"), ("couple", "torque"), ("Coppia", "torque"), ("Par", "torque"),
        ("TRQ", "torque"), ("Antriebsmoment", "drive_torque"), ("motor torque", "drive_torque"), ("Bremsdruck", "pressure"), ("pLine", "pressure"),
        ("Pression", "pressure"), ("Presión", "pressure"), ("p_hinten", "pressure_2"), ("Luftdruck", ""), ("TScheibe", "disc_temperature"),
        ("Température disque", "disc_temperature"), ("rotor temp", "disc_temperature"), ("Belagtemperatur", "pad_temperature"),
        ("pad temp", "pad_temperature"), ("pyrometer", "surface_temperature"), ("Umgebungstemperatur", "ambient_temperature"),
        ("fluid temp", ""), ("Kühlluftgeschwindigkeit", "air_speed"), ("rel. Feuchte", "humidity"), ("Verzögerung", ""), ("Reibwert", ""),
        ("Zeit", "time"), ("temps", "time"), ("t", "time"), ("T", "disc_temperature"), ("M", "torque"), ("p", "pressure"), ("Xyz", ""),
    ],
)  # fmt: skip
def test_names_in_the_languages_of_rigs(name, channel):
    assert said(name).channel == channel
