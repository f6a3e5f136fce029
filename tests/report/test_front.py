"""What a reader who wants to refuse a sheet would point at: an answer without its figure, a figure that denies the answer beside it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from pipeline.report import numbers, sheet, sheet_writer
from pipeline.report.document import Table, Text
from pipeline.results import read_json, write_json
from tests.report import makers


@pytest.fixture
def arguments(tmp_path: Path) -> dict[str, Any]:
    return makers.results_of_compound(tmp_path, ("m4-a", "m4-b"))


def changed(path: Path, **content: Any) -> None:
    write_json(path, read_json(path) | content)


def table(arguments: dict[str, Any], title: str, caption: str) -> Table:
    (section,) = [one for one in sheet.made(**arguments).sections if one.title == title]
    (found,) = [part for part in section.parts if isinstance(part, Table) and part.caption.startswith(caption)]
    return found


def figure_of(arguments: dict[str, Any], question: str) -> str:
    (row,) = [row for row in table(arguments, "Answers", "What was asked").rows if row[0] == question]
    assert isinstance(row[2], Text | str)
    return row[2] if isinstance(row[2], str) else row[2].text


def sides_with(low_energy: dict[str, Any]) -> dict[str, Any]:
    high = {"side": "high-energy side", "answer": "yes", "questions": [], "text": "yes"}
    return {"answer": low_energy["answer"], "low_energy": low_energy, "high_energy": high, "text": "both"}


def test_friction_that_gentle_use_changed_is_told_with_what_was_lost(arguments: dict[str, Any]) -> None:
    asked = {
        "question": "friction unchanged by duty",
        "answer": "no",
        "text": "m4-b: stops from 78 on are left out (drift)",
    }
    side = {"side": "low-energy side", "answer": "no", "questions": [asked], "text": "no"}
    changed(arguments["into"] / "friction.json", sides=sides_with(side))
    drift = arguments["results"] / "tests" / "m4-b" / "drift.json"
    changed(drift, verdict="glazing-like", mu_loss=0.061, mu_loss_low=0.052, mu_loss_high=0.07)
    said = figure_of(arguments, "Is friction kept in gentle use?")
    assert said == "m4-b: stops from 78 on are left out (drift); µ lost: 0.061 (0.052 to 0.070)"


def test_what_is_not_shown_is_named(arguments: dict[str, Any]) -> None:
    asked = {"question": "mu at the low energies run", "answer": "not shown", "text": "no stop there"}
    side = {"side": "low-energy side", "answer": "not shown", "questions": [asked], "text": "not shown"}
    changed(arguments["into"] / "friction.json", sides=sides_with(side))
    assert figure_of(arguments, "Is friction kept in gentle use?") == "µ at the low energies run: not shown"


def test_a_discs_wear_says_that_it_is_of_both_faces(arguments: dict[str, Any]) -> None:
    """The figure below it is of one: half of it."""
    assert "disc, both faces, " in figure_of(arguments, "Do the readings identify how it wears?")


def test_a_ratio_inside_the_margin_beside_another_answer_has_the_part_that_decides(arguments: dict[str, Any]) -> None:
    pairs = read_json(arguments["into"] / "batches.json")["pairs"]
    caption = "Pairs of batches against the margins"
    plain = {row[0]: row[5].text for row in table(arguments, "Batches", caption).rows}
    assert all("as run" not in text.lower() for text in plain.values())
    mechanical = pairs[0]["wear"][0] | {"ratio": {"value": 0.75, "low": 0.7, "high": 0.81}, "verdict": "different"}
    pairs[0] |= {
        "wear_verdict": "undecided",
        "wear_why": "not in every part",
        "wear": [mechanical, *pairs[0]["wear"][1:]],
    }
    changed(arguments["into"] / "batches.json", pairs=pairs)
    name = f"{pairs[0]['a']} and {pairs[0]['b']}"
    (row,) = [row for row in table(arguments, "Batches", caption).rows if row[0] == name]
    assert row[5].text == f"As run {plain[name]}; disc, mechanical 0.75 (0.70 to 0.81)"
    assert row[6] == "undecided"


def test_who_signs_has_room_whether_or_not_the_name_is_stated() -> None:
    head = ["Responsible for this sheet", "Name", "Signature", "Date"]
    rows = [["Prepared", "an engineer", "", ""], ["Reviewed", "", "", ""]]
    content, _ = sheet_writer.Writer({}, {}).table(
        Table("Signatures", head, rows, by_hand=True), sheet_writer.WHOLE, "x"
    )
    assert min(content["widths"][2:]) > 100 and sum(content["widths"]) == pytest.approx(sheet_writer.WIDTH)
    assert content["blank"] == [True, True]
    other, _ = sheet_writer.Writer({}, {}).table(Table("Others", head, rows), sheet_writer.WHOLE, "y")
    assert other["blank"] == [False, False]


def test_signs_that_results_spell_are_printed() -> None:
    assert numbers.worded("67% of them with +-1.3 % at 40 C") == "67 % of them with ±1.3 % at 40 °C"
    assert numbers.worded("rig +- 7 and a%b") == "rig +- 7 and a%b"
