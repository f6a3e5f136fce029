"""A small picture of each test on the index: mu of its stops over temperature, with the fitted curve and the window.

All pictures of a page have the same axes, so that a glance down the column compares. They are drawn as SVG in the page
itself, from the stops and friction.json: no script, no file beside it, some kilobytes a test. Stops from the first that
drift affected are crosses, the others dots. Bedding stops and stops without mu are left out.

Axes: from the least of all tests to the greatest, but to no more than twice the median test's greatest, so that one test
with a wrong unit does not press all others flat; what lies beyond stands on the edge.
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl
from markupsafe import Markup

from pipeline.report import frame
from pipeline.results import scan_table
from pipeline.results.drift import TestDrift
from pipeline.results.friction import TestFriction
from pipeline.wording import counted

WIDE, HIGH, EDGE = 150, 48, 3  # pixels
MOST_POINTS = 80
MOST_OF_CURVE = 24
BEYOND = 2.0  # times the median test's greatest, at most

Point = tuple[float, float]


@dataclass(frozen=True)
class Drawn:
    """What is drawn of a test: points are (temperature in degC, mu); `curve` in its unbroken stretches."""

    stops: int = 0
    before: list[Point] = field(default_factory=list)
    after: list[Point] = field(default_factory=list)
    curve: list[list[Point]] = field(default_factory=list)
    window: tuple[float, float] | None = None

    @property
    def points(self) -> list[Point]:
        """Every point and every place of the curve."""
        return [*self.before, *self.after, *(point for run in self.curve for point in run)]


@dataclass(frozen=True)
class Axes:
    """Ends of the axes that all pictures of the page share: temperature in degC, mu."""

    cold: float
    hot: float
    low: float
    high: float


def of_test(folder: Path, friction: TestFriction, drift: TestDrift) -> Drawn:
    """What to draw of the test whose results are in `folder`; nothing where it has no table of stops that can be read."""
    path = folder / "stops.parquet"
    name = f"temperature_{friction.temperature or 'initial'}_c"
    bedding = pl.col("purpose").eq_missing("bedding")
    usable = ~bedding & pl.col("mu").is_finite() & pl.col(name).is_finite()
    try:
        stops = scan_table(path).filter(usable).select("stop", name, "mu").collect()
    except (OSError, pl.exceptions.PolarsError):  # the test's row stands without a picture
        return Drawn()
    onset = drift.onset_stop if drift.verdict not in (None, "none") else None
    late = pl.lit(False) if onset is None else pl.col("stop") >= onset
    window = friction.window
    return Drawn(
        stops=len(stops),
        before=frame.spread(stops.filter(~late).select(name, "mu").rows(), MOST_POINTS),
        after=frame.spread(stops.filter(late).select(name, "mu").rows(), MOST_POINTS),
        curve=stretches(friction),
        window=None if window is None else (window.low_c, window.high_c),
    )


def stretches(friction: TestFriction) -> list[list[Point]]:
    """The curve of the fitted map in its unbroken stretches."""
    runs: dict[int, list[Point]] = {}
    for one in friction.curve:
        runs.setdefault(one.stretch, []).append((one.temperature_c, one.mu))
    return [frame.spread(run, MOST_OF_CURVE) for run in runs.values()]


def axes_of(drawn: Sequence[Drawn]) -> Axes | None:
    """Axes for all of them; None where nothing is drawn."""
    given = [one.points for one in drawn if one.points]
    if not given:
        return None
    ends = []
    for place in (0, 1):
        most = [max(point[place] for point in own) for own in given]
        high = min(max(most), BEYOND * statistics.median(most))
        low = max(min(point[place] for own in given for point in own), 0.0)
        ends += [low, high] if high > low else [low - 0.5, low + 0.5]
    return Axes(*ends)


def svg(one: Drawn, axes: Axes | None) -> Markup:
    """The picture; empty where there is nothing to draw. It holds no text of a user."""
    if axes is None or not one.points:
        return Markup("")

    def across(temperature: float) -> int:
        share = (temperature - axes.cold) / (axes.hot - axes.cold)
        return round(EDGE + min(max(share, 0), 1) * (WIDE - 2 * EDGE))

    def up(mu: float) -> int:
        share = (mu - axes.low) / (axes.high - axes.low)
        return round(HIGH - EDGE - min(max(share, 0), 1) * (HIGH - 2 * EDGE))

    def dots(points: Sequence[Point], mark: str) -> str:
        return "".join(f"M{x} {y}{mark}" for x, y in dict.fromkeys((across(t), up(mu)) for t, mu in points))

    parts = []
    if one.window is not None:
        left, right = (across(end) for end in one.window)
        parts.append(f'<path class="w" d="M{left} 0H{right}V{HIGH}H{left}"/>')
    if one.before:
        parts.append(f'<path class="p" d="{dots(one.before, "h0")}"/>')
    if one.after:
        parts.append(f'<path class="x" d="{dots(one.after, "m-2-2l4 4m0-4l-4 4")}"/>')
    lines = "".join("M" + "L".join(f"{across(t)} {up(mu)}" for t, mu in run) for run in one.curve)
    if lines:
        parts.append(f'<path class="c" d="{lines}"/>')
    said = words(one)
    return Markup(
        f'<svg class="tiny" viewBox="0 0 {WIDE} {HIGH}" role="img" aria-label="{said}">{"".join(parts)}</svg>'
    )


def words(one: Drawn) -> str:
    """The picture in words, for who does not see it."""
    stops = [*one.before, *one.after]
    if not stops:
        return "fitted curve alone"
    mus, heat = [mu for _, mu in stops], [t for t, _ in stops]
    return (
        f"µ {min(mus):.2f} to {max(mus):.2f} over {min(heat):.0f} to {max(heat):.0f} °C, {counted(one.stops, 'stop')}"
    )


def axes_words(axes: Axes | None) -> str:
    """What the pictures show and on which axes; empty where there is none."""
    if axes is None:
        return ""
    return (
        f"Pictures: µ of the stops from {axes.low:.2f} to {axes.high:.2f} over {axes.cold:.0f} to {axes.hot:.0f} °C, alike for all tests, with "
        "the fitted curve and the window (grey field); crosses: stops from the first that drift affected; what lies beyond stands on the edge."
    )
