"""Two-byte text read as UTF-8 whatever the size of the reads; any other stream as it is; cells between blanks."""

import codecs
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.recordings import blanks
from pipeline.recordings.encodings import LOOKED_AT, as_utf8, recoded, utf16_of

TABLE = "Zeit\tDrehzahl [1/min]\tT [°C]\r\n" + "".join(f"{k / 50:.2f}\t{1500 - k}\t{300 + k}\r\n" for k in range(4000))
KINDS = {"utf-16-le": codecs.BOM_UTF16_LE, "utf-16-be": codecs.BOM_UTF16_BE}


def whole(stream, size):
    parts = []
    while part := stream.read(size):
        assert len(part) <= size
        parts.append(part)
    return b"".join(parts)


@pytest.mark.parametrize("name", KINDS)
@pytest.mark.parametrize("marked", [True, False])
@pytest.mark.parametrize("size", [7, 4096, 1 << 20])
def test_a_table_is_the_same_in_utf_16(name, marked, size):
    data = (KINDS[name] if marked else b"") + TABLE.encode(name)
    assert utf16_of(data) == name and as_utf8(data, name) == TABLE.encode()
    assert whole(recoded(io.BytesIO(data)), size) == TABLE.encode()


@given(st.text(max_size=300), st.integers(1, 50), st.sampled_from(sorted(KINDS)))
@settings(max_examples=150, deadline=None)
def test_any_text_with_its_mark_is_read_as_it_is(text, size, name):
    text = "".join(c for c in text if not "\ud800" <= c <= "\udfff")
    data = KINDS[name] + text.encode(name)
    assert whole(recoded(io.BytesIO(data)), size) == text.removeprefix("\ufeff").encode() or text.startswith("\ufeff")


@given(st.binary(max_size=3 * LOOKED_AT), st.integers(1, LOOKED_AT))
@settings(max_examples=60, deadline=None)
def test_what_is_no_two_byte_text_passes_unchanged(data, size):
    if utf16_of(data[:LOOKED_AT]) is None:
        assert whole(recoded(io.BytesIO(data)), size) == data


@pytest.mark.parametrize("text", ["t;n\n0,1;1500\n", "Prüfstand\n1;2\n", "", "a"])
def test_one_byte_text_is_no_utf_16(text):
    assert utf16_of(text.encode()) is None and utf16_of(text.encode("latin-1")) is None


@pytest.mark.parametrize(
    ("line", "width", "cells"),
    [
        ("  t   n  p ", None, ["t", "n", "p"]),
        ("Time  Load cell force  T disc", 3, ["Time", "Load cell force", "T disc"]),
        ("Time\tLoad cell force\tT disc", 3, ["Time", "Load cell force", "T disc"]),
        ("[s] [kgf m] [deg C]", 3, ["[s]", "[kgf m]", "[deg C]"]),
        ("Time Speed T disc", 3, ["Time", "Speed", "T", "disc"]),  # nothing tells: as it is
        ("1.0  2.0 3.0", 3, ["1.0", "2.0", "3.0"]),
        ("", 3, []),
    ],
)
def test_cells_between_blanks(line, width, cells):
    assert blanks.fields(line, width) == cells


def test_lines_of_numbers_get_one_tab_between():
    assert blanks.tabbed(b"  1  2\t 3 \n4 5 6\n\n") == b"1\t2\t3\n4\t5\t6\n\n"
