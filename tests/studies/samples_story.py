"""`python -m tests.studies.samples_story [--results FOLDER] [--write]`: what would the charts have said of the samples, and
when?

The samples' tests are handed to the charts in order of their dates, one more each time, as they would have come; what
each said on its day is written down. Without --results the samples are run first, some minutes. `--write` renews
docs/samples_story.md.
"""

from __future__ import annotations

import argparse
import math
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

from pipeline.archive.rigs import Rig
from pipeline.inputs.model import load
from pipeline.laboratory.charts import WORDS, charts
from pipeline.laboratory.readings import LabTest
from pipeline.laboratory.tests_of import load_tests, read_rigs
from pipeline.report.chart_figures import said
from pipeline.results.charts import SPEAKING, Chart
from tests.conftest import REPO, run_stopsheet, sample_config

PAGE = REPO / "docs" / "samples_story.md"
SAMPLES = REPO / "rig_samples"
METHOD = "revised"


def told(tests: Sequence[LabTest], rigs: Sequence[Rig]) -> list[tuple[LabTest, list[tuple[str, str]]]]:
    """Of each test in order: what the charts of the rig and of its compound said on the day it was added."""
    ordered = sorted(tests, key=lambda t: (t.date, t.test))
    rows = []
    for count, test in enumerate(ordered, start=1):
        # shifts at events are judged by all tests and not known on the day: none is handed in
        found = charts(ordered[:count], rigs, [], {})
        own = next(one for one in found.rigs if one.rig == test.rig)
        words = [(_name(c), _said(c, test)) for c in own.charts]
        product = next(one for one in found.compounds if one.compound == test.compound)
        words += [(f"batches: {WORDS[c.quantity]}", _batch(c, test)) for c in product.charts if c.quantity == "mu"]
        rows.append((test, words))
    return rows


def _name(chart: Chart) -> str:
    return WORDS[chart.quantity]


def _said(chart: Chart, test: LabTest) -> str:
    point = next((p for p in chart.points if p.name == test.test), None)
    if point is None:
        return "no value of the chart's material" if chart.quantity in SPEAKING else "no value"
    moved = [w.text for w in chart.wanders if w.alarm == test.test]
    return "; ".join([said(point), *moved])


def _batch(chart: Chart, test: LabTest) -> str:
    point = next((p for p in chart.points if p.name == test.batch), None)
    if point is None:
        return "no value"
    apart = (
        ""
        if point.centre is None
        else f"{100 * math.expm1(point.value - point.centre):+.1f} % from the batches before it, "
    )
    return f"{test.batch}: {apart}{said(point)}"


def page(rows: Sequence[tuple[LabTest, list[tuple[str, str]]]]) -> Iterator[str]:
    """The story."""
    yield "# What the charts would have said of the samples\n"
    yield (
        f"By `python -m tests.studies.samples_story --write`, method `{METHOD}`. Each test is added on its date, and the charts see "
        "nothing of what came after. z: departure from the level learnt before, in standard deviations.\n"
    )
    alarms = [
        (test, name, words)
        for test, own in rows
        for name, words in own
        if "beyond" in words or "left its level" in words
    ]
    yield "## In short\n"
    if alarms:
        yield from (f"- {test.date.isoformat()}, {test.test}: {name}: {words}." for test, name, words in alarms)
    else:
        yield (
            "No chart left its limits on any day. The rig of the samples does not move, so that is the right answer; with nine tests "
            "it is also a weak one: friction could be judged on the days below where a z stands, and a step of the rig "
            "between two batches would have passed for theirs. The energy balance, which knows no batch, was judged from the fourth "
            "test on and would have shown a step of the torque chain. Three batches are too few for a chart of the product: what tells them "
            "apart is their comparison, and the energy balance of a batch's days says whether the torque chain may have part in it."
        )
    yield "\n## Day by day\n"
    names = [name for name, _ in rows[0][1]]
    for test, own in rows:
        yield f"### {test.date.isoformat()}: {test.test} ({test.compound}, {test.batch}, specimen {test.specimen})\n"
        words = dict(own)
        by_words: dict[str, list[str]] = {}
        for name in names:
            by_words.setdefault(words[name], []).append(name)
        yield from (f"- {', '.join(which)}: {what}" for what, which in by_words.items())
        yield ""


def of_results(results: Path) -> list[tuple[LabTest, list[tuple[str, str]]]]:
    """Told from a method's results of the samples."""
    tests, _ = load_tests(SAMPLES / "archive", results, read_rigs(results / "rigs.json"), drift=True)
    return told(tests, [load(path, Rig) for path in sorted((SAMPLES / "rigs").glob("*.yaml"))])


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.studies.samples_story", description=__doc__)
    parser.add_argument("--results", type=Path, help="results of the samples, from the code as it stands")
    parser.add_argument("--write", action="store_true", help="renew the page")
    given = parser.parse_args()
    if given.results:
        rows = of_results(given.results / METHOD)
    else:
        with tempfile.TemporaryDirectory(prefix="story-") as name:
            run_stopsheet("run", sample_config(Path(name)), "--cores", 2)
            rows = of_results(Path(name) / "results" / METHOD)
    text = "\n".join(page(rows)).rstrip() + "\n"
    if given.write:
        PAGE.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
