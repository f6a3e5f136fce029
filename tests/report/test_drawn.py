"""Whatever valid results a test has, each page is drawn, and says of every null that it is one and why."""

from __future__ import annotations

import html
import json
import re
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from pipeline.report import delta_page, index_page, per_test_findings, per_test_page, sheet
from pipeline.results import read_json, write_json, write_parquet
from pipeline.vocabulary import DELTA, TRACES, conform, empty
from tests.report import makers
from tests.report.drawn import Drawn, results, stops_of

UNSAID = re.compile(r"\bNone\b|\bnan\b|\bNaN\b|\binf\b|no reason|gives no|not explained|no such data")
FEW = settings(
    max_examples=3, deadline=None, phases=(Phase.reuse, Phase.generate), suppress_health_check=list(HealthCheck)
)
MANY = settings(FEW, max_examples=20)  # not shrunk: an example takes seconds, and says what was changed in it


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A workspace of one test, whose files each example overwrites."""
    root = tmp_path_factory.mktemp("drawn")
    makers.workspace(root)
    makers.results_of_test(root, "no-card", unusable="test.yaml: inertia: missing; this key is needed")
    return root


def written(root: Path, drawn: Drawn) -> dict[str, Any]:
    """Write the drawn files over those of the workspace; the arguments of the test's stages."""
    method = root / "results" / "first"
    into, compound = method / "tests" / "m4-a", method / "compounds" / "marram-4"
    for name in ("summary", "friction", "wear", "drift"):
        write_json(into / f"{name}.json", drawn.files[name])
    for name in ("compound-friction", "compound-wear", "batches", "duty"):
        write_json(compound / f"{name.removeprefix('compound-')}.json", drawn.files[name])
    write_parquet(into / "stops.parquet", drawn.stops)
    usable = drawn.stops.filter(
        pl.all_horizontal(pl.col("pressure_bar", "mu_start", "temperature_initial_c").is_not_null())
    )
    traces = (
        makers.traces_of(usable.head(200), 8)
        if len(usable)
        else conform(pl.DataFrame(schema={"stop": pl.Int64}), TRACES)
    )
    write_parquet(into / "traces.parquet", traces)
    record = root / "results" / "channels" / "m4-a.json"
    return {
        "folder": root / "archive" / "m4-a",
        "record": record,
        "rigs": method / "rigs.json",
        "into": into,
        "method": "first",
    }


def without_rigs(own: dict[str, Any]) -> dict[str, Any]:
    """What the page is called with: of the rigs it shows the findings."""
    return {name: value for name, value in own.items() if name != "rigs"}


def words(page: Path) -> str:
    """What a reader sees of a page, figures' data aside."""
    text = re.sub(r"<(script|style)\b.*?</\1>", " ", page.read_text(), flags=re.DOTALL)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", text)))


def says(page: Path, drawn: Drawn, where: str) -> None:
    """The page gives the reason of every hole that it shows, and no word of a program."""
    text = words(page)
    assert not UNSAID.findall(text), [text[max(m.start() - 80, 0) : m.end() + 40] for m in UNSAID.finditer(text)]
    unsaid = [mark for mark in drawn.marks.get(where, []) if mark not in text]
    assert not unsaid


def pages_of(root: Path, drawn: Drawn) -> None:
    own = written(root, drawn)
    per_test_findings.run(**own, renamed=None)
    per_test_page.run(**without_rigs(own), settings=makers.DEFAULT_SETTINGS)
    says(own["into"] / "test.html", drawn, "page")
    figures = (own["into"] / "test.html").read_text()
    assert not [mark for mark in drawn.marks.get("page-figure", []) if len(drawn.stops) and mark not in figures]


def index_of(root: Path, drawn: Drawn) -> None:
    written(root, drawn)
    arguments = {"config": root / "config.yaml", "method": "first", "into": root / "results" / "first"}
    index_page.run(**arguments)
    index_page.draw(**arguments)
    says(arguments["into"] / "index.html", drawn, "index")


def sheet_of(root: Path, drawn: Drawn, *, target: bool) -> None:
    own = written(root, drawn)
    per_test_findings.run(**own, renamed=None)
    into = root / "results" / "first" / "compounds" / "marram-4"
    sheet.run(
        compound="Marram 4", archive=root / "archive", tests=["m4-a", "no-card"], results=root / "results" / "first", method="first",
        target=root / "targets" / "marram-4.yaml" if target else None, settings=makers.DEFAULT_SETTINGS, into=into,
    )  # fmt: skip
    says(into / "sheet.html", drawn, "sheet")
    assert (into / "sheet.pdf").read_bytes().startswith(b"%PDF")
    numbers = [number for section in read_json(into / "sheet.json")["sections"] for number in section["numbers"]]
    assert all(number["why"] for number in numbers if number["value"] is None)


def delta_of(folder: Path, drawn: Drawn) -> None:
    stops = drawn.stops
    twice = [pl.col(name).alias(f"{name}_{side}") for name in ("mu", "energy_kj", "status") for side in "ab"]
    delta = stops.select(
        pl.lit("m4-a").alias("test"), "stop", "block", *twice, (pl.col("mu") * 0.01).alias("mu_difference"), "purpose",
        "temperature_initial_c", "mu_u",
    )  # fmt: skip
    makers.results_of_delta(folder)
    write_parquet(folder / "delta.parquet", delta)
    delta_page.run(into=folder)
    says(folder / "delta.html", drawn, "delta")


@FEW
@given(drawn=results())
def test_every_test_page_is_drawn(place: Path, drawn: Drawn) -> None:
    pages_of(place, drawn)


@FEW
@given(drawn=results())
def test_every_index_is_drawn(place: Path, drawn: Drawn) -> None:
    index_of(place, drawn)


@settings(FEW, max_examples=1)
@given(drawn=results(), target=st.booleans())
def test_every_sheet_is_drawn(place: Path, drawn: Drawn, target: bool) -> None:
    sheet_of(place, drawn, target=target)


@FEW
@given(drawn=results())
def test_every_delta_is_drawn(tmp_path: Path, drawn: Drawn) -> None:
    delta_of(tmp_path / "first--revised", drawn)


def test_a_delta_of_no_stop_is_drawn(tmp_path: Path) -> None:
    folder = makers.results_of_delta(tmp_path / "first--revised").parent
    write_parquet(folder / "delta.parquet", conform(empty(DELTA), DELTA))
    delta_page.run(into=folder)
    assert "no stop has µ in both methods" in (folder / "delta.html").read_text()


@pytest.mark.heavy  # of 1,000 stops by default: tests/browser/test_working_view.py
def test_a_test_of_two_thousand_stops_is_drawn(place: Path) -> None:
    whole = makers.contents_of(stops_of(2000, 1, frozenset()))
    own = written(place, Drawn(whole, stops_of(2000, 1, frozenset({"energy_ratio", "block"}))))
    per_test_findings.run(**own, renamed=None)
    per_test_page.run(**without_rigs(own), settings=makers.DEFAULT_SETTINGS)
    assert (own["into"] / "test.html").stat().st_size < 4_000_000


@pytest.fixture
def only_wear_is_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a sheet's pictures: the others rest on what is whole."""
    names = sheet.picture_names
    monkeypatch.setattr(sheet, "picture_names", lambda sections: [name for name in names(sections) if "wear" in name])


@pytest.mark.heavy
@pytest.mark.usefixtures("only_wear_is_drawn")
def test_a_sheet_without_shares_of_wear_is_drawn(place: Path) -> None:
    stops = stops_of(37, 1, frozenset())
    files = json.loads(json.dumps(makers.contents_of(stops)))
    for component in files["wear"]["components"].values():
        component["shares"] = []
    sheet_of(place, Drawn(files, stops), target=False)


@pytest.mark.usefixtures("only_wear_is_drawn")
def test_a_sheet_without_a_rate_of_wear_says_each_reason(place: Path) -> None:
    stops = stops_of(37, 1, frozenset())
    files, marks = json.loads(json.dumps(makers.contents_of(stops))), []
    for name, component in files["compound-wear"]["components"].items():
        for rate in component["rates"]:
            marks.append(f"for want of {rate} of {name}")
            component["rates"][rate] = {"value": None, "low": None, "high": None, "why": marks[-1]}
    assert len(marks) >= 6
    sheet_of(place, Drawn(files, stops, marks={"sheet": marks}), target=False)


@pytest.mark.heavy
@MANY
@given(drawn=results((0, 1, 2, 37, 128, 2000)), target=st.booleans())
def test_many_results_are_drawn(place: Path, drawn: Drawn, target: bool) -> None:
    pages_of(place, drawn)
    index_of(place, drawn)
    sheet_of(place, drawn, target=target)
    delta_of(place / "results" / "deltas" / "first--revised", drawn)
