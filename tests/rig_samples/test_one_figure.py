"""One figure for one quantity: what stands at several places of a compound's files and sheet has one value, or a name of its own."""

from __future__ import annotations

import json
import re
from collections import defaultdict
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.workflow
COMPOUNDS = ("marram-4", "marram-6")
FILES = ("sheet", "friction", "wear", "batches", "targets", "duty")
# printed words, not the spelling of files and settings
SPELLED = re.compile(r"(?<![\w'\"./_-])mu(?![\w_-])|[JWN]/mm2\b|\bmm3/|\bm/s2\b|\d (degC|C)\b")


def files_of(results: Path, compound: str) -> dict[str, Any]:
    folder = results / "compounds" / compound
    return {name: json.loads((folder / f"{name}.json").read_text(encoding="utf-8")) for name in FILES}


@pytest.fixture(params=COMPOUNDS)
def found(request: pytest.FixtureRequest, method_results: Path) -> dict[str, Any]:
    return files_of(method_results, request.param)


def numbers_of(sheet: dict[str, Any]) -> list[dict[str, Any]]:
    return [number for section in sheet["sections"] for number in section["numbers"]]


def several(sheet: dict[str, Any]) -> list[str]:
    """Names under which the sheet prints more than one value."""
    values: dict[tuple[str, str], set[Any]] = defaultdict(set)
    for number in numbers_of(sheet):
        values[number["label"], number["unit"]].add((number["value"], number["low"], number["high"]))
    return [label for (label, _), own in values.items() if len(own) > 1]


def figure(value: dict[str, Any] | None) -> tuple[Any, ...] | None:
    """Value and interval; None for a figure that is not given."""
    if value is None or value.get("value") is None:
        return None
    return value["value"], value["low"], value["high"]


def worn(row: dict[str, Any]) -> str:
    """A part of a component's wear in words: `pad inner mechanical`, or `disc on valley route`."""
    name = row["component"].replace("_", " ")
    return f"{name} on {row['duty']}" if row["duty"] else f"{name} {row['part']}"


def same(found: dict[str, Any]) -> list[tuple[str, Any, Any]]:
    """(quantity, its figure in one file, in another) of all that two files give."""
    batches, targets, friction = found["batches"], found["targets"], found["friction"]
    out: list[tuple[str, Any, Any]] = []
    out.append(("reference", friction["reference"], batches["reference"]))
    level = {row["batch"]: row for row in batches["batches"]}
    window = {row["batch"]: row["window"] for row in friction["by_batch"]}
    pairs = {(row["a"], row["b"]): row for row in batches["pairs"]}
    differences = {
        "mu_batch_margin": "mu_difference",
        "bite_margin": "bite_difference",
        "wear_batch_ratio": "wear_ratio",
    }
    margins = {"mu_batch_margin": "mu", "bite_margin": "bite", "wear_batch_ratio": "wear"}
    for asked in targets["requirements"]:
        for row in asked["each"] if asked["key"] in differences else []:
            names, _, part = row["of"].partition(", ")
            pair = pairs[tuple(names.split(" and "))]
            parts = {worn(one): one["ratio"] for one in pair["wear"]}
            own = parts[part] if part else pair[differences[asked["key"]]]
            out.append((f"{asked['key']} {row['of']}", figure(row["figure"]), figure(own)))
        if asked["key"] in margins:
            margin = batches["margins"][margins[asked["key"]]]
            out.append((f"limits of {asked['key']}", (asked["low"], asked["high"]), (margin["low"], margin["high"])))
    for against in targets["against_reference"]:
        rows = {row["question"].split(",")[0] + row["question"].partition(",")[2]: row for row in against["rows"]}
        for question, key in (("µ at the reference conditions", "mu"), ("Bite", "bite")):
            row = rows[question]
            out.append((f"{question} of {against['batch']}", figure(row["a"]), figure(level[against["batch"]][key])))
            out.append(
                (
                    f"{question} of {targets['reference_batch']}",
                    figure(row["b"]),
                    figure(level[targets["reference_batch"]][key]),
                )
            )
        for end in ("lower", "upper"):
            row, name = rows[f"Friction window {end} end"], {"lower": "low", "upper": "high"}[end]
            own = window[against["batch"]]
            out.append((f"window of {against['batch']}, {end}", row["a"]["value"], own and own[f"{name}_c"]))
    return out


def test_a_name_on_the_sheet_has_one_value(found: dict[str, Any]) -> None:
    assert several(found["sheet"]) == []


def test_what_two_files_give_is_one_figure(found: dict[str, Any]) -> None:
    both = same(found)
    assert [(what, one, other) for what, one, other in both if one != other] == []
    asked = {row["key"] for row in found["targets"]["requirements"]}
    read = {what.split()[0] for what, one, _ in both if one is not None}
    assert asked & {"mu_batch_margin", "bite_margin", "wear_batch_ratio"} <= read


def test_the_margin_of_bite_is_the_comparison_s_too(method_results: Path) -> None:
    margin = files_of(method_results, "marram-4")["batches"]["margins"]["bite"]
    for path in (method_results / "comparisons").glob("*/comparison.json"):
        rows = json.loads(path.read_text(encoding="utf-8"))["rows"]
        shown = next(row["margin"] for row in rows if row["question"] == "Bite")
        assert shown == [margin["low"], margin["high"]]


def test_a_wear_over_all_tests_lies_between_its_batches_or_says_whose_program_it_is(found: dict[str, Any]) -> None:
    pooled = found["wear"]["components"]["disc"]["rates"]["um_per_stop"]["value"]
    batches = [row["wear_um_per_stop"]["value"] for row in found["batches"]["batches"]]
    said = [text for section in found["sheet"]["sections"] for text in section["text"]]
    if not min(batches) * 0.999 <= pooled <= max(batches) * 1.001:
        captions = [table["caption"] for section in found["sheet"]["sections"] for table in section["tables"]]
        assert any(caption.startswith("Wear over the stops of all tests as run") for caption in captions)
        assert any("another program" in text for text in said)


def test_the_scatter_of_single_stops_has_one_name_and_value(found: dict[str, Any]) -> None:
    name = "standard deviation of single stops about their map"
    own = [n for n in numbers_of(found["sheet"]) if n["label"].startswith(name)]
    assert own and len({n["value"] for n in own if n["label"] == name and n["unit"] == "%"}) == 1
    assert not [n["label"] for n in numbers_of(found["sheet"]) if n["label"] == "scatter of single stops"]


def test_the_sheet_prints_words_and_not_the_spelling_of_files(found: dict[str, Any]) -> None:
    said = [text for section in found["sheet"]["sections"] for text in section["text"]]
    said += [number["text"] for number in numbers_of(found["sheet"])]
    assert [text for text in said if SPELLED.search(text)] == []


def test_the_checks_see_what_they_are_for() -> None:
    row = {"label": "µ", "unit": "", "value": 0.4, "low": None, "high": None}
    assert several({"sections": [{"numbers": [row, row]}]}) == []
    assert several({"sections": [{"numbers": [row, row | {"value": 0.41}]}]}) == ["µ"]
    for text in ("within stops mu changes", "under 1.5 W/mm2 of pad", "517 degC, 35 bar", "269 to 403 C."):
        assert SPELLED.search(text)
    for text in ("mu_batch_margin of the target", "µ 0.4 at 40 °C", "4.3 J/mm²", "specimen C"):
        assert not SPELLED.search(text)
