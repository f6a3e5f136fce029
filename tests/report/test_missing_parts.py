"""Pages and sheet stand when parts of the results are missing: a null, an absent key, a stage that failed."""

import copy
import random
from dataclasses import replace
from typing import Any

import pytest

from pipeline.method import from_stage_settings
from pipeline.report import document, inputs, per_test_findings, plots, sheet
from pipeline.report import per_test_page as page_stage
from pipeline.results.model import Interval, Result, renewed
from pipeline.results.unusable import unusable
from tests.report import contents, makers

SEEDS = 4
NULLABLE = {"wear_um", "wear_u_um", "predicted_um", "chi2_per_dof", "aicc", "loo_rmse_um", "relative_u", "index", "mu_min", "onset_low",
            "window_share", "glazing_share", "opening_to_run", "bite", "wear_um_per_stop", "mu", "law", "rates", "shares", "chosen", "models",
            "blocks", "intervals", "mass_to_thickness", "temperature_range_c", "map_and_duty", "caveat", "extrapolated", "sweep", "history"}  # fmt: skip


def nulled(content, rng, share=0.12, depth=0):
    """A copy with holes that a stage may leave: keys of the top level null or absent, figures and optional parts null."""
    if isinstance(content, list):
        return [nulled(item, rng, share, depth + 1) for item in content]
    if not isinstance(content, dict):
        return content
    if "value" in content and rng.random() < share:
        return {**content, "value": None, "low": None, "high": None, "why": "not told"}
    curve = "tolerance_low" in content or "x_values" in content
    out = {}
    for key, value in content.items():
        chance = rng.random()
        if chance < share and (depth == 0 or key in NULLABLE) and not curve:
            if depth or chance < share / 2:
                out[key] = None
            continue
        out[key] = nulled(value, rng, share, depth + 1)
    return out


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


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    root = tmp_path_factory.mktemp("missing")
    return makers.results_of_compound(root, ("m4-a", "m4-b")), root


@pytest.mark.parametrize("stage", ["summary", "friction", "wear", "drift", "channels", "rigs", "stops_findings"])
def test_a_stage_that_failed_leaves_a_page(made, stage):
    arguments, root = made
    folder = arguments["results"] / "tests" / "m4-a"
    found = per_test_findings.load(
        folder, root / "results" / "channels" / "m4-a.json", arguments["results"] / "rigs.json"
    )
    why = f"fault of ours in stage {stage}"
    failed = unusable(f"{stage}.json", "m4-a", why, of_compound=False) if stage == "drift" else None
    found[stage] = failed or {"test": "m4-a", "unusable": why, "findings": []}
    reduction = from_stage_settings(arguments["settings"]).reduction
    why = per_test_findings.why_unusable(found)
    content = page_stage.context("m4-a", "first", found, [], arguments["archive"] / "m4-a", why, reduction)
    assert content["title"] == "Test m4-a"


def test_a_page_from_results_with_holes(made):
    """Seeded mutilations of what docs/contract.md lets be null; nothing raises, and every figure is given or says why."""
    arguments, root = made
    folder = arguments["results"] / "tests" / "m4-a"
    whole = per_test_findings.load(
        folder, root / "results" / "channels" / "m4-a.json", arguments["results"] / "rigs.json"
    )
    whole["friction"] = contents.full_friction_json()
    reduction = from_stage_settings(arguments["settings"]).reduction
    for seed in range(SEEDS):
        rng = random.Random(seed)
        found = {k: (nulled(copy.deepcopy(v), rng) if isinstance(v, dict) else v) for k, v in whole.items()}
        found["drift"] = holed_result(whole["drift"], rng)
        content = page_stage.context("m4-a", "first", found, [], arguments["archive"] / "m4-a", None, reduction)
        assert set(content["figures"]) >= {"friction_temperature", "drift", "wear_intervals"}, seed


def test_a_sheet_from_results_with_holes(made):
    arguments, _ = made
    loaded = inputs.load(**arguments, software="test")
    names = ("friction", "wear")
    loaded = replace(
        loaded, friction=document.Source("friction.json", contents.full_friction_json(compound="Marram 4"))
    )
    for seed in range(SEEDS):
        rng = random.Random(seed)
        holes = {
            name: replace(getattr(loaded, name), data=nulled(copy.deepcopy(getattr(loaded, name).data), rng))
            for name in names
        }
        holes |= {
            name: replace(getattr(loaded, name), result=holed_result(getattr(loaded, name).result, rng))
            for name in ("batches", "duty")
        }
        tests = [replace(t, **{n: replace(getattr(t, n), data=nulled(copy.deepcopy(getattr(t, n).data), rng)) for n in ("summary", "friction", "wear")}, drift=replace(t.drift, result=holed_result(t.drift.result, rng)))
                 for t in loaded.tests]  # fmt: skip
        holed = replace(loaded, tests=tests, **holes)
        sections = [document.reasons_once(section(holed)) for section in sheet.SECTIONS]
        said = [text for section in document.as_json(sections) for text in section["text"]]
        assert not [text for text in said if "None" in text], seed
        if seed < 4:
            plots.drawn(holed, sheet.picture_names(sections))


def test_a_copy_of_another_test_is_no_specimen_of_the_sheet(made):
    arguments, _ = made
    loaded = inputs.load(**arguments, software="test")
    assert [t.test for t in loaded.usable] == ["m4-a", "m4-b"]
    friction = {
        **contents.full_friction_json(compound="Marram 4"),
        "tests_left_out": {"m4-b": "holds the recordings of m4-a"},
    }
    once = replace(loaded, friction=document.Source("friction.json", friction))
    assert [t.test for t in once.usable] == ["m4-a"]
    said = [text for section in sheet.SECTIONS for text in document.as_json([section(once)])[0]["text"]]
    assert any("m4-b: holds the recordings of m4-a" in text for text in said)
