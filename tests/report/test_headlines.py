"""A headline says no more than the JSON: flags of the files against the words of every page, through one vocabulary."""

from __future__ import annotations

import html
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from pydantic import ValidationError

from pipeline.report import compound_page, index_page, off_band, per_test_verdict, plots, sheet, verdicts
from pipeline.report.inputs import Inputs
from pipeline.results import read_json, write_json
from pipeline.results.batches import CompoundBatches
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.drift import TestDrift
from pipeline.results.friction_map import Holds
from pipeline.results.model import renewed
from pipeline.results.wear import TestWear
from tests.report import contents, makers

pytestmark = pytest.mark.usefixtures("undrawn")
WHY = "misfit, chi2 per degree of freedom 215: the law is wrong by some 23 % of a loss"


def shown(page: Path) -> str:
    """The page's text without its figures' data."""
    text = re.sub(r"<(script|style)\b.*?</\1>", " ", page.read_text(), flags=re.DOTALL)
    text = re.sub(r"</?(a|span)\b[^>]*>", "", text)  # stand within a sentence
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", text)))


def verdicts_of(page: Path) -> dict[str, str]:
    """Tone by headline of a test's page."""
    found = re.findall(r'<p class="verdict (\w+)">(.*?)</p>', page.read_text())
    return {html.unescape(text): tone for tone, text in found}


def unidentified(wear: dict[str, Any], component: str = "disc") -> dict[str, Any]:
    wear["components"][component]["models"][0] |= {"identified": False, "why": WHY}
    return wear


def page_with(root: Path, **files: Any) -> Path:
    paths = makers.results_of_test(root, "m4-a")
    for name, change in files.items():
        change(content := read_json(paths["into"] / f"{name}.json"))
        write_json(paths["into"] / f"{name}.json", content)
    return makers.page_of_test(paths)


def sheet_with(root: Path, *, target: bool = True, **files: Any) -> Path:
    arguments = makers.results_of_compound(root, ("m4-a", "m4-b"), target=target, **files)
    made = sheet.made(**arguments)
    page = arguments["into"] / "sheet.html"
    page.write_text(compound_page.html(made.title, made.under, made.loaded, made.sections, {}))
    sheet.print_json(made, arguments["into"] / "sheet.json")
    return page


def starting(texts: dict[str, str], start: str) -> tuple[str, str]:
    ((text, tone),) = [(text, tone) for text, tone in texts.items() if text.startswith(start)]
    return text, tone


def test_a_law_that_is_not_identified_is_no_law_in_a_headline(tmp_path: Path) -> None:
    page = page_with(tmp_path, wear=unidentified)
    text, tone = starting(verdicts_of(page), "Wear:")
    assert f"disc 0.426 (0.400 to 0.452) µm per stop, both faces together (no law identified, because {WHY})" in text
    assert "pad inner 0.426 (0.400 to 0.452) µm per stop, its one face (energy law)" in text
    assert tone == "open"
    assert '"name":"disc: energy law, not identified"' in page.read_text()


def test_the_figure_of_wear_says_which_faces_it_is_of() -> None:
    """It stands without its interval on the index, beside a target that may be of one face."""
    glance = per_test_verdict.of_wear(TestWear.model_validate(contents.wear_json()))
    assert glance.figure == "disc 0.426 µm per stop, both faces together" and glance.interval.startswith(
        "(0.400 to 0.452);"
    )


def test_identified_laws_are_told_by_name(tmp_path: Path) -> None:
    text, tone = starting(verdicts_of(page_with(tmp_path)), "Wear:")
    assert text.count("(energy law)") == 2
    assert tone == "good"


def test_a_rate_that_is_not_given_says_why_and_no_unit(tmp_path: Path) -> None:
    def without(wear: dict[str, Any]) -> None:
        wear["components"]["disc"]["rates"]["um_per_stop"] = {
            "value": None,
            "low": None,
            "high": None,
            "why": "two readings",
        }
        wear["components"]["disc"] |= {"chosen": None, "chosen_why": "two readings tell no law"}

    text, tone = starting(verdicts_of(page_with(tmp_path, wear=without)), "Wear:")
    assert "disc rate not given, because two readings (no law chosen, because two readings tell no law)" in text
    assert tone == "open"


def test_the_sheet_says_the_same_of_a_law(tmp_path: Path) -> None:
    text = shown(sheet_with(tmp_path, wear=unidentified(contents.wear_json(compound="Marram 4"))))
    assert f"no law identified, because {WHY}" in text
    for said in re.findall(r"[^.]*\bdisc\b[^.]*energy law[^.]*\.", text):
        assert "not identified" in said or "no law identified" in said, said


def test_a_window_sought_in_a_band_of_our_own_is_no_good_news(tmp_path: Path) -> None:
    def own(friction: dict[str, Any]) -> None:
        friction["wanted_from"] = "within 15 % of the plateau's mean 0.422 (no target)"

    _, tone = starting(verdicts_of(page_with(tmp_path, friction=own)), "Friction window")
    assert tone == "open"


def test_a_drift_verdict_that_is_not_given_is_not_none(tmp_path: Path) -> None:
    root = tmp_path
    arguments = makers.results_of_compound(root, ("m4-a", "m4-b"))
    drift = arguments["results"] / "tests" / "m4-b" / "drift.json"
    write_json(drift, {"test": "m4-b", "verdict": None, "why": "no check stops were run"})
    made = sheet.made(**arguments)
    said = card("Drift", made.sections)
    assert said.text == "Drift: not given in m4-b, because no check stops were run."
    assert said.tone == "open"


def test_the_answer_of_wear_is_the_discs_wherever_it_is_told(tmp_path: Path) -> None:
    into = makers.workspace(tmp_path)
    index_page.run(config=tmp_path / "config.yaml", method="first", into=into)
    index_page.draw(config=tmp_path / "config.yaml", method="first", into=into)
    text = shown(into / "index.html")
    assert "disc wear equivalent" in text
    assert not re.search(r"(?<!disc )wear (equivalent|different|undecided)", text)


@pytest.mark.parametrize("answer", ["undecided", "", None])
def test_an_answer_of_no_known_kind_is_refused(answer: str | None) -> None:
    with pytest.raises(ValidationError, match="answer"):
        Holds.model_validate({"answer": answer, "from_c": 280.0, "to_c": 580.0, "why": "no data"})


@pytest.mark.parametrize("answer", ["no", "not shown"])
def test_what_is_not_a_yes_is_never_one(tmp_path: Path, answer: str) -> None:
    holds = {"answer": answer, "from_c": 280.0, "to_c": 580.0, "why": "no data from 501 to 580 C"}
    side = {"side": "low-energy side", "answer": answer, "text": f"side: {answer}; no fade", "questions": []}
    sides = {"answer": answer, "low_energy": side, "high_energy": side, "text": "both"}

    def undecided(friction: dict[str, Any]) -> None:
        friction.update(holds=holds, sides=sides)

    for text, tone in verdicts_of(page_with(tmp_path, friction=undecided)).items():
        if text.startswith(("Does friction hold", "Side")):
            assert tone != "good"
            assert "Yes" not in text and "None" not in text
    page = sheet_with(tmp_path, friction=contents.full_friction_json(compound="Marram 4", holds=holds, sides=sides))
    assert {row["met"] for row in read_json(page.with_suffix(".json"))["targets"] if "band" in row["target"]} <= {
        "not met",
        "undecided",
    }
    assert "None" not in shown(page)


def test_sentences_of_results_are_worded_on_a_tests_page(tmp_path: Path) -> None:
    def raw(friction: dict[str, Any]) -> None:
        friction["windows_at_why"] = "the most stops of another are 4 at 20.6 J/mm2, 269 to 402 C"
        friction["holds"] = {"answer": "not shown", "from_c": 280.0, "to_c": 580.0, "why": "no mu from 501 to 580 C"}

    page = page_with(tmp_path, friction=raw)
    assert "no µ from 501 to 580 °C" in shown(page) and "20.6 J/mm², 269 to 402 °C" in shown(page)
    assert "580 C" not in shown(page) and "J/mm2" not in shown(page)


def test_stops_in_the_window_and_off_the_band_are_told(tmp_path: Path) -> None:
    """From one block on, use at low energy reads low inside the window's own temperatures."""
    arguments = makers.results_of_compound(tmp_path, ("m4-a", "m4-b"))
    for name in ("m4-a", "m4-b"):
        makers.lowered(arguments["results"] / "tests" / name, block="valley duty", temperature_c=300.0, mu=0.31)
    friction = arguments["into"] / "friction.json"
    write_json(friction, read_json(friction) | {"wanted_mu": [0.38, 0.56], "wanted_from": "target"})
    made = sheet.made(**arguments)
    parts = [part for section in made.sections for part in section.parts]
    said = [part.text for part in parts if getattr(part, "text", "").startswith("Stops of any purpose")]
    assert len(said) == 1  # on page one; Friction tells them by block, in a table
    assert "valley duty" in said[0] and "0.310" in said[0]
    printed = read_json(sheet_with_made(arguments))["sections"]
    numbers = {n["label"]: n["value"] for section in printed for n in section["numbers"]}
    assert numbers["ok stops inside the window's temperatures and outside the target band"] >= 48


def sheet_with_made(arguments: dict[str, Any]) -> Path:
    sheet.print_json(sheet.made(**arguments), arguments["into"] / "sheet.json")
    return arguments["into"] / "sheet.json"


def test_a_pooled_curve_of_batches_that_differ_is_told_to_be_none_of_theirs(tmp_path: Path) -> None:
    text = shown(sheet_with(tmp_path))
    assert "Friction (µ) differs by batch: M4-2406 and M4-2409. The curve is none of theirs." in text
    assert "0.452 (0.441 to 0.463)" in text and "0.401 (0.390 to 0.412)" in text
    same = contents.batches_json()
    for pair in same["pairs"]:
        pair["mu_verdict"] = "equivalent"
    assert "differs by batch" not in shown(sheet_with(tmp_path, batches=same))


def test_the_page_counts_stops_off_the_band_by_block() -> None:
    stops = makers.stops_of_programme().with_columns(
        pl.when(pl.col("block") == "valley duty").then(225.0).otherwise(pl.col("temperature_initial_c")).alias("temperature_initial_c"),
        pl.when(pl.col("block") == "valley duty").then(0.3).otherwise(0.45).alias("mu"),
    )  # fmt: skip
    friction = contents.of_test(wanted_mu=[0.38, 0.56])
    assert off_band.sentence(stops, friction, "temperature_initial_c") is None
    wider = contents.window(low_interval_c={"low": 220.0, "high": 240.0})
    friction = contents.of_test(wanted_mu=[0.38, 0.56], window=wider)
    tone, said = off_band.sentence(stops, friction, "temperature_initial_c") or ("", "")
    assert "(its ends' intervals included, 220 to 604 °C)" in said
    assert "valley duty (duty) 24 of 24, µ 0.300 to 0.300." in said
    assert tone == "open"
    assert off_band.by_block(stops, renewed(friction, wanted_mu=None), "temperature_initial_c").is_empty()
    assert off_band.by_block(stops, renewed(friction, window=None), "temperature_initial_c").is_empty()


def test_batches_that_differ_have_their_own_curves_in_the_figure(tmp_path: Path) -> None:
    friction = contents.full_friction_json(compound="Marram 4")
    loaded = sheet.made(**makers.results_of_compound(tmp_path, ("m4-a",), friction=friction)).loaded
    names = {"batch M4-2406", "batch M4-2409"}

    def drawn(inputs: Inputs) -> set[str]:
        figure = plots.drawn(inputs, ["friction"])["friction"]
        return {str(line.get_label()) for line in figure.axes[0].lines}

    assert names | {"stops of other purposes"} <= drawn(loaded)
    same = contents.batches_json()
    for pair in same["pairs"]:
        pair["mu_verdict"] = "undecided"
    assert not names & drawn(
        replace(loaded, batches=replace(loaded.batches, result=CompoundBatches.model_validate(same)))
    )


WHY_NONE_ELSEWHERE = "no pressure and energy density but the reference's has 6 stops over an unbroken 60 K"


def test_no_window_at_other_conditions_says_why_and_whom_the_window_is_not_for(tmp_path: Path) -> None:
    def without(friction: dict[str, Any]) -> None:
        friction.update(windows_at=[], windows_at_why=WHY_NONE_ELSEWHERE)

    page = page_with(tmp_path / "test", friction=without)
    assert WHY_NONE_ELSEWHERE in shown(page)
    text, _ = starting(verdicts_of(page), "Friction window")
    assert "not for gentler or harder stops" in text
    friction = contents.full_friction_json(compound="Marram 4", windows_at=[], windows_at_why=WHY_NONE_ELSEWHERE)
    sheets = shown(sheet_with(tmp_path / "compound", friction=friction))
    assert WHY_NONE_ELSEWHERE in sheets and "not for gentler or harder stops" in sheets


def test_best_estimate_of_the_ends_stands_beside_the_window_and_without_one(tmp_path: Path) -> None:
    estimate = contents.window_estimate()
    said = "the middle 90 % of single stops enter the band at 226 °C (221 to 232) and leave it at 604 °C, where the data end"

    def given(friction: dict[str, Any]) -> None:
        friction["window_estimate"] = estimate

    def alone(friction: dict[str, Any]) -> None:
        friction.update(window=None, window_reason="the band is too wide", window_estimate=estimate)

    text, _ = starting(verdicts_of(page_with(tmp_path / "test", friction=given)), "Friction window")
    assert f"By best estimate {said}; that has no margin" in text.replace("\u00a0", " ")
    text, _ = starting(verdicts_of(page_with(tmp_path / "alone", friction=alone)), "No friction window")
    assert f"the band is too wide. By best estimate {said}; that is not shown with confidence" in text
    friction = contents.full_friction_json(compound="Marram 4", window_estimate=estimate)
    made = sheet.made(**makers.results_of_compound(tmp_path, ("m4-a",), friction=friction))
    written = card("By best estimate", made.sections)
    assert "the window has it and decides" in written.text and written.values["low"].low == 221.0
    friction["window_estimate"] = {**estimate, "low_limited_by": "data"}
    made = sheet.made(**makers.results_of_compound(tmp_path / "data", ("m4-a",), friction=friction))
    assert not [p for one in made.sections for p in one.parts if getattr(p, "text", "").startswith("By best")]


def test_the_narrowest_batchs_window_stands_beside_the_wider_one_of_all(tmp_path: Path) -> None:
    friction = contents.full_friction_json(compound="Marram 4")
    friction["by_batch"][1]["window"] = contents.window(low_c=247.0, high_c=590.0)
    said = "batch M4-2409 alone: 247 °C to 590 °C"
    made = sheet.made(**makers.results_of_compound(tmp_path, ("m4-a",), friction=friction))
    assert said in card("Friction window", made.sections).text.replace("\u00a0", " ")
    assert "batch M4-2409 alone: 247 to 590 °C" in index_page.window_words(CompoundFriction.model_validate(friction))
    friction["by_batch"][1].update(window=None, window_reason="the band fits nowhere")
    assert "batch M4-2409 alone: none" in index_page.window_words(CompoundFriction.model_validate(friction))
    friction["by_batch"] = friction["by_batch"][:1]
    assert "alone" not in index_page.window_words(CompoundFriction.model_validate(friction))


def test_an_interval_that_reaches_the_end_of_the_data_is_open(tmp_path: Path) -> None:
    opened = contents.window(
        high_c=664.0, high_limited_by="band", high_interval_c={"low": 654.0, "high": 681.7, "beyond_data": True}
    )

    def wide(friction: dict[str, Any]) -> None:
        friction["window"] = opened

    text, _ = starting(verdicts_of(page_with(tmp_path / "test", friction=wide)), "Friction window")
    assert "664 °C (654 to 682, where the data end, or beyond)" in text
    friction = contents.full_friction_json(compound="Marram 4", window=opened)
    said = shown(sheet_with(tmp_path / "compound", friction=friction))
    assert "reaching to where the data end, or beyond, at the reference" in said
    assert "upper end: the tolerance band leaves the target band of µ" in said
    friction["wanted_from"] = "about the plateau"
    said = shown(sheet_with(tmp_path / "sought", friction=friction))
    assert "upper end: the tolerance band leaves the band sought" in said


def test_what_the_map_misses_is_told_by_condition_with_its_tests_and_no_p_of_nought(tmp_path: Path) -> None:
    friction = contents.full_friction_json(compound="Marram 4")
    missed = friction["model"]["lack_of_fit"]
    missed["p"] = 1e-8
    missed["where"][0] |= {
        "by_test": [{"test": "m4-a", "stops": 2, "share": 0.026}, {"test": "m4-b", "stops": 2, "share": -0.027}],
        "signs_differ": True,
    }
    text = shown(sheet_with(tmp_path, friction=friction)).replace("\u00a0", " ")
    assert "p of no misfit below 0.001" in text
    told = "at 180 °C, 20 bar and 20.0 J/mm²: 2.6 % in m4-a and -2.7 % in m4-b (of either sign, so specimens or runs may be a part of it)."
    assert told in text.replace("−", "-")


def test_a_map_that_interacts_says_by_how_much(tmp_path: Path) -> None:
    def interacting(friction: dict[str, Any]) -> None:
        friction["model"] = contents.full_friction_json()["model"]

    assert "move the curve towards the cold, pressure 80 ± 12 K" in shown(
        page_with(tmp_path / "test", friction=interacting)
    )
    friction = contents.full_friction_json(compound="Marram 4")
    text = shown(sheet_with(tmp_path / "compound", friction=friction)).replace("\u00a0", " ")
    assert "pressure 80 K (standard uncertainty 6 K)" in text


def test_the_sheets_wear_and_targets_name_what_they_are_of(tmp_path: Path) -> None:
    """A mean over all programs stands beside batches in their common one; a pooled figure is no worst batch's."""
    said = shown(sheet_with(tmp_path))
    assert "Wear over the stops of all tests as run, after bedding" in said and "of both faces together" in said
    assert "Found, in what it rests on" in said and "where worst" not in said


@pytest.mark.parametrize(
    ("recovered", "answer", "said"),
    [
        (True, "yes", "back to near the level before"),
        (False, "no", "It did not recover"),
        (False, "unclear", "not clear"),
    ],
)
def test_a_recovery_that_only_may_have_failed_is_not_called_failed(recovered: bool, answer: str, said: str) -> None:
    """97.9 % of the level before with a tenth of the loss still missing is near it, and no more is said."""
    item = {"answer": answer, "value": 0.93, "threshold": 0.95, "unit": "share", "words": "x"}
    drift = TestDrift.model_validate(
        {
            "test": "t",
            "verdict": "glazing-like",
            "recovered": recovered,
            "evidence": {"items": {"glazing-like": {"recovery": item}}},
        }
    )
    assert said in verdicts.drift_sentences(drift)[1][-1]


def card(text: str, sections: Any) -> Any:
    """The one text of the sheet that begins so: what is said once."""
    (found,) = [part for one in sections for part in one.parts if getattr(part, "text", "").startswith(text)]
    return found


def test_the_windows_card_is_not_good_while_gentle_use_at_its_temperatures_misses_the_band(tmp_path: Path) -> None:
    arguments = makers.results_of_compound(tmp_path, ("m4-a", "m4-b"))
    friction = arguments["into"] / "friction.json"
    write_json(friction, read_json(friction) | {"wanted_mu": [0.2, 0.6], "wanted_from": "target"})
    kept = card("Friction window", sheet.made(**arguments).sections)
    assert kept.tone == "good" and "Not so of these" not in kept.text
    for name in ("m4-a", "m4-b"):
        makers.lowered(arguments["results"] / "tests" / name, block="valley duty", temperature_c=300.0, mu=0.11)
    missed = card("Friction window", sheet.made(**arguments).sections)
    assert missed.tone == "open"
    assert "Not so of these, which lie outside it: valley duty (duty) 48 of 48." in missed.text


def test_drift_that_was_not_seen_is_no_good_news_where_glazing_was_not_tested(tmp_path: Path) -> None:
    arguments = makers.results_of_compound(tmp_path, ("m4-a", "m4-b"))
    friction, why = arguments["into"] / "friction.json", "the longest low-energy use between checks had 20 stops"
    told = read_json(friction)
    write_json(friction, told | {"glaze_limit": {"text": f"not known: {why}", "why": why}})
    made = sheet.made(**arguments)
    said = card("Drift", made.sections)
    assert (said.text, said.tone) == (f"Drift: none seen; glazing not tested: {why}.", "open")
    parts = next(section for section in made.sections if section.title == "Stability").parts
    rows = next(part.rows for part in parts if hasattr(part, "rows"))
    assert [row[-1] for row in rows] == ["glazing: not tested"] * 2
    harmless = {"tests": ["m4-a"], "stretches": 1, "stops": 120, "temperature_c": {"value": 90.0}, "shown": "harmless",
                "power_density_w_mm2": {"value": 0.2}, "loss_per_stop": {"value": 0.0}, "loss_per_j_mm2": {"value": 0.0}}  # fmt: skip
    film = {"uses": [harmless], "rate_that_matters_per_stop": 5e-4}
    write_json(friction, told | {"glaze_limit": {"text": f"not known: {why}", "why": why}, "film": film})
    assert card("Drift", sheet.made(**arguments).sections).tone == "good"


def test_rows_by_batch_stand_with_the_batches_and_a_reason_in_every_undecided_row(tmp_path: Path) -> None:
    sections = {one.title: one for one in sheet.made(**makers.results_of_compound(tmp_path, ("m4-a", "m4-b"))).sections}
    short, batches = ([p for p in sections[name].parts if hasattr(p, "rows")] for name in ("In short", "Batches"))
    (targets,) = short
    undecided = [row for row in targets.rows if row[5] == "undecided"]
    assert undecided and all(row[6] not in ("", "–") for row in undecided)
    (each,) = [table for table in batches if getattr(table, "caption", "").startswith("Targets for every batch")]
    assert len(each.rows) > len(targets.rows)
