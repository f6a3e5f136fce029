"""Typed results, their page and their schemas; and the keys of the contract held against all of them."""

from __future__ import annotations

import json
import pkgutil
import re
from importlib import import_module

import pytest

from pipeline import results
from pipeline.report.result_pages import TEMPLATE, results_page, schema, schemas
from pipeline.results.catalogue import FILES
from pipeline.results.model import OfCompound, OfTest, Result
from tests.conftest import REPO
from tests.docs.contract_keys import KEYS, missing_in_file, missing_in_schema

CONTRACT = (REPO / "docs" / "contract.md").read_text()


def test_every_model_of_a_file_is_in_the_catalogue():
    """A model that the catalogue lacks has no page, no schema, and nobody holds it against the contract."""
    for module in pkgutil.iter_modules(results.__path__, f"{results.__name__}."):
        import_module(module.name)
    ours = (model for model in every(Result) if model.__module__.startswith("pipeline.results."))
    files = {model for model in ours if "unusable" in model.model_fields} - {OfTest, OfCompound}
    assert {m.__qualname__ for m in files} <= {f.model.__qualname__ for f in FILES}, "pipeline/results/catalogue.py"


def every(model):
    for one in model.__subclasses__():
        yield one
        yield from every(one)


def test_the_page_and_the_schemas_are_those_of_the_models():
    folder = REPO / "docs" / "schemas"
    assert sorted(path.name for path in folder.glob("*.json")) == sorted(schemas())
    page = results_page()
    for file in FILES:
        assert f"<!-- keys of {file.file} -->" in TEMPLATE.read_text(), file.file
        assert f"#### `{file.place}`" in page and f"schemas/{file.name}.schema.json" in page
        assert all(f"| `{field.alias or name}` |" in page for name, field in file.model.model_fields.items())


def test_every_link_within_the_page_has_its_heading():
    page = results_page()
    parts = [line for line in page.splitlines() if line.startswith("#### ")]
    assert len(parts) == len(set(parts))
    headings = {re.sub(r"[^a-z0-9 _-]", "", line.lstrip("#").strip().lower()).replace(" ", "-")
                for line in page.splitlines() if line.startswith("#")}  # fmt: skip
    links = set(re.findall(r"\]\(#([^)]+)\)", page))
    assert links and links <= headings


@pytest.mark.parametrize("name", KEYS)
def test_the_schemas_hold_the_keys_of_the_contract(name):
    file = next(file for file in FILES if file.name == name)
    assert missing_in_schema(KEYS[name], schema(file)) == []


@pytest.mark.parametrize("name", KEYS)
def test_the_keys_held_are_those_that_the_contract_names(name):
    """Each stands there between quotes, so that the list can't drift away from the text."""
    section = CONTRACT[CONTRACT.index("## 3. Results") :]
    leaves = {re.split(r"[.\[\]*]+", key)[-1] for key in KEYS[name]}
    assert {leaf for leaf in leaves if f'"{leaf}"' not in section} == set()


def test_a_schema_that_lacks_a_key_is_told():
    file = next(file for file in FILES if file.name == "friction")
    content = json.loads(
        json.dumps(schema(file)).replace('"mu_mean"', '"mean_mu"').replace('"tolerance_low"', '"lower"')
    )
    assert missing_in_schema(KEYS["friction"], content) == ["window.mu_mean", "curve[].tolerance_low"]
    assert missing_in_file(("a[].b", "c.*.d", "e.f"), {"a": [{"b": 1}, {}], "c": {"x": {"d": 1}}, "e": None}) == [
        "a[].b"
    ]
