"""Interactive figures of wear: intervals, measured against predicted, the law with its band, shares by cause and block."""

from collections.abc import Mapping
from typing import Any

import plotly.graph_objects as go

from pipeline.report import frame, palette


def chosen_model(component: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """The chosen law of one component, or None."""
    return next((m for m in component.get("models") or [] if m.get("model") == component.get("chosen")), None)


def name_of(component: str) -> str:
    """`pad_inner_2` as words."""
    return component.replace("_", " ")


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
            customdata=[[i["wear_um"], i.get("wear_u_um")] for i in rows],
            hovertemplate="stops %{x}: %{y:.3f} µm per stop<br>interval %{customdata[0]:.1f} µm (u %{customdata[1]:.1f})<extra></extra>",
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
            x=frame.trimmed(measured), y=frame.trimmed(predicted), mode="markers", name=f"{name_of(component)}: {found.get('chosen')}",
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


def law_curve(wear: Mapping[str, Any]) -> go.Figure:
    """The chosen law over temperature with its band, drawn over the data's range only."""
    fig = frame.figure(
        frame.axis("Disc temperature", "°C"), frame.axis("Wear rate", "µm/MJ", rangemode="tozero"), height=400
    )
    for index, (component, found) in enumerate(sorted((wear.get("components") or {}).items())):
        law = found.get("law") or {}
        points = [p for p in law.get("points") or [] if p.get("value") is not None]
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
        fig.add_scatter(x=x, y=[p["value"] for p in points], mode="lines", name=f"{name_of(component)}: {found.get('chosen')}",
                        line={"color": colour, "width": 2.2}, hovertemplate="%{x:.0f} °C: %{y:.3g}<extra></extra>")  # fmt: skip
        if law.get("unit"):
            fig.update_yaxes(title={"text": f"Wear rate ({frame.label(law['unit'])})"})
    return fig if fig.data else frame.say(fig, "the chosen law has no temperature in it, or no law could be fitted")


def _faint(colour: str) -> str:
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({red}, {green}, {blue}, 0.18)"


def wear_shares(wear: Mapping[str, Any]) -> go.Figure:
    """Wear of each block by the chosen law, stacked by mechanism; one component a facet of the x axis."""
    fig = frame.figure(
        frame.axis("Component and block", ""),
        frame.axis("Wear by the chosen law", "µm", rangemode="tozero"),
        height=420,
        barmode="stack",
    )
    mechanisms: dict[str, tuple[list[list[str]], list[float]]] = {}
    for component, found in sorted((wear.get("components") or {}).items()):
        for row in found.get("shares") or []:
            for mechanism, value in sorted((row.get("wear_um") or {}).items()):
                if value is None:
                    continue
                x, y = mechanisms.setdefault(mechanism, ([[], []], []))
                x[0].append(name_of(component))
                x[1].append(frame.label(row.get("block") or "no block"))
                y.append(value)
    for index, (mechanism, (x, y)) in enumerate(mechanisms.items()):
        fig.add_bar(x=x, y=frame.trimmed(y), name=mechanism.replace("_", " "), marker={"color": palette.series(index)[0]},
                    hovertemplate="%{x}: %{y:.2f} µm<extra></extra>")  # fmt: skip
    return fig if fig.data else frame.say(fig, "no law to share the wear out by")
