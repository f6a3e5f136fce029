"""The table of facts: what is read, what is left out and how it is told."""

from __future__ import annotations

import pytest

from pipeline.archive.facts import number, read_facts
from pipeline.errors import InputError

TABLE = 'compound,batch,density (g/cm3),notes\nMarram 4,M4-1,1.78,first kiln\nMarram 4,M4-2,"1,82",\n'


def written(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "batches.csv"
    path.write_bytes(text.encode(encoding) if isinstance(text, str) else text)
    return path


def test_columns_and_rows(tmp_path):
    facts = read_facts(written(tmp_path, TABLE))
    assert facts.columns == ("density (g/cm3)", "notes")
    assert facts.of("Marram 4") == {"M4-1": ("1.78", "first kiln"), "M4-2": ("1,82", "")}
    assert [number(text) for text in ("1.78", "1,82", "", "first", "1,2,3", "inf")] == [
        1.78,
        1.82,
        None,
        None,
        None,
        None,
    ]


def test_semicolons_and_a_byte_order_mark(tmp_path):
    facts = read_facts(written(tmp_path, "\ufeff" + TABLE.replace('"1,82"', "1.82").replace(",", ";")))
    assert facts.of("Marram 4")["M4-1"] == ("1.78", "first kiln")


@pytest.mark.parametrize(
    ("line", "word"),
    [("Marram 4,M4-3,1.7", "line 4: 3 cells"), ("Marram 4,M4-1,1.7,x", "line 4: batch M4-1 of Marram 4 stands twice"), (",M4-3,1.7,x", "line 4: a cell")],
)  # fmt: skip
def test_a_bad_line_is_told_and_the_rest_goes_on(tmp_path, line, word):
    facts = read_facts(written(tmp_path, TABLE + line + "\n"))
    (problem,) = facts.problems
    assert word in str(problem) and "batches.csv" in str(problem) and "\n" not in str(problem)
    assert "M4-2" in facts.of("Marram 4")


@pytest.mark.parametrize(
    ("text", "word"),
    [("", "no column"), ("compound,density\nx,1\n", "no column batch"), ("compound,batch,a,a\n", "twice"), (b"compound,batch\n\xff\xfe,1\n", "UTF-8"), ('compound,batch\n"x,1\n', "quotes")],
)  # fmt: skip
def test_a_table_of_no_use_is_refused_in_a_line(tmp_path, text, word):
    with pytest.raises(InputError, match=word) as error:
        read_facts(written(tmp_path, text))
    assert "\n" not in str(error.value)


def test_a_table_that_is_not_there(tmp_path):
    with pytest.raises(InputError, match="facts"):
        read_facts(tmp_path / "none.csv")
