"""A stage loads no large library that it does not use: stages are started thousands of times in a run.

Who may load what stands in ALLOWED. Held twice: by the source (an import of these stands in the named packages only, and within a
function but for the pages' drawing), which covers whatever a stage comes to do; and by starting and running stages, which
covers what one library loads of another.
"""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.method import Method, settings_of
from pipeline.results import write_json, write_parquet
from pipeline.stages import STAGES
from pipeline.vocabulary import STOPS, empty
from tests.conftest import REPO, SAMPLES
from tests.drift.makers import Truth, made, short_program

ALLOWED = {
    "statsmodels": {"batches", "rigs"},
    "pandas": set(),
    "scipy.stats": {"batches", "rigs", "friction", "laboratory"},  # friction: points of several specimens
    "scipy.interpolate": {"friction"},
    "scipy.signal": set(),
    "scipy.spatial": {"stops", "face", "tested"},
    "matplotlib": {"report"},
    "plotly": {"report"},
    "typst": {"report"},
    "xlsxwriter": {"results"},
    "snakemake": set(),  # started, never imported
}
AT_THE_TOP = {"matplotlib", "plotly", "typst"}  # of modules that draw and nothing else
PAGES = {"test_page", "sheet", "index", "delta", "rig_page", "compound_charts"}


def heavy(module: str) -> str | None:
    return next((name for name in ALLOWED if module == name or module.startswith(f"{name}.")), None)


def imports(tree: ast.AST, within: bool = False) -> Iterator[tuple[str, bool]]:
    """(module, whether within a function) of every import."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, within) for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield from ((f"{node.module}.{alias.name}", within) for alias in node.names)
        yield from imports(node, within or isinstance(node, ast.FunctionDef))


@cache
def heavy_imports(package: Path) -> list[tuple[Path, str, bool]]:
    """(file, library, whether within a function); what is imported for the type check alone loads nothing."""
    found = []
    for path in sorted(package.rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        if not any(name.split(".")[0] in text for name in ALLOWED):
            continue  # who does not name it does not import it
        tree = ast.parse(text)
        for_types = [n for n in tree.body if isinstance(n, ast.If) and ast.unparse(n.test) == "TYPE_CHECKING"]
        tree.body = [node for node in tree.body if node not in for_types]
        found += [(path.relative_to(package), name, within) for m, within in imports(tree) if (name := heavy(m))]
    return found


def out_of_place(package: Path) -> list[str]:
    found = []
    for path, name, within in heavy_imports(package):
        if path.parts[0] not in ALLOWED[name]:
            found.append(f"{path}: {path.parts[0]} imports {name}")
        elif not within and name not in AT_THE_TOP:
            found.append(f"{path}: {name} at the top")
    return found


def test_large_libraries_are_imported_where_they_are_used():
    assert out_of_place(REPO / "pipeline") == []


@pytest.mark.parametrize(
    ("place", "text", "said"),
    [
        ("drift/x.py", "def f():\n    from scipy import stats\n", "drift imports scipy.stats"),
        ("batches/x.py", "from statsmodels.stats.multitest import multipletests\n", "statsmodels at the top"),
        ("stops/x.py", "import pandas as pd\n", "stops imports pandas"),
    ],
)
def test_an_import_out_of_place_is_found(tmp_path, place, text, said):
    path = tmp_path / place
    path.parent.mkdir()
    path.write_text(text)
    assert out_of_place(tmp_path) == [f"{place}: {said}"]


def test_the_libraries_allowed_are_used():
    """A name that no package loads any longer would let the next one in unseen."""
    used = {(name, path.parts[0]) for path, name, _ in heavy_imports(REPO / "pipeline")}
    assert {(name, own) for name, packages in ALLOWED.items() for own in packages} <= used


def loaded(script: str) -> set[str]:
    """Heavy libraries that a fresh interpreter has loaded after the script."""
    done = subprocess.run(
        [sys.executable, "-c", f"{script}\nimport sys\nprint(*sys.modules)"],
        env=os.environ | {"PYTHONPATH": str(REPO)}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return {name for module in done.stdout.splitlines()[-1].split() if (name := heavy(module))}


def test_no_stage_starts_with_a_large_library():
    calls = {part.call.split(":")[0] for name, stage in STAGES.items() if name not in PAGES for part in stage.parts}
    calls |= {stage.once.split(":")[0] for name, stage in STAGES.items() if name not in PAGES and stage.once}
    assert loaded(f"from importlib import import_module\nfor name in {sorted(calls)}: import_module(name)") == set()


def test_pages_start_without_what_computes():
    """A page shows what is in the results: a constant or a word taken from a computing module would load scipy with it."""
    calls = {part.call.split(":")[0] for name, stage in STAGES.items() if name in PAGES for part in stage.parts}
    script = f"from importlib import import_module\nfor name in {sorted(calls)}: import_module(name)\nimport sys\n"
    loaded(f"{script}assert 'scipy' not in sys.modules")


def test_a_batch_of_one_specimen_is_fitted_without_them():
    assert loaded("from pipeline.batches.mixed import fit\nassert fit([0.3, 0.4], ['a', 'b']).df == 0") == set()


def test_drift_runs_without_them(tmp_path):
    """A fall found and dated: nothing of what is called on the way loads one of them either."""
    into = tmp_path / "results" / "first" / "tests" / "t1"
    write_parquet(into / "stops.parquet", made(Truth(program=short_program(), glaze_loss=0.1), 1).stops)
    write_parquet(into / "excluded.parquet", empty(STOPS))
    write_json(into / "summary.json", {"test": "t1", "unusable": None})
    settings = settings_of(Method(), "drift")
    script = (
        "from pathlib import Path\nfrom pipeline.drift.stage import run\n"
        f"into = Path({str(into)!r})\nrun(folder=into, settings={settings!r}, repeatability=None, into=into)\n"
        "assert (into / 'drift.json').is_file()"
    )
    assert loaded(script) == set()


def test_channels_are_read_without_them(tmp_path):
    """Nor a card of usual units with pint: Arrow and pydantic would load either unseen."""
    time = np.arange(0, 20, 0.01)
    pressure = np.where((time > 5) & (time < 9), 3e6, 0.0)
    rows = {
        "recording": np.ones(time.size, np.int32),
        "time": time,
        "speed": 100 - pressure / 1e5,
        "torque": pressure / 1e4,
    }
    pl.DataFrame({**rows, "pressure": pressure}).write_parquet(tmp_path / "t1.parquet")
    script = (
        "from pathlib import Path\nimport sys\n"
        "from pipeline.archive.card import load_card\nfrom pipeline.conditioning import looks, passes, stretches\n"
        "from pipeline.conditioning.channels_file import ChannelsFile\n"
        f"file = ChannelsFile(Path({str(tmp_path / 't1.parquet')!r}))\n"
        "assert len(looks.looks(file, passes.rests_of(file))) == 1\n"
        "from pipeline.method.segmentation import Segmentation\n"
        "assert len(list(stretches.stretches(file, ['time', 'speed', 'pressure'], Segmentation()))) == 1\n"
        f"load_card(Path({str(SAMPLES / 'archive' / 'm4-2403-a')!r}))\nassert 'pint' not in sys.modules"
    )
    assert loaded(script) == set()
