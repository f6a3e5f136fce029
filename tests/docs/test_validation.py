"""docs/validation.md lists every published check and every study, with the figures that their pages hold."""

import pytest

from tests.docs.published import checks, unmarked
from tests.docs.studies import STUDIES, Study
from tests.docs.validation import COMMAND, DOCS, PAGE, TESTS, page


def test_the_page_is_in_step():
    assert PAGE.read_text(encoding="utf-8") == page(), f"run `{COMMAND}`"


def test_every_study_is_told():
    told = {study.page for group in STUDIES.values() for study in group}
    written = {path.stem for kind in ("*_study.md", "*_benchmark.md") for path in DOCS.glob(kind)}
    assert written - told == set(), f"tell it in one line in tests/docs/studies.py, then `{COMMAND}`"


def test_a_test_that_names_a_source_is_marked():
    assert unmarked(TESTS) == []


def test_a_test_without_its_mark_and_a_mark_without_its_origin_are_found(tmp_path):
    (tmp_path / "test_a.py").write_text(
        'def test_of_a_standard():\n    """ISO 5725-2, table."""\n\n\ndef test_own():\n    time = "ISO 8601"  # in ISO 8601\n'
        '\n\n@pytest.mark.published("f", source="ASTM E691", origin="certified")\ndef test_f():\n    pass  # ASTM E691\n'
    )
    assert unmarked(tmp_path) == ["test_a.py::test_of_a_standard"]
    assert [(c.what, c.source, c.test) for c in checks(tmp_path)] == [("f", "ASTM E691", "test_f")]
    (tmp_path / "test_b.py").write_text(
        '@pytest.mark.published("f", source="ASTM E691", origin="somewhere")\ndef test_f():\n    pass\n'
    )
    with pytest.raises(ValueError, match=r"test_b.py: test_f"):
        checks(tmp_path)


def test_figures_come_from_the_study_s_page(tmp_path):
    (tmp_path / "s.md").write_text(
        "Of these\n5 of 7 came.\n\n| a | b | now, 3 | held | held |\n|---|---|---|---|---|\n| x | 1 | 0.1 (2) | 4 | 5 |\n| x | 2 | 0.3 (4) | 6 | 7 |\n"
    )
    said = Study("s", "?", "{/these (\\d+ of \\d+)/} {x, 2|now*} {x|now*|short} {x, 2|held#2}").said(tmp_path)
    assert said == "5 of 7 0.3 (4) 0.1 7"
    for gone in ("{y|held}", "{x|lost}", "{x|held#3}", "{/(none)/}"):
        with pytest.raises(LookupError, match=r"s\.md"):
            Study("s", "?", gone).said(tmp_path)
