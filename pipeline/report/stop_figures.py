"""Interactive figures of the stops: friction against conditions, in time order, inside the stop, energy balance."""

from collections.abc import Sequence
from typing import Any

import plotly.graph_objects as go
import polars as pl

from pipeline.report import frame, palette
from pipeline.results.friction import OfMap
from pipeline.results.friction_map import CurvePoint

ATTRIBUTION = {"initial": "temperature_initial_c", "mean": "temperature_mean_c", "peak": "temperature_peak_c",
               "end": "temperature_end_c"}  # fmt: skip
MU = "Friction coefficient µ"
FIELDS = (
    "stop", "block", "mu", "mu_u", "temperature_initial_c", "pressure_bar", "speed_start_rpm", "energy_kj", "status",
)  # fmt: skip
HOVER = (
    "stop %{stop}, %{block}<br>µ %{mu:.3f} (u %{mu_u:.3f})<br>"
    "%{temperature_initial_c:.0f} °C at start, %{pressure_bar:.1f} bar, %{speed_start_rpm:.0f} rpm<br>"
    "%{energy_kj:.0f} kJ, status %{status}<extra></extra>"
)


def of_stops(stops: pl.DataFrame, said: str = HOVER) -> dict[str, Any]:
    """The stops' own data for a trace that has one point a stop, in their order."""
    rows = stops.select(FIELDS).rows()
    return frame.named(FIELDS, [[frame.label(v) if isinstance(v, str) else v for v in row] for row in rows], said)


def only_stops(stops: Sequence[int], said: str) -> dict[str, Any]:
    """The numbers alone of the stops that a trace's points stand for."""
    return frame.named(("stop",), list(stops), said)


def temperature_column(attribution: str) -> tuple[str, str]:
    """Column of stops.parquet and words of the method's temperature."""
    words = {"initial": "Disc temperature at stop start", "mean": "Mean disc temperature in the stop",
             "peak": "Peak disc temperature", "end": "Disc temperature at stop end"}  # fmt: skip
    return ATTRIBUTION.get(attribution, "temperature_initial_c"), words.get(attribution, words["initial"])


def add_stop_points(fig: go.Figure, stops: pl.DataFrame, x: str, y: str = "mu") -> go.Figure:
    """One marker trace per purpose; suspect stops open; rejected ones have no mu and are not drawn."""
    usable = stops.filter(pl.col(x).is_not_null() & pl.col(y).is_not_null())
    present = usable["purpose"].fill_null("").unique().to_list()
    for name in [p for p in palette.PURPOSES if p in present] + sorted(set(present) - set(palette.PURPOSES)):
        colour, symbol, _, words = palette.purpose(name)
        for status in ("ok", "suspect"):
            part = usable.filter((pl.col("purpose").fill_null("") == name) & (pl.col("status") == status))
            if part.is_empty():
                continue
            suspect = status == "suspect"
            fig.add_scatter(
                x=frame.trimmed(part[x]), y=frame.trimmed(part[y]), mode="markers", **of_stops(part),
                name=words + (" (suspect)" if suspect else ""),
                marker={"color": colour, "size": 8, "symbol": symbol.removesuffix("-open") + ("-open" if suspect or symbol.endswith("-open") else ""),
                        "line": {"width": 1.4 if suspect or symbol.endswith("-open") else 0.6, "color": colour if suspect or symbol.endswith("-open") else "#ffffff"}},
            )  # fmt: skip
    return fig


def add_curve(fig: go.Figure, curve: list[CurvePoint]) -> go.Figure:
    """Fitted curve with the band of the mean and the tolerance band, stretch by stretch: nothing across a gap of the data.

    Where the support is thin the curve is dotted.
    """
    for number, part in enumerate(stretches(curve)):
        x = [point.temperature_c for point in part]
        tolerance = [p.tolerance_low for p in part], [p.tolerance_high for p in part]
        for (lows, highs), colour, name in (
            (tolerance, palette.TOLERANCE, "tolerance band, one future stop"),
            (([p.low for p in part], [p.high for p in part]), palette.BAND, "confidence band of the mean"),
        ):
            fig.add_scatter(x=x, y=highs, mode="lines", line={"width": 0}, showlegend=False, hoverinfo="skip")
            fig.add_scatter(
                x=x,
                y=lows,
                mode="lines",
                line={"width": 0},
                fill="tonexty",
                fillcolor=colour,
                name=name,
                hoverinfo="skip",
                showlegend=number == 0,
            )
        fig.add_scatter(
            x=x, y=[p.mu for p in part], mode="lines", name="curve at reference conditions", showlegend=number == 0,
            line={"color": palette.ACCENT, "width": 2.5}, hovertemplate="%{x:.0f} °C: µ %{y:.3f}<extra>curve</extra>",
        )  # fmt: skip
    thin = [p for p in curve if p.thin]
    if thin:
        fig.add_scatter(x=[p.temperature_c for p in thin], y=[p.mu for p in thin], mode="markers", name="thin support",
                        marker={"symbol": "circle-open", "size": 5, "color": palette.ALARM}, hoverinfo="skip")  # fmt: skip
    return fig


def stretches(curve: list[CurvePoint]) -> list[list[CurvePoint]]:
    """The curve's points by unbroken stretch of the data."""
    parts: list[list[CurvePoint]] = []
    for point in curve:
        if not parts or parts[-1][-1].stretch != point.stretch:
            parts.append([])
        parts[-1].append(point)
    return parts


def friction_temperature(stops: pl.DataFrame, friction: OfMap, *, attribution: str = "initial") -> go.Figure:
    """mu of the stops against the method's temperature with curve, bands, window and the wanted band of mu.

    The wanted band is friction.json's `wanted_mu`, from the target or, without one, about the plateau.
    """
    column, words = temperature_column(attribution)
    fig = frame.figure(frame.axis(words, "°C"), frame.axis(MU, "", rangemode="tozero"), height=480)
    wanted = friction.wanted_mu
    if wanted:
        fig.add_hrect(y0=wanted[0], y1=wanted[1], fillcolor=palette.WANTED, line_width=0, layer="below",
                      annotation={"text": "wanted band of µ" if friction.wanted_from in (None, "target") else "band about the plateau (no target)", "font": {"size": 11, "color": palette.MUTED}},
                      annotation_position="top left")  # fmt: skip
    window = friction.window
    if window is not None:
        for end, word, at in ((window.low_c, "from", "bottom right"), (window.high_c, "to", "bottom left")):
            fig.add_vline(x=end, line={"color": palette.ACCENT, "dash": "dash", "width": 1.5},
                          annotation={"text": f"window {word} {end:.0f} °C", "font": {"size": 11, "color": palette.ACCENT}},
                          annotation_position=at)  # fmt: skip
    add_curve(fig, friction.curve)
    add_stop_points(fig, stops, column)
    return fig if fig.data else frame.say(fig, "no stop has a friction coefficient")


def friction_energy(stops: pl.DataFrame) -> go.Figure:
    """mu of the stops against energy density of the pads' friction area."""
    fig = frame.figure(
        frame.axis("Energy density, of pad area", "J/mm²", rangemode="tozero"), frame.axis(MU, "", rangemode="tozero")
    )
    add_stop_points(fig, stops, "energy_density_j_mm2")
    return fig if fig.data else frame.say(fig, "no stop has a friction coefficient")


def averages(stops: pl.DataFrame) -> go.Figure:
    """The three averages less the nominal one, against initial temperature: where the choice of average matters."""
    fig = frame.figure(
        frame.axis("Disc temperature at stop start", "°C"), frame.axis("Difference from nominal µ", ""), height=330
    )
    columns = (("mu_time", "by time"), ("mu_distance", "by distance"), ("mu_energy", "by energy"))
    for index, (column, name) in enumerate(columns):
        colour, symbol, _ = palette.series(index)
        part = stops.filter(
            pl.col(column).is_not_null() & pl.col("mu").is_not_null() & pl.col("temperature_initial_c").is_not_null()
        )
        if part.is_empty():
            continue
        fig.add_scatter(
            x=frame.trimmed(part["temperature_initial_c"]), y=frame.trimmed(part[column] - part["mu"], 4), mode="markers",
            name=f"average {name}", **of_stops(part), marker={"color": colour, "symbol": symbol, "size": 7},
        )  # fmt: skip
    return fig if fig.data else frame.say(fig, "no stop has a friction coefficient")


def shade_blocks(fig: go.Figure, stops: pl.DataFrame) -> None:
    """Background of blocks in time order (x = stop number), with names where there is room for them.

    Neighbouring blocks of one purpose share a shade. All shapes are set at once: adding them one by one costs the square
    of their number.
    """
    numbers = stops["stop"].to_list()
    names = stops["block"].fill_null("no block").to_list()
    purposes = dict(zip(names, stops["purpose"], strict=True))
    shades = frame.blocks_of([purposes[name] or "none" for name in names], numbers)
    shapes = [
        {"type": "rect", "xref": "x", "yref": "paper", "x0": first - 0.5, "x1": last + 0.5, "y0": 0, "y1": 1, "line": {"width": 0},
         "fillcolor": palette.purpose(purpose)[0], "opacity": 0.14, "layer": "below"}
        for purpose, first, last in shades
    ]  # fmt: skip
    room = 0.02 * len(stops)
    notes = [
        {"x": (first + last) / 2, "y": 1.0, "yref": "paper", "yanchor": "bottom", "text": frame.label(name[:22]), "showarrow": False,
         "textangle": -38, "xanchor": "left", "font": {"size": 10, "color": palette.MUTED}}
        for name, first, last in frame.blocks_of(names, numbers) if last - first + 1 >= room
    ]  # fmt: skip
    fig.update_layout(shapes=shapes, annotations=notes)


def time_order(stops: pl.DataFrame) -> go.Figure:
    """mu in the order run, with each stop's range (2nd to 98th percentile) and bite, over the blocks."""
    fig = frame.figure(
        frame.axis("Stop, in the order run", "number"), frame.axis(MU, "", rangemode="tozero"), height=520,
        margin={"l": 70, "r": 48, "t": 90, "b": 100}, legend={"orientation": "h", "y": -0.18, "yanchor": "top", "x": 0},
    )  # fmt: skip
    if stops.is_empty():
        return frame.say(fig, "no stops")
    shade_blocks(fig, stops)
    ranged = stops.filter(pl.col("mu_min").is_not_null() & pl.col("mu_max").is_not_null())
    if not ranged.is_empty():
        x = [v for stop in ranged["stop"] for v in (stop, stop, None)]
        y = [
            v
            for low, high in zip(frame.trimmed(ranged["mu_min"]), frame.trimmed(ranged["mu_max"]), strict=True)
            for v in (low, high, None)
        ]
        fig.add_scatter(
            x=x,
            y=y,
            mode="lines",
            name="2nd to 98th percentile in the stop",
            hoverinfo="skip",
            line={"color": "#b9c1c7", "width": 1.2},
        )
    bite = stops.filter(pl.col("mu_bite").is_not_null())
    if not bite.is_empty():
        fig.add_scatter(x=bite["stop"].to_list(), y=frame.trimmed(bite["mu_bite"]), mode="markers", name="bite (first half second)",
                        marker={"symbol": "line-ew-open", "size": 8, "color": palette.ALARM, "line": {"width": 1.6}},
                        **only_stops(bite["stop"].to_list(), "stop %{stop}: bite %{y:.3f}<extra></extra>"))  # fmt: skip
    add_stop_points(fig, stops.with_columns(pl.col("stop").cast(pl.Float64).alias("_order")), "_order")
    rejected = stops.filter(pl.col("status") == "rejected")
    if not rejected.is_empty():
        fig.add_scatter(x=rejected["stop"].to_list(), y=[0.0] * len(rejected), mode="markers", name="rejected (no µ, energy kept)", cliponaxis=False,
                        marker={"symbol": "x-thin-open", "size": 9, "color": palette.ALARM, "line": {"width": 2}},
                        **only_stops(rejected["stop"].to_list(), "stop %{stop}: rejected<extra></extra>"))  # fmt: skip
    return fig


def energy_balance(stops: pl.DataFrame) -> go.Figure:
    """Energy ratio of every stop in the order run; 1 is a healthy rig."""
    fig = frame.figure(
        frame.axis("Stop, in the order run", "number"), frame.axis("Energy ratio, friction / kinetic", ""), height=300
    )
    part = stops.filter(pl.col("energy_ratio").is_not_null())
    if part.is_empty():
        return frame.say(
            fig, "no stop has an energy ratio (drags have none; a simulated inertia needs the drive's torque)"
        )
    fig.add_hline(y=1.0, line={"color": palette.INK, "width": 1})
    fig.add_scatter(x=part["stop"].to_list(), y=frame.trimmed(part["energy_ratio"]), mode="markers", name="stops",
                    **of_stops(part, "stop %{stop}: ratio %{y:.4f}<extra></extra>"), marker={"color": palette.ACCENT, "size": 6})  # fmt: skip
    ratios = part["energy_ratio"].to_numpy()
    low, high = float(ratios.min()), float(ratios.max())
    fig.update_yaxes(range=[min(low - 0.005, 0.97), max(high + 0.005, 1.03)])
    fig.update_layout(showlegend=False)
    return fig


def residuals(stops: pl.DataFrame, friction: OfMap) -> go.Figure:
    """Residuals of the map's stops in standard deviations, in the order run; the size of a point is its influence."""
    fig = frame.figure(
        frame.axis("Stop, in the order run", "number"),
        frame.axis("Residual", "standard deviations"),
        height=330,
    )
    rows = friction.diagnostics.stops if friction.diagnostics else []
    if not rows:
        return frame.say(fig, "no map, no residuals")
    purpose_of = dict(zip(stops["stop"], stops["purpose"], strict=True))
    for held, name in ((False, ""), (True, ", held back as stray")):
        for purpose in palette.PURPOSES:
            part = [r for r in rows if purpose_of.get(r.stop) == purpose and r.held_back == held]
            if not part:
                continue
            colour, symbol, _, words = palette.purpose(purpose)
            sizes = [6 + 30 * min(max(r.influence, 0.0), 0.5) for r in part]
            fig.add_scatter(
                x=[r.stop for r in part], y=[r.standardised for r in part], mode="markers", name=words + name,
                marker={"size": sizes, "color": "#ffffff" if held else colour, "symbol": symbol, "line": {"width": 1.4, "color": colour}},
                **frame.named(("stop", "influence"), [[r.stop, r.influence] for r in part],
                              "stop %{stop}: %{y:.2f} standard deviations, influence %{influence:.2f}<extra></extra>"),
            )  # fmt: skip
    for level in (-2, 0, 2):
        fig.add_hline(y=level, line={"color": palette.MUTED, "width": 1, "dash": "solid" if level == 0 else "dash"})
    return fig


def shown_stops(stops: pl.DataFrame, traces: pl.DataFrame, most: int = 240) -> list[int]:
    """Stops whose traces the overview draws: all, or an even choice within each block when there are more."""
    have = set(traces["stop"].unique().to_list())
    numbers = [s for s in stops["stop"].to_list() if s in have]
    if len(numbers) <= most:
        return numbers
    kept: list[int] = []
    for _, group in stops.filter(pl.col("stop").is_in(numbers)).group_by("block", maintain_order=True):
        kept += frame.spread(group["stop"].to_list(), max(2, round(most * len(group) / len(numbers))))
    return sorted(kept)


def in_stop(stops: pl.DataFrame, traces: pl.DataFrame, against: str, chosen: list[int]) -> go.Figure:
    """mu inside the stops against `time_s` or `disc_temperature_c`, one line a stop, coloured by purpose."""
    x_axis = (
        frame.axis("Time from brake start", "s")
        if against == "time_s"
        else frame.axis("Disc temperature in the stop", "°C")
    )
    fig = frame.figure(x_axis, frame.axis(MU, "", rangemode="tozero"), height=440)
    inside = traces.filter(pl.col("mu").is_not_null() & pl.col("stop").is_in(chosen))
    if inside.is_empty():
        return frame.say(fig, "no traces")
    purpose_of = dict(zip(stops["stop"], stops["purpose"], strict=True))
    lines: dict[str, tuple[list[Any], list[Any], list[Any]]] = {}
    for (stop,), group in inside.group_by(["stop"], maintain_order=True):
        x, y, custom = lines.setdefault(purpose_of.get(stop) or "", ([], [], []))
        x += [*frame.trimmed(group[against], 4), None]
        y += [*frame.trimmed(group["mu"], 4), None]
        custom += [stop] * (len(group) + 1)
    for name in [p for p in dict.fromkeys((*palette.PURPOSES, *sorted(lines))) if p in lines]:
        x, y, custom = lines[name]
        colour, _, _, words = palette.purpose(name)
        unit = "s" if against == "time_s" else "°C"
        fig.add_scatter(x=x, y=y, mode="lines", name=words, line={"color": colour, "width": 1.1}, opacity=0.75,
                        **only_stops(custom, "stop %{stop}: µ %{y:.3f} at %{x} " + unit + "<extra></extra>"))  # fmt: skip
    return fig


def stop_curves(traces: pl.DataFrame, most: int = 1200) -> dict[str, dict[str, list[float | None]]]:
    """Every stop's own curves for the page's stop viewer: {stop: {column: values}}."""
    columns = ["time_s", "speed_rpm", "torque_nm", "pressure_bar", "disc_temperature_c", "mu"]
    chosen = frame.spread(traces["stop"].unique(maintain_order=True).to_list(), most)
    curves = {}
    for (stop,), group in traces.filter(pl.col("stop").is_in(chosen)).group_by(["stop"], maintain_order=True):
        curves[str(stop)] = {name: frame.trimmed(group[name], 4) for name in columns}
    return curves
