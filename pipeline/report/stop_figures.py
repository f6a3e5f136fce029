"""Interactive figures of the stops: friction against conditions, in time order, inside the stop, energy balance."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any, NamedTuple

import plotly.graph_objects as go
import polars as pl

from pipeline.report import condition_curves, frame, palette
from pipeline.results.friction import OfMap
from pipeline.results.friction_map import CurvePoint

ATTRIBUTION = {
    "initial": "temperature_initial_c",
    "mean": "temperature_mean_c",
    "peak": "temperature_peak_c",
    "end": "temperature_end_c",
}
MU = "Friction coefficient µ"
FAINT = 0.22  # opacity of a point that the curve beside it does not speak of
OF_THE_MAP = ("map", "check")  # purposes whose stops a friction map is made of
FIELDS = (
    "stop",
    "block",
    "mu",
    "mu_u",
    "temperature_initial_c",
    "pressure_bar",
    "speed_start_rpm",
    "energy_kj",
    "status",
)
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
    words = {
        "initial": "Disc temperature at stop start",
        "mean": "Mean disc temperature in the stop",
        "peak": "Peak disc temperature",
        "end": "Disc temperature at stop end",
    }
    return ATTRIBUTION.get(attribution, "temperature_initial_c"), words.get(attribution, words["initial"])


def add_stop_points(
    fig: go.Figure,
    stops: pl.DataFrame,
    x: str,
    y: str = "mu",
    of_map: MapStops | None = None,
    faint: Collection[int] = (),
) -> go.Figure:
    """Marker traces by purpose and use; rejected stops have no mu and are not drawn.

    of_map: what the friction map made of the stops, None where that is not to be shown. What the map is made of is filled;
    stops of other purposes are filled and small; what was left out or held back (suspect, stray, off the others) is open.
    faint: stops that are drawn faintly, as the figure's curve does not speak of them.
    """
    usable = stops.filter(pl.col(x).is_not_null() & pl.col(y).is_not_null())
    present = usable["purpose"].fill_null("").unique().to_list()
    for name in [p for p in palette.PURPOSES if p in present] + sorted(set(present) - set(palette.PURPOSES)):
        own = usable.filter(pl.col("purpose").fill_null("") == name)
        of_the_map = of_map is not None and name in OF_THE_MAP
        within = pl.col("stop").is_in(list(of_map.used)) if of_the_map and of_map else pl.col("status") == "ok"
        suspect = ~within & (pl.col("status") == "suspect")
        small = of_map is not None and not of_the_map
        for part, said, left_out in (
            (own.filter(within), "", False),
            (own.filter(suspect), " (suspect)", True),
            (own.filter(~within & ~suspect & (pl.col("status") == "ok")), " (left out or held back)", True),
        ):
            if not part.is_empty():
                _points(fig, part, (x, y), name, said, left_out=left_out, small=small, faint=faint)
    return fig


def _points(
    fig: go.Figure,
    part: pl.DataFrame,
    axes: tuple[str, str],
    purpose: str,
    said: str,
    *,
    left_out: bool,
    small: bool,
    faint: Collection[int],
) -> None:
    colour, symbol, _, words = palette.purpose(purpose)
    hollow = left_out or symbol.endswith("-open")
    weak = [stop in faint for stop in part["stop"]]
    opacity = {"opacity": FAINT if all(weak) else [FAINT if one else 1.0 for one in weak]} if any(weak) else {}
    fig.add_scatter(
        x=frame.trimmed(part[axes[0]]),
        y=frame.trimmed(part[axes[1]]),
        mode="markers",
        **of_stops(part),
        name=words + said,
        marker={
            "color": colour,
            "size": 6 if small else 8,
            "symbol": symbol.removesuffix("-open") + ("-open" if hollow else ""),
            "line": {"width": 1.4 if hollow else 0.6, "color": colour if hollow else palette.PAPER},
            **opacity,
        },
    )


class MapStops(NamedTuple):
    """Numbers of the stops that a friction map rests on, and of those that count less in it, as strays."""

    used: frozenset[int]
    held: frozenset[int]


def map_stops(friction: OfMap) -> MapStops | None:
    """What the friction map made of the stops; None where there is no map."""
    found = friction.diagnostics.stops if friction.diagnostics else []
    held = frozenset(one.stop for one in found if one.held_back)
    return MapStops(frozenset(one.stop for one in found) - held, held) if found else None


def add_excluded(fig: go.Figure, excluded: pl.DataFrame, x: str) -> go.Figure:
    """The stops excluded by hand as they would stand without that: shown, not used."""
    part = excluded.filter(pl.col(x).is_not_null() & pl.col("mu").is_not_null())
    if part.is_empty():
        return fig
    fig.add_scatter(
        x=frame.trimmed(part[x]),
        y=frame.trimmed(part["mu"]),
        mode="markers",
        name="excluded by hand (not used)",
        marker={"symbol": "x-open", "size": 9, "color": palette.ALARM, "line": {"width": 1.4}},
        **of_stops(part.with_columns(status=pl.lit("excluded by hand"))),
    )
    return fig


def add_curve(fig: go.Figure, curve: list[CurvePoint]) -> go.Figure:
    """Fitted curve with the band of the mean and the tolerance band, stretch by stretch: nothing across a gap of the
    data.

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
            x=x,
            y=[p.mu for p in part],
            mode="lines",
            name="curve at reference conditions",
            showlegend=number == 0,
            line={"color": palette.ACCENT, "width": 2.5},
            hovertemplate="%{x:.0f} °C: µ %{y:.3f}<extra>curve</extra>",
        )
    thin = [p for p in curve if p.thin]
    if thin:
        fig.add_scatter(
            x=[p.temperature_c for p in thin],
            y=[p.mu for p in thin],
            mode="markers",
            name="thin support",
            marker={"symbol": "circle-open", "size": 5, "color": palette.ALARM},
            hoverinfo="skip",
        )
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
    """mu of the stops against the method's temperature with curve, bands, window and the target band of mu.

    The target band is friction.json's `wanted_mu`, from the target or, without one, about the plateau.
    """
    column, words = temperature_column(attribution)
    fig = frame.figure(frame.axis(words, "°C"), frame.axis(MU, "", rangemode="tozero"), height=450)
    wanted = friction.wanted_mu
    if wanted:
        fig.add_hrect(
            y0=wanted[0],
            y1=wanted[1],
            fillcolor=palette.WANTED,
            line_width=0,
            layer="below",
            annotation={
                "text": "target band of µ"
                if friction.wanted_from in (None, "target")
                else "band about the plateau (no target)",
                "font": {"size": 11, "color": palette.MUTED},
            },
            annotation_position="top left",
        )
    window = friction.window
    if window is not None:
        for end, word, at in ((window.low_c, "from", "bottom right"), (window.high_c, "to", "bottom left")):
            fig.add_vline(
                x=end,
                line={"color": palette.ACCENT, "dash": "dash", "width": 1.5},
                annotation={"text": f"window {word} {end:.0f} °C", "font": {"size": 11, "color": palette.ACCENT}},
                annotation_position=at,
            )
    add_curve(fig, friction.curve)
    add_stop_points(fig, stops, column, of_map=map_stops(friction))
    return fig if fig.data else frame.say(fig, "no stop has a friction coefficient")


#: figure, column of stops.parquet, axis title, unit
CONDITIONS = (
    ("friction_energy", "energy_density_j_mm2", "Energy density, of pad area", "J/mm²"),
    ("friction_pressure", "pressure_bar", "Mean pressure", "bar"),
    ("friction_speed", "speed_start_rpm", "Speed at start", "rpm"),
)


def friction_condition(
    stops: pl.DataFrame, friction: OfMap | None, condition: tuple[str, str, str], *, attribution: str = "initial"
) -> go.Figure:
    """mu of the stops against one condition (column, words, unit): the target band, the curve with the other conditions at the
    reference, and, faintly, the stops outside the window's temperatures, of which the curve does not speak."""
    column, words, unit = condition
    fig = frame.figure(
        frame.axis(words, unit, rangemode="tozero"),
        frame.axis(MU, "", rangemode="tozero"),
        height=290,
        showlegend=False,
        margin={"l": 56, "r": 34, "t": 8, "b": 52},
    )
    if friction is None:
        add_stop_points(fig, stops, column)
    else:
        condition_curves.add_target(fig, friction)
        condition_curves.add(fig, friction, column)
        add_stop_points(fig, stops, column, of_map=map_stops(friction), faint=outside(stops, friction, attribution))
    return fig if fig.data else frame.say(fig, "no stop has a friction coefficient")


def friction_energy(stops: pl.DataFrame, friction: OfMap | None = None) -> go.Figure:
    """mu of the stops against energy density of the pads' friction area."""
    attribution = (friction.temperature if friction else None) or "initial"
    return friction_condition(stops, friction, CONDITIONS[0][1:], attribution=attribution)


def outside(stops: pl.DataFrame, friction: OfMap, attribution: str) -> frozenset[int]:
    """Stops outside the temperatures of the friction window; none where there is no window."""
    if friction.window is None:
        return frozenset()
    within = pl.col(temperature_column(attribution)[0]).is_between(friction.window.low_c, friction.window.high_c)
    return frozenset(stops.filter(~within.fill_null(False))["stop"].to_list())


def averages(stops: pl.DataFrame) -> go.Figure:
    """The three averages less the nominal one, against initial temperature: where the choice of average matters."""
    fig = frame.figure(
        frame.axis("Disc temperature at stop start", "°C"), frame.axis("Difference from nominal µ", ""), height=330
    )
    columns = (("mu_time", "by time"), ("mu_distance", "by distance"), ("mu_energy", "by energy"))
    for index, (column, name) in enumerate(columns):
        colour, symbol, *_ = palette.plain(index)
        part = stops.filter(
            pl.col(column).is_not_null() & pl.col("mu").is_not_null() & pl.col("temperature_initial_c").is_not_null()
        )
        if part.is_empty():
            continue
        fig.add_scatter(
            x=frame.trimmed(part["temperature_initial_c"]),
            y=frame.trimmed(part[column] - part["mu"], 4),
            mode="markers",
            name=f"average {name}",
            **of_stops(part),
            marker={"color": colour, "symbol": symbol, "size": 7},
        )
    return fig if fig.data else frame.say(fig, "no stop has a friction coefficient")


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
                x=[r.stop for r in part],
                y=[r.standardised for r in part],
                mode="markers",
                name=words + name,
                marker={
                    "size": sizes,
                    "color": palette.PAPER if held else colour,
                    "symbol": symbol,
                    "line": {"width": 1.4, "color": colour},
                },
                **frame.named(
                    ("stop", "influence"),
                    [[r.stop, r.influence] for r in part],
                    "stop %{stop}: %{y:.2f} standard deviations, influence %{influence:.2f}<extra></extra>",
                ),
            )
    for level in (-2, 0, 2):
        fig.add_hline(y=level, line={"color": palette.MUTED, "width": 1, "dash": "solid" if level == 0 else "dash"})
    return fig
