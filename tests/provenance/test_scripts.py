"""What a page draws stands in scripts beside it: traces of stops, and the library that draws them. An edited one is found."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.cli.guard import guarded
from pipeline.provenance.verify import Difference, verified
from pipeline.report import render
from pipeline.results import beside, write_text
from tests.report import makers

pytestmark = pytest.mark.usefixtures("pictures_once")


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two tests' pages, made as a run makes them."""
    root = tmp_path_factory.mktemp("scripts")
    for test in ("m4-a", "m4-b"):
        paths = makers.results_of_test(root, test)
        guarded("test_page", test, [paths["into"] / "test.html"], lambda paths=paths: makers.page_of_test(paths))
    return root / "results"


def differing(results: Path) -> list[Difference]:
    return [one for one in verified(results).differences if one.kind == "results"]


def test_pages_as_they_were_made_have_none(results: Path) -> None:
    traces = len(list(results.rglob("traces/*.js")))
    assert traces > 4 and differing(results) == []
    assert verified(results).compared["results"] == 2 + traces + 1  # the library once, though both pages name it


def edited(path: Path) -> None:
    path.write_bytes(path.read_bytes().replace(b"0", b"1"))


@pytest.mark.parametrize(
    ("name", "act", "what"),
    [
        ("first/tests/m4-a/traces/02.js", edited, "was changed after its stage wrote it"),
        ("first/tests/m4-b/traces/01.js", Path.unlink, "is gone"),
        ("first/tests/m4-b/traces/01.js", lambda path: path.write_bytes(b""), "is gone"),  # as a plan leaves a place
        ("assets/LIBRARY", edited, "was changed after its stage wrote it"),
    ],
)
def test_a_script_that_is_another_is_found(results: Path, name: str, act: Callable[[Path], object], what: str) -> None:
    path = results / name.replace("LIBRARY", render.plotly_file(results).name)
    before = path.read_bytes()
    try:
        act(path)
        assert [(one.place, one.what) for one in differing(results)] == [(path.relative_to(results).as_posix(), what)]
    finally:
        path.write_bytes(before)
    assert differing(results) == []


def test_what_was_cut_out_for_a_test_and_is_another_is_found(tmp_path: Path) -> None:
    """No rule declares these files, and the findings of a test rest on them."""
    whole, cut = tmp_path / "results" / "m" / "extracts.json", tmp_path / "results" / "m" / "tests" / "t" / "rigs.json"

    def written() -> None:
        write_text(cut, "{}")
        write_text(whole, "{}")
        beside.leave(whole, [cut])

    (tmp_path / "results" / "channels").mkdir(parents=True)
    guarded("extracts", "m", [whole], written)
    assert differing(tmp_path / "results") == []
    cut.write_text('{"findings": []}')
    assert [one.place for one in differing(tmp_path / "results")] == ["m/tests/t/rigs.json"]
