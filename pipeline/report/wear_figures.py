"""Interactive figures of wear: intervals, measured against predicted, the law with its band, shares by cause and block."""

from collections.abc import Mapping
from typing import Any

import plotly.graph_objects as go

from pipeline.report import frame, numbers, palette
from pipeline.report.wear_words import law_name, name_of


def span(interval: Mapping[str, Any]) -> str:
    """`stops 41 to 60` of one interval between readings (from_stop is the count at the first reading)."""
    return f"{interval['from_stop'] + 1}\u2013{interval['to_stop']}"


def wear_per_interval(wear: Mapping[str, Any]) -> go.Figure:
    """Measured thickness loss per stop of each interval with its standard uncertainty, one series a component."""
    fig = frame.figure(
        frame.axis("Interval between readings", "stops"),
        frame.axis("Thickness loss per stop", "µm"),
        height=400,
        barmode="group",
    )
    for index, (component, found) in enumerate(sorted((wear.get("components") or {}).items())):
        rows = [
            i for i in found.get("intervals") or [] if i.get("wear_um") is not None and i["to_stop"] > i["from_stop"]
        ]
        if not rows:
            continue
        count = [i["to_stop"] - i["from_stop"] for i in rows]
        errors = [(i.get("wear_u_um") or 0.0) / n for i, n in zip(rows, count, strict=True)]
        fig.add_bar(
            x=[span(i) for i in rows], y=frame.trimmed([i["wear_um"] / n for i, n in zip(rows, count, strict=True)]),
            error_y={"type": "data", "array": frame.trimmed(errors, 3), "color": palette.INK, "thickness": 1.2},
            name=name_of(component), marker={"color": palette.series(index)[0]},
            **frame.named(("wear_um", "wear_u_um"), [[i["wear_um"], i.get("wear_u_um")] for i in rows],
                          "stops %{x}: %{y:.3f} µm per stop<br>interval %{wear_um:.1f} µm (u %{wear_u_um:.1f})<extra></extra>"),
        )  # fmt: skip
    fig.update_xaxes(type="category")
    return fig if fig.data else frame.say(fig, "no wear interval: wear.csv is missing or has fewer than two readings")


def measured_predicted(wear: Mapping[str, Any]) -> go.Figure:
    """Interval wear by the chosen law against the measured, with the line of equality and the readings' uncertainty."""
    fig = frame.figure(
        frame.axis("Measured thickness loss in the interval", "µm"),
        frame.axis("Loss by the chosen law", "µm"),
        height=400,
    )
    ends: list[float] = []
    for index, (component, found) in enumerate(sorted((wear.get("components") or {}).items())):
        rows = [
            i
            for i in found.get("intervals") or []
            if i.get("wear_um") is not None and i.get("predicted_um") is not None
        ]
        if not rows:
            continue
        colour, symbol, _ = palette.series(index)
        measured, predicted = [i["wear_um"] for i in rows], [i["predicted_um"] for i in rows]
        ends += measured + predicted
        fig.add_scatter(
            x=frame.trimmed(measured), y=frame.trimmed(predicted), mode="markers", name=f"{name_of(component)}: {law_name(found)}",
            error_x={"type": "data", "array": frame.trimmed([2 * (i.get("wear_u_um") or 0.0) for i in rows], 3), "thickness": 1.2},
            marker={"color": colour, "symbol": symbol, "size": 9}, text=[f"stops {span(i)}" for i in rows],
            hovertemplate="%{text}<br>measured %{x:.1f} µm, by law %{y:.1f} µm<extra></extra>",
        )  # fmt: skip
    if not ends:
        return frame.say(fig, "no fitted wear law")
    low, high = min(ends), max(ends)
    margin = 0.06 * (high - low or 1.0)
    line = [low - margin, high + margin]
    fig.add_scatter(
        x=line,
        y=line,
        mode="lines",
        name="equal",
        line={"color": palette.MUTED, "dash": "dot", "width": 1.2},
        hoverinfo="skip",
    )
    return fig


def law_points(component: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """The points of a component's law that have a value."""
    return [point for point in (component.get("law") or {}).get("points") or [] if point.get("value") is not None]


def law_curve(wear: Mapping[str, Any]) -> go.Figure:
    """The chosen law over temperature with its band, drawn over the data's range only."""
    fig = frame.figure(frame.axis("Disc temperature", "°C"), frame.axis("Wear rate", "µm/MJ"), height=400)
    for index, (component, found) in enumerate(sorted((wear.get("components") or {}).items())):
        law = found.get("law") or {}
        points = law_points(found)
        if not points:
            continue
        colour = palette.series(index)[0]
        x = [p["temperature_c"] for p in points]
        if all(p.get("low") is not None and p.get("high") is not None for p in points):
            fig.add_scatter(
                x=x, y=[p["high"] for p in points], mode="lines", line={"width": 0}, showlegend=False, hoverinfo="skip"
            )
            fig.add_scatter(x=x, y=[p["low"] for p in points], mode="lines", line={"width": 0}, fill="tonexty", showlegend=False,
                            hoverinfo="skip", fillcolor=_faint(colour))  # fmt: skip
        fig.add_scatter(x=x, y=[p["value"] for p in points], mode="lines", name=f"{name_of(component)}: {law_name(found)}",
                        line={"color": colour, "width": 2.2}, hovertemplate="%{x:.0f} °C: %{y:.3g}<extra></extra>")  # fmt: skip
        if law.get("unit"):
            unit, _, words = str(law["unit"]).partition(" by ")
            name = f"{words.partition(',')[0].capitalize()} rate" if words else "Wear rate"
            fig.update_yaxes(title={"text": frame.label(f"{name} ({numbers.unit_words(unit)})")})
            if "surface" in words:
                fig.update_xaxes(title={"text": "Surface temperature, modelled (°C)"})
            if min(p["value"] for p in points) > 0:
                fig.update_yaxes(type="log")
    return fig if fig.data else frame.say(fig, "the chosen law has no temperature in it, or no law could be fitted")


def _faint(colour: str) -> str:
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({red}, {green}, {blue}, 0.18)"


def block_runs(rows: list[Mapping[str, Any]], purpose_of: Mapping[str, str], most: int = 14) -> list[str]:
    """A label for each row of the shares: its block, or, where there are many, the run of blocks of one purpose."""
    names = [str(row.get("block") or "no block") for row in rows]
    if len(names) <= most:
        return names
    labels: list[str] = []
    start = 0
    for i in range(1, len(names) + 1):
        if i == len(names) or purpose_of.get(names[i]) != purpose_of.get(names[start]):
            many = i - start > 1
            labels += [f"{names[start][:16]} … {names[i - 1][:16]}" if many else names[start][:30]] * (i - start)
            start = i
    return labels


def wear_shares(wear: Mapping[str, Any]) -> go.Figure:
    """Wear of each block by the chosen law, stacked by mechanism; a panel a component; runs of like blocks together."""
    components = [
        (name, found) for name, found in sorted((wear.get("components") or {}).items()) if found.get("shares")
    ]
    fig = frame.figure(
        frame.axis("Block, in the order run", ""),
        frame.axis("", ""),
        height=150 + 170 * max(len(components), 1),
        barmode="stack",
        bargap=0.25,
    )
    mechanisms = sorted(
        {
            m
            for _, found in components
            for row in found["shares"]
            for m, v in (row.get("wear_um") or {}).items()
            if v is not None
        }
    )
    for panel, (component, found) in enumerate(components):
        number = "" if panel == 0 else str(panel + 1)
        top = 1 - panel / len(components)
        title = {"text": f"{name_of(component)}<br>(µm)", "font": {"size": 11.5}}
        fig.update_layout(
            {
                f"yaxis{number}": {
                    **frame.axis("", ""),
                    "rangemode": "tozero",
                    "domain": [top - 0.88 / len(components), top],
                    "anchor": "x",
                    "title": title,
                }
            }
        )
        purposes = {str(row.get("block") or "no block"): str(row.get("purpose")) for row in found.get("blocks") or []}
        labels = block_runs(found["shares"], purposes)
        for index, mechanism in enumerate(mechanisms):
            sums: dict[str, float] = {}
            for label, row in zip(labels, found["shares"], strict=True):
                sums[label] = sums.get(label, 0.0) + ((row.get("wear_um") or {}).get(mechanism) or 0.0)
            fig.add_bar(x=[frame.label(label) for label in sums], y=frame.trimmed(sums.values(), 4), yaxis=f"y{number}", name=mechanism.replace("_", " "),
                        marker={"color": palette.series(index)[0]}, showlegend=panel == 0, hovertemplate="%{x}: %{y:.2f} µm<extra>" + mechanism.replace("_", " ") + "</extra>")  # fmt: skip
    if not fig.data:
        return frame.say(fig, "no law to share the wear out by")
    fig.update_xaxes(anchor=f"y{len(components)}" if len(components) > 1 else "y", type="category", tickangle=30)
    return fig
