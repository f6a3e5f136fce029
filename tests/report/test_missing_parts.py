"""Pages and sheet stand when parts of the results are missing: a null, an absent key, a stage that failed."""

import random
from dataclasses import replace
from typing import Any

import pytest

from pipeline.method import from_stage_settings
from pipeline.report import document, inputs, per_test_findings, plots, sheet
from pipeline.report import per_test_page as page_stage
from pipeline.report.source import Cited
from pipeline.results.friction import TestFriction
from pipeline.results.model import Interval, Result, renewed
from pipeline.results.unusable import unusable
from tests.report import contents, makers

# a few by default, more under the heavy mark
SEEDS = pytest.mark.parametrize(
    "seeds", [range(2), pytest.param(range(2, 5), marks=pytest.mark.heavy)], ids=["few", "more"]
)


def holed_result(result: Result, rng: random.Random, share: float = 0.12) -> Result:
    """A copy of a typed result with holes that its model lets be: fields at their default, figures null with a reason."""
    if isinstance(result, Interval) and rng.random() < share:
        return renewed(result, value=None, low=None, high=None, why="not told")
    holes: dict[str, Any] = {}
    own = type(result).model_fields
    for name, info in own.items():
        if not info.is_required() and rng.random() < share and not isinstance(result, Interval):
            holes[name] = info.get_default(call_default_factory=True)
            reasons = (key for key in (f"{name}_why", "why") if key in own and own[key].annotation == str | None)
            holes |= dict.fromkeys(reasons, "not told")
        elif name not in holes:
            holes[name] = _holed(getattr(result, name), rng, share)
    return renewed(result, **holes)


def _holed(value: Any, rng: random.Random, share: float) -> Any:
    if isinstance(value, Result):
        return holed_result(value, rng, share)
    if isinstance(value, list):
        return [_holed(one, rng, share) for one in value]
    if isinstance(value, dict):
        return {key: _holed(one, rng, share) for key, one in value.items()}
    return value


def holed_parts(loaded: Any, names: tuple[str, ...], rng: random.Random) -> Any:
    """The inputs with holes in some of their files."""
    cited = {name: getattr(loaded, name) for name in names}
    return replace(loaded, **{name: replace(one, result=holed_result(one.result, rng)) for name, one in cited.items()})


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    root = tmp_path_factory.mktemp("missing")
    return makers.results_of_compound(root, ("m4-a", "m4-b")), root


@pytest.mark.parametrize(
    ("part", "stage", "name"),
    [
        ("record", "channels", "m4-a.json"),
        ("summary", "stops", "summary.json"),
        ("friction", "friction", "friction.json"),
        ("wear", "wear", "wear.json"),
        ("drift", "drift", "drift.json"),
    ],
)
@pytest.mark.usefixtures("undrawn")
def test_a_stage_that_failed_leaves_a_page(made, part, stage, name):
    arguments, root = made
    folder = arguments["results"] / "tests" / "m4-a"
    failed = unusable(stage, name, "m4-a", f"fault of ours in stage {stage}")
    found = replace(per_test_findings.load(folder, root / "results" / "channels" / "m4-a.json"), **{part: failed})
    reduction = from_stage_settings(arguments["settings"]).reduction
    content = page_stage.context("m4-a", "first", found, [], arguments["archive"] / "m4-a", found.unusable, reduction)
    assert content["title"] == "Test m4-a"
    said = " ".join(text for _, text in content["verdicts"])
    assert f"fault of ours in stage {stage}" in said


@SEEDS
def test_a_page_from_results_with_holes(made, seeds):
    """Seeded mutilations of what docs/contract.md lets be null; nothing raises, and every figure is given or says why."""
    arguments, root = made
    folder = arguments["results"] / "tests" / "m4-a"
    whole = per_test_findings.load(folder, root / "results" / "channels" / "m4-a.json")
    whole = replace(whole, friction=TestFriction.model_validate(contents.full_friction_json()))
    reduction = from_stage_settings(arguments["settings"]).reduction
    for seed in seeds:
        rng = random.Random(seed)
        parts = ("record", "summary", "friction", "wear", "drift")
        found = replace(whole, **{name: holed_result(getattr(whole, name), rng) for name in parts})
        content = page_stage.context("m4-a", "first", found, [], arguments["archive"] / "m4-a", None, reduction)
        assert set(content["figures"]) >= {"friction_temperature", "drift", "wear_intervals"}, seed


@SEEDS
def test_a_sheet_from_results_with_holes(made, seeds):
    arguments, _ = made
    loaded = inputs.load(**arguments, software="test")
    loaded = replace(loaded, friction=Cited("friction.json", contents.of_compound()))
    for seed in seeds:
        rng = random.Random(seed)
        tests = [holed_parts(test, ("summary", "friction", "wear", "drift"), rng) for test in loaded.tests]
        holed = holed_parts(replace(loaded, tests=tests), ("friction", "wear", "batches", "duty"), rng)
        sections = [document.reasons_once(section(holed)) for section in sheet.SECTIONS]
        said = [text for section in document.printed(sections) for text in section.text]
        assert not [text for text in said if "None" in text], seed
        plots.drawn(holed, sheet.picture_names(sections))


def test_a_copy_of_another_test_is_no_specimen_of_the_sheet(made):
    arguments, _ = made
    loaded = inputs.load(**arguments, software="test")
    assert [t.test for t in loaded.usable] == ["m4-a", "m4-b"]
    friction = contents.of_compound(tests_left_out={"m4-b": "holds the recordings of m4-a"})
    once = replace(loaded, friction=Cited("friction.json", friction))
    assert [t.test for t in once.usable] == ["m4-a"]
    said = [text for section in sheet.SECTIONS for text in document.printed([section(once)])[0].text]
    assert any("m4-b: holds the recordings of m4-a" in text for text in said)
