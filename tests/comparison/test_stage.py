"""The comparison's stage over the results of two small compounds, and its page."""

from __future__ import annotations

import pytest

from pipeline.cli import run
from pipeline.compound import stage as compound_stage
from pipeline.method import Method, settings_of
from pipeline.results import write_text
from pipeline.results.comparison import Comparison
from pipeline.results.model import read
from tests.compound import makers


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    root = tmp_path_factory.mktemp("two")
    paths = makers.compound(root, {"b1": [1.0, 1.01]})
    for index, level in enumerate((0.85, 0.855)):
        name = f"c1-{'ab'[index]}"
        makers.write_test(
            root, name, batch="c1", specimen="AB"[index], level=level, seed=20 + index, compound="Marram 6"
        )
    folders = {}
    for compound, tests in (("Marram 4", ["b1-a", "b1-b"]), ("Marram 6", ["c1-a", "c1-b"])):
        into = paths["results"] / "compounds" / compound.lower().replace(" ", "-")
        compound_stage.run(
            compound=compound, archive=paths["archive"], tests=tests, results=paths["results"], rigs=paths["rigs"],
            target=paths["target"], duties=[paths["duty"]], settings=makers.SETTINGS, into=into,
        )  # fmt: skip
        folders[compound] = into
    write_text(root / "batches.csv", "compound,batch,density (g/cm3)\nMarram 4,b1,1.78\nMarram 6,c1,1.74\n")
    return root, paths, folders


def called(made, into, **changes):
    root, paths, folders = made
    options = {
        "a": "Marram 4", "b": "Marram 6", "a-folder": folders["Marram 4"], "b-folder": folders["Marram 6"], "archive": paths["archive"],
        "results": paths["results"], "rigs": paths["rigs"], "target": paths["target"], "facts": root / "batches.csv",
        "settings": settings_of(Method(), "comparison"), "into": into, **changes,
    }  # fmt: skip
    tests = ["--a-tests", "b1-a", "b1-b", "--b-tests", "c1-a", "c1-b"]
    assert run(["comparison", *(f"--{key}={value}" for key, value in options.items()), *tests]) == 0
    return read(into / "comparison.json", Comparison), (into / "comparison.html").read_text()


def test_a_lower_friction_is_found_at_its_size_and_the_facts_stand_beside_it(made, tmp_path):
    found, page = called(made, tmp_path)
    rows = {row.question: row for row in found.rows}
    mu = rows["µ at common reference conditions"]
    assert mu.verdict == "different"
    assert mu.figure.value / mu.a.value == pytest.approx(1 - 0.8525 / 1.005, abs=0.01)
    assert "Life on" in " ".join(rows) and all(row.why for row in found.rows)
    assert all(("scatter between batches" in row.why) == row.question.startswith(("Friction window", "Plateau", "Wear of", "Fade", "Life"))
               for row in found.rows if row.figure.low is not None)  # fmt: skip
    assert any("not adjusted for the number of questions" in note for note in found.notes)
    assert [(fact.batch, fact.facts["density (g/cm3)"]) for fact in found.facts] == [("b1", "1.78"), ("c1", "1.74")]
    assert "no cause is claimed" in page and "1.74" in page


def test_a_fault_leaves_a_file_that_says_why(made, tmp_path, capsys):
    folder = tmp_path / "empty"
    write_text(folder / "friction.json", '{"compound": "Marram 4", "unheard_of": 1}')
    found, page = called(made, tmp_path / "out", **{"a-folder": folder})
    assert found.unusable and (found.a, found.b) == ("Marram 4", "Marram 6")
    assert found.unusable.split(";")[0] in page or "No comparison" in page
