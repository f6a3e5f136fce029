"""`stopsheet index`: index.html, archive.json and method.yaml of a method.

All tests and compounds of the archive with their state and verdicts; what was skipped or left out, and why.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote

from pipeline.archive.card import Card, load_card
from pipeline.errors import InputError
from pipeline.faults import InputFault
from pipeline.report import chart_pages, index_pictures, index_rows, method_file, numbers, render, verdicts
from pipeline.report.per_test_findings import drift_of, findings_in, friction_of, record_of, summary_of, wear_of
from pipeline.report.sections.openings import not_ruled_out
from pipeline.results import beside, left_over, version, write_text
from pipeline.results.archive import Archive, LeftOut, Skipped, Status, TestState
from pipeline.results.batches import CompoundBatches, Quantity
from pipeline.results.charts import Charts
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.drift import TestDrift
from pipeline.results.duty import CompoundDuty, DutyProjection
from pipeline.results.friction import TestFriction
from pipeline.results.model import read_or_none, write
from pipeline.results.sheet import Sheet, TargetAnswer
from pipeline.results.summary import StopCounts, TestSummary
from pipeline.results.wear import TestWear
from pipeline.wording import counted
from pipeline.workspace.run import Run, load_run

#: questions of a pair of batches; wear is compared on the discs only
ANSWERS: dict[Quantity, str] = {"mu": "µ", "bite": "bite", "wear": "disc wear"}


#: answer of a target -> tone of its mark
ANSWERED = {"met": "good", "not met": "bad"}
WORST = ("bad", "open", "good")


def run(*, config: Path, method: str, into: Path, settings: str = "") -> None:
    """Write archive.json and method.yaml of `method` of the workspace `config` into `into`.

    `settings`: the method as the run took it. Raises InputFault where the file holds another by now, as method.yaml
    would then be of another method than the results.
    """
    the_run = load_run(config)
    if settings and the_run.settings(method, "index") != settings:
        raise InputFault(f"{config}: the method {method} was edited since the run began; run again")
    rows = [test_row(the_run, into, test, drawn=False) for test in the_run.tests]
    # A folder with a card under a name that cannot be used was meant as a test: it is one that gives no result.
    refused = [TestState(test=folder, status="unusable", why=why) for folder, why in the_run.found.refused]
    skipped, left_out = _left(the_run)
    tests = [row.state for row in rows] + refused
    made = {
        "tests": the_run.tests,
        "compounds": the_run.compounds,
        "comparisons": [f"{a}--{b}" for a, b in the_run.compared],
    }
    left = left_over.marked(into, made)
    beside.leave(into / "archive.json", [into / one.folder / left_over.MARK for one in left])
    archive = Archive(
        method=method,
        tests=tests,
        skipped=skipped,
        left_out=left_out,
        left_over=left,
        software=version(),
    )
    write(into / "archive.json", archive)
    write_text(into / "method.yaml", method_file.filled_text(dict(the_run.read_methods)[method], method))


def draw(*, config: Path, method: str, into: Path) -> None:
    """Write index.html; no result comes from here."""
    the_run = load_run(config)
    rows = [test_row(the_run, into, test, drawn=True) for test in the_run.tests]
    compounds = [compound_row(into, name, slug, rows) for name, slug in the_run.slug_of]
    deltas = [f"{a}--{b}" for a, b in the_run.compare if method in (a, b)]
    skipped, left_out = _left(the_run)
    pairs = [(f"{the_run.name_of(a)} and {the_run.name_of(b)}", f"{a}--{b}") for a, b in the_run.compared]
    charts = read_or_none(into / "charts.json", Charts) or Charts()
    archive = read_or_none(into / "archive.json", Archive) or Archive(method=method, software=version())
    page = render.page(
        "index.html",
        rigs=rig_rows(charts, the_run),
        title=f"All tests (method {method})",
        method=method,
        **tests_content(rows),
        compounds=compounds,
        counted=f"{counted(len(rows), 'test')}, {counted(len(compounds), 'compound')}",
        skipped=skipped,
        left_out=left_out,
        left_over=archive.left_over,
        deltas=[(name.replace("--", " to ", 1), quote(f"../deltas/{name}/delta.html")) for name in deltas],
        comparisons=[(words, quote(f"comparisons/{name}/comparison.html")) for words, name in pairs],
        software=version(),
        others=[(name, quote(f"../{name}/index.html")) for name in the_run.methods if name != method],
    )
    write_text(into / "index.html", page)


def tests_content(rows: Sequence["Row"]) -> dict[str, Any]:
    """What the page's table of tests is made of, worst first."""
    rows = sorted(rows, key=lambda row: row.order)
    axes = index_pictures.axes_of([row.drawn for row in rows])
    return {
        "tests": rows,
        "pictures": [index_pictures.svg(row.drawn, axes) for row in rows],
        "pictures_words": index_pictures.axes_words(axes),
        "states": index_rows.counts([row.view for row in rows]),
        "script": render.scripts("tests"),
    }


def rig_rows(charts: Charts, the_run: Run) -> list[dict[str, str | list[str]]]:
    """Each rig with its page, tests, and what its charts say."""
    found = {one.page: one for one in charts.rigs}
    rows: list[dict[str, str | list[str]]] = []
    for name, page in the_run.found.rig_pages.items():
        own = found.get(page)
        said = [chart_pages.answer(chart) for chart in own.charts] if own else []
        worth = [words for tone, words in said if tone == "bad"]
        judged = sum(tone == "good" for tone, _ in said)
        within = (
            f"{judged} of {len(said)} charts within limits; how wide those are with so many tests stands on its page"
        )
        quiet = within if judged else "too few tests to judge by"
        rows.append(
            {
                "name": name,
                "address": chart_pages.address(page),
                "tests": str(len(own.tests)) if own else "0",
                "events": [f"{e.what} {e.date}" for e in own.events] if own and own.events else ["none dated"],
                "said": worth or [charts.unusable or (quiet if own else "no test of it can be used")],
            }
        )
    return rows


def _left(the_run: Run) -> tuple[list[Skipped], list[LeftOut]]:
    skipped = [Skipped(folder=folder, why=why) for folder, why in the_run.found.skipped]
    return skipped, [LeftOut(file=file, why=why) for file, why in the_run.workspace.left_out]


@dataclass(frozen=True)
class Row:
    """One test as the page shows it; `texts` are the words beside the marks of the verdicts."""

    state: TestState
    address: str
    card: Card | None
    view: index_rows.View
    texts: list[str]
    drawn: index_pictures.Drawn

    @property
    def order(self) -> tuple[tuple[int, ...], str]:
        """Place in the table, worst first."""
        return self.view.order, self.state.test


def test_row(the_run: Run, into: Path, test: str, *, drawn: bool) -> Row:
    """One test: identity, status, verdicts, what stands out, link; `drawn`: with what its picture shows."""
    folder = into / "tests" / test
    summary, friction, wear, drift = summary_of(folder), friction_of(folder), wear_of(folder), drift_of(folder)
    findings = findings_in(folder / "findings.json", test)
    try:
        card, card_error = load_card(the_run.archive / test), None
    except InputError as error:
        card, card_error = None, str(error)
    record = record_of(test, into.parent / "channels" / f"{test}.json")
    said = next((item.message for item in findings if item.severity == "unusable"), None)
    written = None if (folder / "summary.json").is_file() else "no results were written"
    why = record.unusable or summary.unusable or card_error or said or written
    holds = card.recordings.holds if card else record.holds
    status: Status = "unusable" if why else ("summary" if holds == "summary" else "ok")
    own: dict[str, TestSummary | TestFriction | TestWear | TestDrift] = {
        "summary": summary,
        "friction": friction,
        "wear": wear,
        "drift": drift,
    }
    reasons = {stage: found.unusable for stage, found in own.items() if (folder / f"{stage}.json").is_file()}
    parts = [f"{stage}: {reason}" for stage, reason in reasons.items() if reason]
    summary_only = "only one reduced row per stop was kept; not reprocessable" if status == "summary" else None
    usable = of_use(summary.stops, dict(the_run.read_methods)[into.name].friction.use_suspect) > 0
    useless = "no stop of use: every stop is suspect or rejected"
    mind = [summary_only, None if why or usable else useless, *parts]
    compound = card.compound if card else the_run.found.tests[test]
    state = TestState(test=test, compound=compound, status=status, why=why or "; ".join(filter(None, mind)) or None)
    view = index_rows.view(state, usable, summary, friction, drift, wear, findings)
    return Row(
        state=state,
        address=quote(f"tests/{test}/test.html"),
        card=card,
        view=view,
        texts=[drift_words(drift), window_words(friction), *(one.figure for one in view.marks[2:])],
        drawn=index_pictures.of_test(folder, friction, drift) if drawn and not why else index_pictures.Drawn(),
    )


def of_use(counts: StopCounts, suspect_too: bool) -> int:
    """Number of stops that can enter a model; `suspect_too`: the method's friction.use_suspect."""
    return counts.ok + (counts.suspect if suspect_too else 0)


def window_words(friction: TestFriction | CompoundFriction) -> str:
    """The window in a few words; an end that only the data limit says so."""
    window = friction.window
    if window is None:
        return f"none: {verdicts.no_window(friction) or 'no reason given'}"
    limits = ((window.low_limited_by, "lower"), (window.high_limited_by, "upper"))
    ends = [words for by, words in limits if by == "data"]
    limited = f" ({' and '.join(ends)} end where the data end)" if ends else ""
    return f"{window.low_c:.0f} to {window.high_c:.0f} °C{limited}{narrowest_words(friction)}"


def narrowest_words(friction: TestFriction | CompoundFriction) -> str:
    """The narrowest batch's window, where that of the batches taken together reaches beyond it."""
    place = verdicts.narrowest(friction) if isinstance(friction, CompoundFriction) else None
    if place is None or not isinstance(friction, CompoundFriction):
        return ""
    batch = friction.by_batch[place]
    own = f"{batch.window.low_c:.0f} to {batch.window.high_c:.0f} °C" if batch.window else "none"
    by = " by the map" if friction.window_by == "law" else ""
    return f", over the batches taken together; the narrowest, batch {batch.batch} alone{by}: {own}"


def drift_words(drift: TestDrift) -> str:
    """The drift verdict with its first affected stop and others seen."""
    if drift.verdict is None:
        return f"not given: {verdicts.drift_reason(drift) or 'no reason given'}"
    onset = "" if drift.onset_stop is None else f" from stop {drift.onset_stop}"
    also = f"; also {', '.join(drift.also)}" if drift.also else ""
    return f"{drift.verdict}{onset}{also}"


def compound_row(into: Path, name: str, slug: str, tests: list[Row]) -> dict[str, Any]:
    """One compound: its tests, window, batch answers, duties, link to the sheet."""
    folder = into / "compounds" / slug
    friction = read_or_none(folder / "friction.json", CompoundFriction) or CompoundFriction(compound=name)
    sheet = read_or_none(folder / "sheet.json", Sheet)
    batches = read_or_none(folder / "batches.json", CompoundBatches)
    duty = read_or_none(folder / "duty.json", CompoundDuty)
    own = [row.state for row in tests if row.state.compound == name]
    pairs = [
        f"{pair.a} and {pair.b}: " + ", ".join(f"{words} {pair.verdicts[key]}" for key, words in ANSWERS.items())
        for pair in (batches.pairs if batches else [])
    ]
    return {
        "name": name,
        "sheet": quote(f"compounds/{slug}/sheet.html"),
        "charts": quote(f"compounds/{slug}/charts.html"),
        "pdf": quote(f"compounds/{slug}/sheet.pdf"),
        "tests": f"{sum(state.status != 'unusable' for state in own)} of {len(own)} usable",
        "window": window_words(friction),
        "targets": target_marks(sheet),
        "batches": pairs or ["no pair of batches"],
        "duties": duty_words(duty),
    }


def target_marks(sheet: Sheet | None) -> list[tuple[str, str, str]]:
    """Each target of the sheet as (tone, answer, words), worst first; a sheet that failed says so, which is not the same as no target."""
    if sheet is not None and sheet.unusable:
        return [("open", numbers.MISSING, sheet.unusable)]
    found = [
        (ANSWERED.get(row.met, "open"), row.met, f"{row.target}{_where(row)}")
        for row in (sheet.targets if sheet else [])
    ]
    return sorted(found, key=lambda one: WORST.index(one[0])) or [("", "", "no target")]


def _where(row: TargetAnswer) -> str:
    """The batch behind an answer that is not good, in brackets."""
    return f" ({row.rests_on})" if row.met != "met" and row.rests_on else ""


def duty_words(duty: CompoundDuty | None) -> list[str]:
    """Every duty's opening and share of energy in the window, and that no opening serves all where none does."""
    if duty is None or not duty.duties:
        return ["no duty"]
    said = [opening_words(one) for one in duty.duties]
    both = duty.both_duties
    if both is not None and both.answer is not None:
        first = both.changes[0] if both.changes else None
        change = "" if first is None else f"; cheapest change{'' if first.shown else ', not shown yet'}: {first.kind}"
        held = ", by openings of which not all were tested" if any(one.opening_untested for one in duty.duties) else ""
        said.append(f"gentle and hard use with one brake: {both.answer}{held}{change}")
    elif len(duty.duties) > 1 and duty.common_opening is None:
        why = duty.common_opening_why or "no reason given"
        said.append(f"no opening serves {'both' if len(duty.duties) == 2 else 'all'}: {why}")
    return said


def opening_words(duty: DutyProjection) -> str:
    """A duty's cooling opening to run, in words, and the share of its energy in the window at the opening given."""
    span, share = duty.opening_to_run, duty.window_share
    at = "" if share is None else f"; at {duty.opening:.2f} {100 * share:.0f} % of the energy in the window"
    tested = duty.support.window_share_tested if duty.support else None
    if share and tested is not None and tested < share - 0.005:
        at += f", {100 * tested:.0f} % at conditions that were tested"
    if span and duty.opening_untested:
        return f"{duty.duty}: opening to run: {duty.opening_words}{at}"
    if span:
        held = f", not ruled out: {not_ruled_out(duty)}" if duty.reserved else ""
        return f"{duty.duty}: opening {span.low:.2f} to {span.high:.2f}{held}{at}"
    return f"{duty.duty}: no opening to run: {duty.opening_to_run_why or duty.why or 'no reason given'}{at}"
