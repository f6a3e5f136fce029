"""Openings at which friction of such stops was not tested are not told as openings to run, in any place that tells them."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from pipeline.duty.both import both
from pipeline.duty.sweep import common
from pipeline.report import index_page, numbers
from pipeline.report.sections import duty as section
from pipeline.report.sections.openings import opening_text, opening_texts
from pipeline.report.sections.targets import BETWEEN, by
from pipeline.report.source import Cited
from pipeline.results.duty import CompoundDuty, DutyProjection
from pipeline.results.targets import Judged
from tests.duty.test_both import Asked, friction, gentle, hard, point
from tests.report import contents
from tests.report.test_headlines import sheet_with, shown

BY_HARDER = "by the window of harder stops it would be"


def support(basis: str, **facts: Any) -> dict[str, Any]:
    return {
        "support": {"friction_share": 0.0, "opening_basis": basis, "opening_tested": {"low": 0.0, "high": 0.1}, **facts}
    }


def cited(**facts: Any) -> Cited[DutyProjection]:
    return Cited("duty.json", gentle((0.0, 0.2), None, **facts).projection)


def test_an_opening_whose_friction_was_not_tested_is_not_known() -> None:
    limits = [{"cause": "window", "at": 0.2, "side": "high", "why": "too cold"}]
    one = cited(**support("mostly extrapolated"), limits=limits)
    said = opening_text(one)
    assert "opening to run: not known: friction of such stops was not tested" in said.text
    assert f"{BY_HARDER} 0.00 to 0.20" in said.text and said.tone == "open"
    (limit,) = [text for text in opening_texts(one) if "no higher than" in getattr(text, "text", "")]
    assert "friction of such stops was not tested" in limit.text and limit.tone == "open"
    assert f"not known: friction of such stops was not tested ({BY_HARDER} 0.00 to 0.20)" in index_page.opening_words(
        one.result
    )


@pytest.mark.parametrize("basis", ["tested", "partly extrapolated", None])
def test_an_opening_of_which_half_was_tested_is_told(basis: str | None) -> None:
    one = cited(**(support(basis) if basis else {}))
    assert "cooling opening to run: 0.00 to 0.20" in opening_text(one).text
    assert "not known" not in index_page.opening_words(one.result)


@pytest.mark.parametrize(
    ("basis", "said"),
    [
        ("tested", "No opening serves all duties: "),
        ("mostly extrapolated", "No opening is shown to serve all duties: "),
    ],
)
def test_openings_that_are_not_known_do_not_rule_out_a_common_one(basis: str, said: str) -> None:
    one = cited(**support(basis)).result
    content = CompoundDuty(compound="c", duties=[one], common_opening=None, common_opening_why="no overlap")
    told = section.common_text(SimpleNamespace(duty=Cited("duty.json", content)))  # type: ignore[arg-type]
    assert told.text.startswith(said)


def test_no_margin_of_mu_is_offered_where_mu_of_the_stops_is_not_known() -> None:
    known = friction(wanted_mu=[0.38, 0.56], curve=[point(float(c)) for c in range(50, 701, 10)])
    ridge = hard((0.5, 1.0), (0.5, 1.0), window=(0.0, 1.0), temperature=500.0)

    def kinds(valley: Asked) -> list[str]:
        return [one.kind for one in both([valley, ridge], known, None).changes]

    assert "a margin of mu" in kinds(
        gentle((0.0, 0.3), (0.0, 0.3), temperature=300.0, **support("partly extrapolated"))
    )
    assert "a margin of mu" not in kinds(
        gentle((0.0, 0.3), (0.0, 0.3), temperature=300.0, **support("mostly extrapolated"))
    )


def test_the_sheets_answer_over_both_uses_does_not_tell_an_untested_opening(tmp_path: Path) -> None:
    content = contents.duty_json()
    content["duties"][0]["support"]["opening_basis"] = "mostly extrapolated"
    text = shown(sheet_with(tmp_path, duty=content))
    assert (
        "ridge route not known: friction of such stops was not tested; by the window of harder stops 0.42 to 0.66"
        in text
    )
    assert (
        "ridge route not known, as friction of such stops was not tested (by the window of harder stops 0.42 to 0.66)"
        in text
    )
    assert "Not known (by the window of harder stops 0.42 to 0.66)" in text
    said = index_page.duty_words(CompoundDuty.model_validate(content))
    assert "opening to run: not known" in said[0]


@pytest.mark.parametrize(
    ("source", "said"),
    [
        ("duty file", "1 = the duty's full h1"),
        ("h1 of the duty file, h0 a share of the rig's convection", "1 = the duty's full h1"),
        ("cool-downs on the rig, its air at any speed", "1 = the rig's air as tested"),
    ],
)
def test_an_opening_of_one_is_what_the_cooling_comes_from(source: str, said: str) -> None:
    cooling = {"h0_w_k": 6.0, "h1": 1.6, "source": source, "rig_air_at_any_speed": False}
    assert said in opening_text(cited(cooling=cooling)).text


@pytest.mark.parametrize(("low", "high", "said"), [(0.0, 1.0, "Not tested (0 to 100)"), (0.0, 0.1, "5 (0 to 10)")])
def test_a_share_in_glazing_prone_conditions_that_nothing_tells_is_not_nought(
    low: float, high: float, said: str
) -> None:
    one = cited(glazing_share=low if high > 0.2 else 0.05, glazing_share_interval={"low": low, "high": high})
    cell = section.glazing_cell(one)
    assert (cell.bare if hasattr(cell, "bare") else cell.text) == said


def test_energy_in_the_window_says_which_of_it_was_tested() -> None:
    shares = {"window_share_tested": 0.58, "window_share_extrapolated": 0.42}
    one = cited(**support("partly extrapolated", **shares), window_share_interval={"low": 1.0, "high": 1.0})
    assert section.inside_cell(one).text == "58 tested + 42 extrapolated"
    wide = cited(**support("partly extrapolated", **shares), window_share_interval={"low": 0.8, "high": 1.0})
    assert section.inside_cell(wide).text.startswith("58 tested + 42 extrapolated; together 100 (80 to 100)")


@pytest.mark.parametrize(
    ("figures", "limits", "said"),
    [
        ((1421.0, 198.0, 11447.0), (), "1400 (200 to 11400)"),
        ((8785.3, 7973.8, 9984.4), (), "8800 (8000 to 10000)"),
        ((8785.3, 7973.8, 9984.4), (8000.0, None), "8790 (7970 to 9980)"),
        ((0.5, 0.02, 1.0), (), "0.50 (0.02 to 1.00)"),
        ((0.5, 0.0, 1.0), (), "0.5 (0.0 to 1.0)"),
        ((0.455, 0.444, 0.4996), (0.34, 0.5), "0.4550 (0.4440 to 0.4996)"),
    ],
)
def test_rounding_hides_no_low_end_and_no_limit_that_fails(figures: Any, limits: Any, said: str) -> None:
    assert numbers.with_interval(*figures, against=limits) == said


@pytest.mark.parametrize(
    ("share", "said"), [(100.0, ">99.9"), (99.94, ">99.9"), (97.1, "97.1"), (0.0, "<0.1"), (0.2, "0.2")]
)
def test_a_chance_is_never_certainty(share: float, said: str) -> None:
    assert numbers.chance(share) == said


INPUTS = [{"name": "cooling", "u": 0.1, "source": "the duty's file; its uncertainty is the default"}]


def told(life: dict[str, Any], share: float) -> str:
    figure = {"value": 9000.0, "low": 8000.0, "high": 10000.0, **life}
    facts = support("tested", wear_share={"disc": share}) | {
        "life_cycles": figure,
        "life_limited_by": "disc",
        "inputs": INPUTS,
    }
    (said,) = section.source_texts(cited(**facts))
    return said.text


def test_a_life_says_first_what_its_interval_does_not_hold_and_what_is_assumed_of_it() -> None:
    readings = {
        "by_source": {"wear readings": 0.95},
        "dominated_by": "nearly all of the variance is the wear readings'",
    }
    cooling = {"by_source": {"cooling": 0.72}, "dominated_by": "72 % of the variance is the cooling"}
    assert told(readings, 1.0) == "valley, life: nearly all of the variance is the wear readings'."
    assert told(readings, 0.0).startswith(
        "valley, life: its interval does not hold the extrapolation, 100 % of the loss; of"
    )
    assert "how uncertain the cooling is was not measured: it is the tool's assumption" in told(cooling, 1.0)


def test_a_row_of_the_targets_says_why_its_figures_do_not_decide() -> None:
    def row(verdict: str, conformity: float, why: str) -> str:
        return by(
            Judged.model_validate({"of": "b", "verdict": verdict, "figure": {}, "conformity": conformity, "why": why})
        )

    beyond = "by the figures met, but 100 % of what it rests on is extrapolated"
    assert row("undecided", 0.971, f"{beyond}; the best estimate is inside the limits") == beyond
    assert row("undecided", 0.67, "the best estimate is inside the limits") == BETWEEN
    assert row("met", 0.999, "the best estimate is inside the limits") == "–"


def test_what_is_said_of_one_opening_for_all_does_not_tell_an_untested_one_either() -> None:
    valley, ridge = gentle((0.0, 0.3), None, **support("mostly extrapolated")), hard((0.5, 1.0), (0.5, 1.0))
    unknown = "valley not known: friction of such stops was not tested (by the window of harder stops it would be 0.00 to 0.30)"
    _, why = common([valley.projection, ridge.projection])
    assert why is not None and unknown in why and "ridge 0.50 to 1.00" in why
    found = both([valley, ridge], friction(), None)
    assert unknown in found.why and unknown in found.changes[0].words
