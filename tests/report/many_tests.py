"""An index of many invented tests, through the stage's own rows and template, without a results folder for each."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.archive.card import load_card
from pipeline.report import index_page, index_pictures, index_rows, render
from pipeline.results import write_text
from pipeline.results.archive import TestState
from pipeline.results.drift import TestDrift
from pipeline.results.findings import Found
from pipeline.results.friction import TestFriction
from pipeline.results.summary import TestSummary
from pipeline.results.wear import TestWear
from tests.report import contents, makers

UNUSABLE_EACH, DRIFTED_EACH, SUSPECT_EACH = 50, 20, 7


def row(
    place: int, card: Any, kinds: dict[str, tuple[TestSummary, TestDrift]], shared: dict[str, Any]
) -> index_page.Row:
    """The `place`-th test: every 50th gives no result, every 20th is glazed, every 7th has suspect stops."""
    rng = np.random.default_rng(place)
    test = f"m{place % 9}-{place:04d}"
    friction, wear = shared["friction"], shared["wear"]
    summary, drift = kinds["glazing-like" if place % DRIFTED_EACH == 0 else "none"]
    unusable = place % UNUSABLE_EACH == 3
    said = {"code": "spike", "severity": "suspect", "stop": 40, "message": "torque has 3 spikes"}
    findings = [Found.model_validate(said)] if place % SUSPECT_EACH == 0 else []
    why = "test.yaml: inertia: missing; this key is needed" if unusable else None
    state = TestState(test=test, compound=f"Marram {place % 9}", status="unusable" if unusable else "ok", why=why)
    own = card.model_copy(
        update={
            "compound": state.compound,
            "batch": f"M{place % 9}-{place % 120:03d}",
            "date": datetime.date(2020, 1, 1) + datetime.timedelta(days=(place * 7) % 2000),
            "rig": ("north", "south", "west")[place % 3],
        }
    )
    view = index_rows.view(state, True, summary, friction, drift, wear, findings)
    temperature = rng.uniform(60, 620, 160)
    mu = contents.curve_mu(temperature) + rng.normal(0, 0.01, 160)
    points = [(float(t), float(m)) for t, m in zip(temperature, mu, strict=True)]
    drawn = index_pictures.Drawn(
        160, points[: index_pictures.MOST_POINTS], [], index_pictures.stretches(friction), (231.0, 604.0)
    )
    texts = [
        index_page.drift_words(drift),
        index_page.window_words(friction),
        *(one.figure for one in view.marks[2:]),
    ]
    return index_page.Row(
        state, f"tests/{test}/test.html", own, view, texts, index_pictures.Drawn() if unusable else drawn
    )


def page(root: Path, number: int) -> Path:
    """Write an index of so many tests; returns its file."""
    paths = makers.results_of_test(root, "m4-a")
    stops = makers.stops_of_programme()
    summary = TestSummary.model_validate(contents.summary_json(stops, test="m4-a", method="first", unusable=None))
    drifts = {
        verdict: TestDrift.model_validate(contents.drift_json(stops, verdict, test="m4-a"))
        for verdict in ("none", "glazing-like")
    }
    shared = {
        "friction": TestFriction.model_validate(contents.full_friction_json(test="m4-a")).model_copy(
            update={"holds": None}
        ),
        "wear": TestWear.model_validate(contents.wear_json(test="m4-a")),
    }
    kinds = {verdict: (summary, drift) for verdict, drift in drifts.items()}
    card = load_card(paths["folder"])
    rows = [row(place, card, kinds, shared) for place in range(number)]
    empty: dict[str, list[Any]] = {
        name: []
        for name in ("rigs", "compounds", "skipped", "left_out", "left_over", "deltas", "comparisons", "others")
    }
    made = render.page(
        "index.html", title="All tests (method first)", method="first", counted=f"{number} tests, 9 compounds", software="0",
        **index_page.tests_content(rows), **empty,
    )  # fmt: skip
    write_text(root / "index.html", made)
    return root / "index.html"
