"""`stopsheet rig_page` and `stopsheet compound_charts`: a rig over time, and a compound's batches over time.

Drawn from charts.json and precision.json; no result comes from here.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import quote

from pipeline.report import numbers, render, still
from pipeline.report.chart_figures import AXES, chart_figure, said, shown
from pipeline.results import beside, write_text
from pipeline.results.charts import Chart, Charts
from pipeline.results.model import read
from pipeline.results.precision import KINDS, Component, Of, Precision, RigPrecision
from pipeline.results.rigs import Event
from pipeline.wording import counted

NAMES = {"mu": "friction", "bite": "bite", "wear": "wear of the disc"}


def rig(*, rig: str, method: str, charts: Path, precision: Path, into: Path) -> None:
    """Write `into`/<rig>.html; `rig` is the page's name."""
    found, scatter = read(charts, Charts), read(precision, RigPrecision)
    own = next((one for one in found.rigs if one.page == rig), None)
    content: dict[str, Any] = {
        "title": f"Rig {own.rig}" if own else f"Rig {rig}",
        "kind": "rig",
        "method": method,
        "home": "../index.html",
        "unusable": found.unusable or (None if own else "no test of it can be used"),
        "answers": [answer(chart) for chart in own.charts] if own else [],
        "notes": [_counted(own.tests, own.reference)] if own else [],
        "events": [(e.date, e.what, e.note) for e in own.events] if own else [],
        "precision": precision_rows([one for one in scatter.quantities if one.compound is None]),
        "pace": pace_rows(scatter, own.rig) if own else [],
        "pairs": [],
        "odd": [],
        **_drawn(own.charts if own else [], own.events if own else [], of_batches=False),
    }
    _written(into / f"{rig}.html", into.parent, content)


def compound(*, compound: str, method: str, charts: Path, precision: Path, into: Path) -> None:
    """Write `into`/charts.html of a compound."""
    found, scatter = read(charts, Charts), read(precision, RigPrecision)
    own = next((one for one in found.compounds if one.compound == compound), None)
    quantities = [one for one in scatter.quantities if one.compound == compound]
    content: dict[str, Any] = {
        "title": f"{compound}: batches over time",
        "kind": "compound",
        "method": method,
        "home": "../../index.html",
        "unusable": found.unusable or (None if own else "no test of it can be used"),
        "answers": [answer(chart) for chart in own.charts] if own else [],
        "notes": ["A batch is the mean of its specimens; it is held against the batches before it."],
        "events": [],
        "precision": precision_rows(quantities),
        "pace": [],
        "pairs": [row for one in quantities for row in pair_rows(one)],
        "odd": [row for one in quantities for row in odd_rows(one)],
        **_drawn(own.charts if own else [], [], of_batches=True),
    }
    _written(into / "charts.html", into.parent.parent, content)


def _written(page: Path, method_folder: Path, content: dict[str, Any]) -> None:
    script = render.plotly_file(method_folder.parent)
    beside.leave(page, [script])
    write_text(page, render.page("charts.html", plotly=render.relative(script, page), **content))


def _drawn(charts: list[Chart], events: list[Event], *, of_batches: bool) -> dict[str, Any]:
    figures: dict[str, Any] = {chart.quantity: chart_figure(chart, events, of_batches=of_batches) for chart in charts}
    return {
        "charts": [
            (chart.quantity, _heading(chart), basis(chart), point_rows(chart), chart.left_out) for chart in charts
        ],
        "figures": figures,
        "stills": {name: still.picture(figure) for name, figure in figures.items() if figure.data},
        "figures_json": render.figures_json(figures),
        "script": render.page_script(),
    }


def _heading(chart: Chart) -> str:
    return f"{AXES[chart.quantity]} of {chart.subject}" if chart.subject else AXES[chart.quantity]


def _counted(tests: list[str], reference: str | None) -> str:
    of = f"; its reference compound is {reference}" if reference else "; its file names no reference compound"
    return f"{counted(len(tests), 'test')}{of}."


def answer(chart: Chart) -> tuple[str, str]:
    """Tone and sentence of one chart."""
    name = _heading(chart)
    if chart.wanders:
        said_of = "; ".join(one.text for one in chart.wanders)
        return "bad", f"{said_of[:1].upper()}{said_of[1:]}."
    judged = [p for p in chart.points if p.z is not None]
    alone = [p.name for p in judged if p.signals]
    if any(p.alarm for p in judged):
        found = next(p for p in judged if p.alarm)
        return "bad", f"{name}: the level was left, found with {found.name} ({found.date})." + _why(chart)
    if alone:
        return "open", f"{name}: {', '.join(alone)} beyond the limits of a single value; no move of the level." + _why(
            chart
        )
    if not judged:
        return "open", f"{name}: {chart.why or 'nothing is judged'}."
    return (
        "good",
        f"{name}: within its limits, {len(judged)} of {len(chart.points)} values judged{_reach(chart)}." + _why(chart),
    )


def _reach(chart: Chart) -> str:
    """How far off a single value may lie unnoticed: with few values before, that is far."""
    for p in [p for p in chart.points if p.high is not None and p.centre is not None][-1:]:
        limits = (shown(chart.quantity, end, p.centre, chart.quantity in NAMES) for end in (p.low, p.high))
        ends = [end for end in limits if end is not None]
        unit = "%" if chart.quantity in NAMES else {"1": "", "s": "ms"}.get(chart.unit, chart.unit)
        if len(ends) < 2 or not ends[0] < ends[1]:
            return ""
        places = numbers.decimals_for((ends[1] - ends[0]) / 2)
        low, high = (numbers.rounded(end, places) for end in ends)
        return f"; the last could have lain anywhere from {low} to {high} {unit}".rstrip()
    return ""


def _why(chart: Chart) -> str:
    return f" {chart.why}." if chart.why else ""


def basis(chart: Chart) -> str:
    """What the limits rest on, and how often they are crossed by chance."""
    single, average = chart.run_length_single, chart.run_length_average
    often = f"By chance one single value in {single:.0f} is beyond its limits, and the average one time in {average:.0f} values"
    if chart.scatter == "known":
        return f"Limits from a known scatter, {_scatter(chart)}, as the rig's file states it. {often}."
    if chart.sigma is None:
        return f"Limits from the values' own scatter, which two of them do not tell. {often}, once it is told."
    plain = (
        f"; with mean and scatter of so few taken for the truth it would be one single value in {chart.run_length_plugged:.0f}"
        if chart.run_length_plugged
        else ""
    )
    return (
        f"Limits from an estimated scatter, {_scatter(chart)} on {chart.df} degrees of freedom; they allow for how few there "
        f"are. {often}, as with a known scatter{plain}."
    )


def _scatter(chart: Chart) -> str:
    assert chart.sigma is not None
    if chart.quantity in NAMES:
        return f"{100 * chart.sigma:.2g} %"
    scaled = 1000 * chart.sigma if chart.quantity == "lag" else chart.sigma
    unit = {"1": "", "s": " ms"}.get(chart.unit, f" {chart.unit}")
    return f"{scaled:.2g}{unit}"


def point_rows(chart: Chart) -> list[list[str]]:
    """Every value with its limits, as the figure has them."""
    relative = chart.quantity in NAMES
    rows = []
    for p in chart.points:
        low, high = (shown(chart.quantity, end, p.centre, relative) for end in (p.low, p.high))
        value = shown(chart.quantity, p.value, p.centre, relative) if p.centre is not None or not relative else None
        limits = "not told" if low is None or high is None else f"{low:.4g} to {high:.4g}"
        average = "" if p.average is None else f"{p.average:+.2f}"
        rows.append(
            [p.name, p.date, p.group, numbers.MISSING if value is None else f"{value:.4g}", limits, average, said(p)]
        )
    return rows


def precision_rows(quantities: list[Of]) -> list[list[str]]:
    """Components of scatter in per cent."""
    return [
        [
            NAMES[one.quantity],
            *(per_cent(one.components.get(kind)) for kind in KINDS),
            per_cent(one.repeatability),
            per_cent(one.reproducibility),
        ]
        for one in quantities
    ]


def per_cent(component: Component | Precision | None) -> str:
    """A standard deviation with its interval, or why not."""
    if component is None or component.value is None:
        return f"not told: {component.why}" if component and component.why else "not told"
    ends = f"{_digits(component.low)} to {_digits(component.high)}"
    return f"{_digits(component.value)} ({ends})"


def _digits(share: float | None) -> str:
    return numbers.MISSING if share is None else f"{100 * share:.2g}"


def pair_rows(one: Of) -> list[list[str]]:
    """Differences of batches beside what specimens and rig give by themselves."""
    return [
        [
            NAMES[one.quantity],
            f"{p.a} and {p.b}",
            f"{100 * p.difference:+.1f}",
            _digits(p.specimen_sd),
            f"{_digits(p.rig_sd)} (at most {_digits(p.rig_sd_high)})" if p.rig_sd is not None else f"not told: {p.why}",
            _digits(p.reach),
            numbers.MISSING if p.rig_share is None else f"{100 * p.rig_share:.0f}",
            f"{100 * p.state_apart:.0f}",
        ]
        for p in one.pairs
    ]


def odd_rows(one: Of) -> list[list[str]]:
    """h and k of every test, and Cochran's word on its scatter."""
    worst = {one.cochran.test: one.cochran.verdict} if one.cochran and one.cochran.verdict != "none" else {}

    def pair(value: float | None, critical: float | None) -> str:
        return numbers.MISSING if value is None or critical is None else f"{value:.2f} ({critical:.2f})"

    return [
        [
            c.test,
            NAMES[one.quantity],
            c.batch,
            f"{100 * c.level:+.1f}",
            pair(c.h, c.h_critical),
            pair(c.k, c.k_critical),
            ", ".join([*(["odd"] if c.odd else []), *([f"scatter a {worst[c.test]}"] if c.test in worst else [])])
            or "as the others",
        ]
        for c in one.consistency
    ]


def pace_rows(scatter: RigPrecision, rig: str) -> list[list[str]]:
    """Time that a stop takes, by compound and purpose."""
    rows = []
    for p in scatter.pace:
        if p.rig != rig:
            continue
        time = f"{60 * p.hours_per_stop:.2g}" if p.hours_per_stop is not None else f"not told: {p.why}"
        span = "" if p.low is None or p.high is None else f"{60 * p.low:.2g} to {60 * p.high:.2g}"
        whole = "" if p.hours_per_test is None else f"{p.hours_per_test:.3g}"
        rows.append([p.compound or "all", p.purpose or "all", str(p.stops), time, span, whole])
    return rows


def address(page: str) -> str:
    """Of a rig's page from the index."""
    return quote(f"rigs/{page}.html")
