"""A path is a path: characters that mean something to a pattern mean nothing to a reader."""

import ast
from pathlib import Path

import polars as pl
import pytest

import pipeline
from pipeline.results import read_table, scan_table, write_parquet
from pipeline.workspace.config import matched

# The folder read, and a neighbour that its name would match as a pattern.
NEIGHBOURS = [("brake[1]", "brake1"), ("brake*", "brake 2"), ("brake?", "brake3"), ("[!a]", "b"), ("**", "x")]


@pytest.mark.parametrize(("folder", "neighbour"), NEIGHBOURS)
@pytest.mark.parametrize("read", [read_table, lambda path: scan_table(path).collect()], ids=["read", "scan"])
def test_a_table_is_that_of_its_own_folder(tmp_path, folder, neighbour, read):
    for name in (folder, neighbour):
        write_parquet(tmp_path / name / "stops.parquet", pl.DataFrame({"of": [name]}))
    assert read(tmp_path / folder / "stops.parquet")["of"].to_list() == [folder]


@pytest.mark.parametrize("read", [read_table, lambda path: scan_table(path).collect()], ids=["read", "scan"])
def test_a_folder_named_like_a_partition_adds_no_column(tmp_path, read):
    write_parquet(tmp_path / "rig=2" / "stops.parquet", pl.DataFrame({"of": [1]}))
    assert read(tmp_path / "rig=2" / "stops.parquet").columns == ["of"]


@pytest.mark.parametrize("absolute", [False, True])
@pytest.mark.parametrize(("folder", "neighbour"), NEIGHBOURS)
def test_the_files_named_by_a_config_are_those_of_the_folder_named(tmp_path, folder, neighbour, absolute):
    for name in (folder, neighbour):
        (tmp_path / name).mkdir()
        (tmp_path / name / "target.yaml").write_text("x")
    place = tmp_path / folder if absolute else Path("..") / folder
    base = tmp_path / neighbour
    for pattern in ("*.yaml", "target.yaml"):
        assert [p.resolve() for p in matched(base, str(place / pattern))] == [tmp_path / folder / "target.yaml"]


def test_one_helper_reads_tables():
    """Every other call that lets the frames' library open a path would take it for a pattern."""
    calls = {}
    package = Path(pipeline.__file__).parent
    for path in package.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        if "polars" not in text or not ("read_" in text or "scan_" in text):
            continue  # who does not name them calls none
        for node in ast.walk(ast.parse(text)):
            name = node.func.attr if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) else ""
            if name.startswith(("read_", "scan_")) and ast.unparse(node.func.value) in ("pl", "polars"):
                options = {word.arg: ast.unparse(word.value) for word in node.keywords}
                calls[f"{path.relative_to(package)}: {name}"] = options
    del calls["inspection/tables.py: read_csv"]  # of the bytes that were read, which are no path
    assert calls  # the search finds what it looks for
    assert {place for place in calls if not place.startswith("results/files.py")} == set()
    assert all(options.get("glob") == "False" for options in calls.values())
