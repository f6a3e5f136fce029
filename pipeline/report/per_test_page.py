"""`stopsheet test_page`: test.html of one test.

The rim: reads what the stages before wrote, draws the figures, writes the files of traces and then the page whole. A test
that can't be used gets a page too, which says why. No result comes from here: what can't be drawn loses nothing but its page.
"""

from pathlib import Path
from typing import Any

import plotly.graph_objects as go

from pipeline.archive.card import Card, load_card
from pipeline.errors import InputError
from pipeline.method import from_stage_settings
from pipeline.method.reduction import Reduction
from pipeline.report import (
    block_tables,
    by_hand_words,
    card_words,
    drift_figure,
    finding_table,
    frame,
    friction_content,
    in_stop_figures,
    merge,
    numbers,
    off_band,
    order_figures,
    palette,
    per_test_content,
    per_test_findings,
    per_test_stops,
    per_test_traces,
    per_test_verdict,
    render,
    still,
    stop_figures,
    surface_figures,
    verdicts,
    wear_figures,
    wear_words,
)
from pipeline.report.per_test_findings import OfStages
from pipeline.results import beside, write_text
from pipeline.results.findings import Findings, Found
from pipeline.results.model import read
from pipeline.results.wear import TestWear
from pipeline.wording import counted


def run(*, folder: Path, method: str, record: Path, settings: str, into: Path) -> None:
    """Write `into`/test.html.

    `folder` is the test's folder in the archive, `into` its results folder with the tables and JSON of the stages and
    the merged findings.json, `record` the ingest record beside its channels, `settings` the
    method as canonical JSON. plotly.js is written into the results folder when not there.
    """
    test = folder.name
    found = per_test_findings.load(into, record)
    findings = read(into / "findings.json", Findings).findings
    seen = from_stage_settings(settings)
    page_file = into / "test.html"
    plotly, rests_on = None, []
    if not found.unusable:
        corrected = per_test_traces.Corrected(seen.conditioning.zero_window, seen.conditioning.filter_cutoff)
        script = render.plotly_file(into.parents[2])
        rests_on = per_test_traces.written(into, found, findings, record.with_suffix(".parquet"), corrected)
        rests_on.append(script)
        plotly = render.relative(script, page_file)
    content = context(test, method, found, findings, folder, found.unusable, seen.reduction)
    beside.leave(page_file, rests_on)
    write_text(page_file, render.page("test.html", plotly=plotly, **content))


def _card(path: Path) -> tuple[Card | None, str | None]:
    try:
        return load_card(path), None
    except InputError as error:
        return None, str(error)


def context(
    test: str,
    method: str,
    found: OfStages,
    findings: list[Found],
    card_path: Path,
    unusable: str | None,
    reduction: Reduction,
) -> dict[str, Any]:
    """Everything the template prints."""
    card, card_error = _card(card_path)
    figures = {} if unusable else all_figures(found, reduction.temperature)
    of = f"{card.compound}, batch {card.batch}, specimen {card.specimen}; " if card else ""
    return {
        "title": f"Test {test}",
        "subtitle": f"{of}method {method}",
        "method": method,
        "unusable": unusable,
        "contents": [CONTENTS[0], ("findings", "Findings"), CONTENTS[-1]] if unusable else CONTENTS,
        "identity": card_words.identity_rows(card)
        if card
        else [("Test", test), ("Test card", card_error or "not read")],
        "schedule": card_words.block_rows(card) if card else [],
        **_verdict(found, findings, card, unusable, reduction),
        **_stops(found, unusable),
        **_of_friction(found, reduction),
        **_of_wear(found.wear),
        **_of_drift(found),
        **_of_quality(found, findings),
        "findings": finding_table.rows(findings),
        "finding_count": len(findings),
        "findings_counted": counted(len(findings), "finding"),
        "figures": figures,
        "stills": {
            name: still.picture(figure) for name, figure in figures.items() if figure.data and name != "one_stop"
        },
        "figures_json": render.script_json(per_test_stops.packed(figures)),
        "script": render.scripts(*SCRIPTS),
    }


def _verdict(
    found: OfStages, findings: list[Found], card: Card | None, unusable: str | None, reduction: Reduction
) -> dict[str, Any]:
    """The verdict at one glance and in sentences."""
    stops, friction, drift = found.stops, found.friction, found.drift
    drift_tone, drift_words = verdicts.drift_sentences(drift)
    off = off_band.sentence(stops, friction, stop_figures.temperature_column(reduction.temperature)[0])
    shown = [
        verdicts.window_sentence(friction),
        *([off] if off else []),
        *(("open", said) for said in by_hand_words.sentences(card, friction, drift)),
        *friction_content.answers(friction),
        (drift_tone, " ".join(drift_words)),
        wear_words.headline(found.wear),
        _findings_verdict(findings),
        *_summary_only(found),
    ]
    return {
        "glances": per_test_verdict.glances(stops, friction, drift, found.wear, found.summary),
        "verdicts": [("bad", f"This test cannot be used: {unusable}")]
        if unusable
        else [(tone, numbers.worded(text)) for tone, text in shown],
    }


def _stops(found: OfStages, unusable: str | None) -> dict[str, Any]:
    """The stops' data for plots, filters and drawer, and their table."""
    stops, of_map = found.stops, stop_figures.map_stops(found.friction)
    return {
        "purposes": [
            (name, palette.purpose(name)[3], palette.purpose(name)[0])
            for name in dict.fromkeys(stops["purpose"].fill_null("none").to_list())
        ],
        "stop_heads": per_test_stops.HEADS,
        "stop_rows": [] if unusable else per_test_stops.rows(stops, of_map),
        "stops_json": render.script_json({} if unusable else per_test_stops.block(stops, of_map)),
    }


def _of_friction(found: OfStages, reduction: Reduction) -> dict[str, Any]:
    """Surfaces, averages, numbers, inside the stops, blocks and lines."""
    stops, friction = found.stops, found.friction
    chosen, total = in_stop_figures.shown_stops(stops, found.traces), found.traces["stop"].n_unique()
    return {
        "reference": friction_content.reference_text(friction),
        "surfaces": [(f"surface_{i}", title) for i, (title, _) in enumerate(surface_figures.surfaces(friction, stops))],
        "veiled": f"{100 * surface_figures.VEILED:.0f}",
        "average": reduction.average,
        "friction_notes": [numbers.worded(text) for text in friction_content.notes(friction)],
        "friction_rows": friction_content.rows(friction),
        "slopes": friction_content.slope_rows(friction),
        "rises": friction_content.rise_rows(friction),
        "pauses": friction_content.pause_rows(friction),
        "trace_note": f"Traces of {len(chosen)} of {counted(total, 'stop')}, thinned for the page; colours are the blocks' "
        "purposes. The thermocouple lags the rubbed surface, so a rise inside a stop can differ from the rise "
        "between stops.",
        "blocks_head": block_tables.HEAD,
        "blocks": block_tables.block_rows(friction),
        "blocks_notes": [block_tables.block_note(friction), block_tables.deceleration_note(friction)],
        "lines_head": block_tables.LINE_HEAD,
        "lines": block_tables.line_rows(friction),
        "line_notes": block_tables.line_notes(friction),
    }


def _of_wear(wear: TestWear) -> dict[str, Any]:
    """Rates and laws."""
    return {
        "wear_notes": _wear_notes(wear),
        "has_wear": bool(wear.components),
        "wear_rates": per_test_content.wear_rate_rows(wear),
        "wear_models": per_test_content.wear_model_rows(wear),
    }


def _of_drift(found: OfStages) -> dict[str, Any]:
    """The drift verdict in words and its evidence."""
    tone, words = verdicts.drift_sentences(found.drift)
    said, items, rest = verdicts.drift_evidence(found.drift)
    return {
        "drift_tone": tone,
        "drift_words": words,
        "drift_said": [numbers.worded(text) for text in said],
        "drift_items": items,
        "drift_rest": rest,
    }


def _of_quality(found: OfStages, findings: list[Found]) -> dict[str, Any]:
    """Counts, energy balance, uncertainty, channels, stops not used, and what each result rests on."""
    summary = found.summary
    return {
        "counts": per_test_content.count_rows(found.stops, found.record, summary),
        "balance": per_test_content.balance_rows(summary),
        "budget": per_test_content.budget_rows(summary),
        "units": per_test_content.unit_rows(summary),
        "channels": per_test_content.channel_rows(summary),
        "excluded": per_test_content.excluded_rows(found.stops, findings),
        "block_means": per_test_content.block_mean_rows(summary),
        "stamps": per_test_content.stamp_rows(
            {
                "channels": found.record.stamp,
                "summary": summary.stamp,
                "friction": found.friction.stamp,
                "wear": found.wear.stamp,
                "drift": found.drift.stamp,
            }
        ),
    }


#: the page's modules in the order in which they need each other
SCRIPTS = ("figures", "stops", "linked", "filters", "drawer", "table", "folds", "start")
CONTENTS = [
    ("head", "In short"),
    ("stops", "All stops"),
    ("findings", "Findings"),
    ("drift", "Drift"),
    ("wear", "Wear"),
    ("friction", "Friction"),
    ("instop", "Inside the stops"),
    ("blocks", "Blocks"),
    ("quality", "Data quality"),
    ("provenance", "Provenance"),
]


def all_figures(found: OfStages, attribution: str) -> dict[str, go.Figure]:
    """The page's figures by the name of their place."""
    stops, traces, friction, wear = found.stops, found.traces, found.friction, found.wear
    chosen = in_stop_figures.shown_stops(stops, traces)
    of_map = stop_figures.map_stops(friction)
    figures = {
        "energy_balance": order_figures.energy_balance(stops),
        "friction_temperature": stop_figures.friction_temperature(stops, friction, attribution=attribution),
        **{
            name: stop_figures.friction_condition(stops, friction, (column, words, unit), attribution=attribution)
            for name, column, words, unit in stop_figures.CONDITIONS
        },
        "averages": stop_figures.averages(stops),
        "residuals": stop_figures.residuals(stops, friction),
        "time_order": order_figures.time_order(stops, of_map),
        "in_stop_time": in_stop_figures.in_stop(stops, traces, "time_s", chosen),
        "in_stop_temperature": in_stop_figures.in_stop(stops, traces, "disc_temperature_c", chosen),
        "wear_intervals": wear_figures.wear_per_interval(wear),
        "drift": drift_figure.drift_chart(stops, found.drift),
    }
    if not found.excluded.is_empty():
        stop_figures.add_excluded(
            figures["friction_temperature"], found.excluded, stop_figures.temperature_column(attribution)[0]
        )
        stop_figures.add_excluded(figures["time_order"], found.excluded, "stop")
    if wear.components:
        figures["wear_predicted"] = wear_figures.measured_predicted(wear)
        figures["wear_law"] = wear_figures.law_curve(wear)
        figures["wear_shares"] = wear_figures.wear_shares(wear)
    figures["one_stop"] = one_stop()
    for index, (_, surface) in enumerate(surface_figures.surfaces(friction, stops)):
        figures[f"surface_{index}"] = surface
    return figures


#: panel of the chosen stop: column of the traces, title, whether it is recorded as well
PANELS = (
    ("mu", "µ", False),
    ("torque_nm", "Torque<br>(N m)", True),
    ("pressure_bar", "Pressure<br>(bar)", True),
    ("speed_rpm", "Speed<br>(rpm)", True),
    ("disc_temperature_c", "Disc (°C)", True),
)


def one_stop() -> go.Figure:
    """Five empty panels over time that the page fills with the chosen stop's curves, as recorded and conditioned.

    Each curve says in its meta which it is: `of` (raw or conditioned) and the column of the stop's file.
    """
    last = f"y{len(PANELS)}"
    fig = frame.figure(
        frame.axis("Time from brake start", "s", anchor=last),
        frame.axis("µ"),
        height=470,
        showlegend=False,
        margin={"l": 62, "r": 34, "t": 8, "b": 44},
    )
    for index, (column, title, recorded) in enumerate(PANELS):
        top = 1 - index * 0.205
        number = index + 1 if index else ""
        panel = {"domain": [max(top - 0.175, 0), top], "anchor": "x", "title": {"text": title, "font": {"size": 11}}}
        fig.update_layout({f"yaxis{number}": {**frame.axis(title), **panel, "nticks": 4}})
        for of, line in (
            ("raw", {"color": palette.EDGE, "width": 1}),
            ("conditioned", {"color": palette.ACCENT, "width": 1.8}),
        ):
            if of == "conditioned" or recorded:
                fig.add_scatter(
                    x=[],
                    y=[],
                    mode="lines",
                    yaxis=f"y{number}",
                    line=line,
                    meta={"of": of, "column": column},
                    hovertemplate="%{x:.3g} s: %{y:.4g}<extra>" + ("recorded" if of == "raw" else of) + "</extra>",
                )
    return fig


def _summary_only(found: OfStages) -> list[tuple[str, str]]:
    """Says so where only one reduced row per stop was kept."""
    if found.record.holds != "summary" and found.summary.reprocessable:
        return []
    said = (
        "Only one reduced row per stop was kept of this test: it is not reprocessable, and never mixed with a trend "
        "of another method."
    )
    return [("open", said)]


def _wear_notes(wear: TestWear) -> list[str]:
    return wear.notes if wear.components else [wear_words.none_words(wear)]


def _findings_verdict(findings: list[Found]) -> tuple[str, str]:
    counts = {name: sum(1 for item in findings if item.severity == name) for name in merge.RANK}
    said = ", ".join(f"{count} {name}" for name, count in counts.items() if count)
    return ("open" if counts["suspect"] or counts["rejected"] else "good"), f"Findings: {said or 'none'}."
