"""What `import pipeline` offers: light, complete, documented, and under the distribution's name as well."""

from __future__ import annotations

import ast
import importlib.util
import inspect
import json
import os
import re
import subprocess
import sys
import tomllib
import typing
from pathlib import Path

import pytest

import pipeline
from tests.conftest import REPO

PACKAGE = REPO / "pipeline"


def modules_after(statement: str) -> set[str]:
    """What a fresh interpreter has loaded after the statement."""
    done = subprocess.run(
        [sys.executable, "-c", f"{statement}\nimport sys, json\nprint(json.dumps(list(sys.modules)))"],
        env=os.environ | {"PYTHONPATH": str(REPO)}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return set(json.loads(done.stdout))


def test_importing_the_package_loads_no_library_and_none_of_its_parts():
    """Every stage of a run imports it."""
    loaded = modules_after("import pipeline")
    assert not loaded & {"polars", "numpy", "pydantic", "yaml", "scipy", "plotly"}
    assert [name for name in loaded if name.startswith("pipeline.")] == []


@pytest.mark.skipif(len(os.sched_getaffinity(0)) == 1, reason="one core has one thread of itself")
@pytest.mark.parametrize(("asked", "threads"), [(None, 1), ("2", 2)])
def test_linear_algebra_of_the_package_takes_one_thread_where_nothing_else_is_asked(asked, threads):
    """As in a run: several threads sum in another order, and a fit's last digits would differ from the run's."""
    script = (
        "import os, pipeline, numpy; square = numpy.ones((400, 400)); square @ square; "
        "print(len(os.listdir('/proc/self/task')))"
    )
    environment = {name: value for name, value in os.environ.items() if not name.endswith("_NUM_THREADS")}
    environment |= {"PYTHONPATH": str(REPO)} | ({"OPENBLAS_NUM_THREADS": asked} if asked else {})
    done = subprocess.run([sys.executable, "-c", script], env=environment, capture_output=True, text=True, check=True)
    assert done.stdout.split() == [str(threads)]


def test_reducing_loads_no_drawing():
    assert not modules_after("from pipeline import read_test, reduce, friction_map") & {"plotly", "matplotlib"}


def test_every_name_is_offered_alike_to_people_and_to_type_checkers():
    tree = ast.parse((PACKAGE / "__init__.py").read_text(encoding="utf-8"))
    typed = {
        alias.name: node.module
        for block in tree.body
        if isinstance(block, ast.If)
        for node in block.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }
    assert typed == pipeline._PLACES
    assert sorted(typed) == sorted(pipeline.__all__)
    assert set(pipeline.__all__) <= set(dir(pipeline))


def test_no_name_is_that_of_a_part_which_would_hide_it_once_loaded():
    parts = {path.stem for path in PACKAGE.iterdir()}
    assert not parts & set(pipeline.__all__)


def test_every_name_and_what_its_objects_offer_is_documented():
    bare = []
    for name in pipeline.__all__:
        found = getattr(pipeline, name)
        own = [(name, found)]
        if inspect.isclass(found):
            own += [(f"{name}.{key}", one) for key, one in vars(found).items() if not key.startswith("_")]
        bare += [
            key
            for key, one in own
            if (callable(one) or isinstance(one, property) or hasattr(one, "func")) and not inspect.getdoc(one)
        ]
    assert bare == []


def test_the_reference_lists_what_is_offered():
    page = (REPO / "docs" / "api.md").read_text(encoding="utf-8")
    assert sorted(re.findall(r"^\.\. auto\w+:: pipeline\.(\w+)$", page, re.MULTILINE)) == sorted(pipeline.__all__)


def test_every_function_says_what_it_raises_and_types_resolve():
    for name in pipeline.__all__:
        found = getattr(pipeline, name)
        if inspect.isfunction(found) and not name.startswith("plot_"):
            assert typing.get_type_hints(found)["return"], name
            assert "InputError" in (found.__doc__ or ""), name


def test_the_build_puts_the_name_of_the_distribution_beside_the_package():
    settings = tomllib.loads((REPO / "pyproject.toml").read_text(encoding="utf-8"))
    placed = settings["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    (source,) = (Path(path) for path, name in placed.items() if name == f"{settings['project']['name']}.py")
    spec = importlib.util.spec_from_file_location("stopsheet", REPO / source)
    assert spec and spec.loader
    stopsheet = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(stopsheet)
    assert stopsheet.read_test is pipeline.read_test
    assert stopsheet.__all__ == pipeline.__all__ and set(stopsheet.__all__) <= set(dir(stopsheet))
