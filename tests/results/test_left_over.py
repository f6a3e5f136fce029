"""Results of what is no longer in the archive: kept, marked, told, and left out where folders are read one by one."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import pipeline
from pipeline.cli import ending, summary
from pipeline.delta import releases
from pipeline.report import index_page
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.left_over import MARK, is_left_over
from pipeline.results.model import write
from pipeline.workspace.run import load_run
from tests.report import makers


@pytest.fixture
def workspace(tmp_path: Path) -> tuple[Path, Path]:
    """(config, results of its method): two tests run; one was then taken out of the archive, and its compound with it."""
    into = makers.workspace(tmp_path)
    makers.results_of_test(tmp_path, "gone", compound="Dune 2")
    write(into / "compounds" / "dune-2" / "friction.json", CompoundFriction(compound="Dune 2", method="first"))
    (into / "comparisons" / "dune-2--marram-4").mkdir(parents=True)
    for path in sorted((tmp_path / "archive" / "gone").rglob("*"), reverse=True):
        path.unlink() if path.is_file() else path.rmdir()
    (tmp_path / "archive" / "gone").rmdir()
    return tmp_path / "config.yaml", into


def indexed(config: Path, into: Path) -> list[str]:
    """Folders that archive.json says are left over, after the stage ran."""
    load_run.cache_clear()  # a run is a process of its own
    index_page.run(config=config, method="first", into=into)
    index_page.draw(config=config, method="first", into=into)
    return [row["folder"] for row in json.loads((into / "archive.json").read_text())["left_over"]]


LEFT = ["tests/gone", "compounds/dune-2", "comparisons/dune-2--marram-4"]


def test_they_are_listed_and_each_folder_says_so(workspace: tuple[Path, Path]) -> None:
    config, into = workspace
    assert indexed(config, into) == LEFT
    assert "has no such test" in (into / "tests" / "gone" / MARK).read_text()
    assert [path.parent.relative_to(into).as_posix() for path in sorted(into.rglob(MARK))] == sorted(LEFT)
    assert (into / "tests" / "gone" / "stops.parquet").is_file()
    page = (into / "index.html").read_text()
    assert "Results of earlier runs that are no results of this archive" in page and "tests/gone" in page
    assert "1 test, 1 compound; stopsheet" in page


def test_a_test_that_comes_back_loses_its_mark(workspace: tuple[Path, Path]) -> None:
    config, into = workspace
    indexed(config, into)
    makers.results_of_test(config.parent, "gone", compound="Dune 2")
    assert indexed(config, into) == LEFT[2:]
    assert not is_left_over(into / "tests" / "gone") and not is_left_over(into / "compounds" / "dune-2")
    assert "2 tests, 2 compounds; stopsheet" in (into / "index.html").read_text()


def test_the_end_of_a_run_tells_them(workspace: tuple[Path, Path], capsys: pytest.CaptureFixture[str]) -> None:
    config, into = workspace
    indexed(config, into)
    method = summary.method_end(into, False)
    run = summary.RunEnd([method], [], 0.0, 0, [], [], None, 0)
    ending.show(run, as_json=False)
    said = capsys.readouterr().out
    assert "first: tests/gone: left over: the archive has no such test" in said and "3 folders left over" in said
    document = ending.document(run)["methods"][0]["left_over"]
    assert [row["folder"] for row in document] == LEFT


def test_what_reads_folders_leaves_them_out(workspace: tuple[Path, Path], tmp_path: Path) -> None:
    config, into = workspace
    indexed(config, into)
    results = pipeline.read_results(into.parent)
    assert "gone" not in results.tests["test"].to_list() and results.compounds == ["Marram 4"]
    with pytest.raises(pipeline.InputError, match="has no test 'gone'; there are "):
        results.test("gone")
    with pytest.raises(pipeline.InputError, match="has no compound 'Dune 2'; there are marram-4"):
        results.compound("Dune 2")
    issued = tmp_path / "issued"
    for name in ("m4-a", "gone"):
        (issued / "tests" / name).mkdir(parents=True)
    lost: list[releases.NotCompared] = []
    assert "gone" not in releases._both(issued / "tests", into / "tests", lost, "tests")
    assert ("tests/gone", "is in the issued results only") in [(one.file, one.why) for one in lost]
