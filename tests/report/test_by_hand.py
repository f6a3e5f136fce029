"""Stops excluded by hand and the card's remarks stand on the test's page and on the sheet, with reason and consequence."""

import html
import json
import re

import polars as pl
import pytest

from pipeline.report import sheet
from pipeline.results import write_json, write_parquet
from tests.report import contents, makers

pytestmark = pytest.mark.usefixtures("undrawn")
REASON = "pad lifted <b>by hand</b>"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    root = tmp_path_factory.mktemp("by_hand")
    arguments = makers.results_of_compound(root, ("m4-a",))
    into, folder = root / "results" / "first" / "tests" / "m4-a", root / "archive" / "m4-a"
    with (folder / "test.yaml").open("a") as card:
        card.write(f"exclude: [{{stops: [60, 61], reason: '{REASON}', by: R. Sandling, date: 2026-03-05}}]\n")
        card.write("remarks: the disc squealed\n")
    stops = pl.read_parquet(into / "stops.parquet")
    write_parquet(into / "excluded.parquet", stops.filter(pl.col("stop").is_in([60, 61])))
    other = contents.window(high_c=512.0, mu_mean=0.4321)
    friction = contents.friction_json(
        test="m4-a", excluded={"stops": [60, 61], "of_the_map": [60, 61], "window": other}
    )
    write_json(into / "friction.json", friction)
    drift = contents.drift_json(stops, "none", test="m4-a")
    drift["excluded"] = {"stops": [60, 61], "verdict": "glazing-like", "onset_stop": 58, "mu_loss": 0.0441}
    write_json(into / "drift.json", drift)
    return root, into, folder, arguments


def test_the_page_shows_them(made):
    root, into, folder, _ = made
    record, rigs = root / "results" / "channels" / "m4-a.json", root / "results" / "first" / "rigs.json"
    page = makers.page_of_test({"folder": folder, "record": record, "rigs": rigs, "into": into}).read_text()
    assert REASON not in page and "the disc squealed" in page
    text = html.unescape(page)
    assert f"Excluded by hand, stops 60, 61: {REASON} (R. Sandling, 2026-03-05)." in text
    assert (
        "Without the exclusion the friction window would be 231 °C to 512 °C with a mean µ of 0.432; "
        "as used it is 231 °C to 604 °C with a mean µ of 0.443." in text
    )
    assert "excluded by hand (not used)" in page
    assert (
        "the drift verdict would be glazing-like, first affected stop 58, loss of µ 0.044; as used it is none" in text
    )


def test_the_sheet_counts_them_with_the_reason(made):
    *_, arguments = made
    document = sheet.made(**arguments)
    sheet.print_json(document, arguments["into"] / "sheet.json")
    sheet.print_html(document, arguments["into"] / "sheet.html")
    page = html.unescape(re.sub(r"<[^>]+>", "", (arguments["into"] / "sheet.html").read_text()))
    assert REASON in page and "R. Sandling, 2026-03-05" in page and "stops 60, 61" in page
    assert "Remarks on test m4-a: the disc squealed" in page
    numbers = [n for s in json.loads((arguments["into"] / "sheet.json").read_text())["sections"] for n in s["numbers"]]
    (count,) = (n for n in numbers if n["label"] == "m4-a: stops excluded by hand, entry 1")
    assert count["value"] == 2
    (high,) = (n for n in numbers if n["label"] == "m4-a: window without the exclusion, upper end")
    (loss,) = (n for n in numbers if n["label"] == "m4-a: loss of µ without the exclusion")
    assert (loss["value"], loss["key"]) == (0.0441, "/excluded/mu_loss")
    assert (high["value"], high["file"], high["key"]) == (512.0, "tests/m4-a/friction.json", "/excluded/window/high_c")
