"""The figures that the pages draw, as plotly figures: shown by a notebook, written by `figure.write_html(...)`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, Protocol

import polars as pl

from pipeline.notebook.reduction import Reduced, stop_samples
from pipeline.report import drift_figure, in_stop_figures, order_figures, samples_figure, stop_figures, wear_figures
from pipeline.results.drift import TestDrift
from pipeline.results.friction import OfMap
from pipeline.results.wear import TestWear

if TYPE_CHECKING:
    from plotly.graph_objects import Figure


class Tables(Protocol):
    """A reduced test, or the results of one: what has its tables."""

    @property
    def stops(self) -> pl.DataFrame: ...
    @property
    def traces(self) -> pl.DataFrame: ...
    @property
    def excluded(self) -> pl.DataFrame: ...


def plot_stop(reduced: Reduced, stop: int) -> Figure:
    """One stop at the recording's own rate: mu, torque and pressure as recorded and conditioned, speed, disc temperature
    over the time from brake start, the evaluation window shaded. Raises InputError as `stop_samples` does."""
    return samples_figure.stop_figure(stop_samples(reduced, stop))


def plot_friction(test: Tables, friction: OfMap) -> Figure:
    """mu of the stops over the method's temperature, with curve, bands, window and target band.

    friction: of the test, `friction_map(...)` or that of its results.
    """
    attribution = friction.temperature or "initial"
    figure = stop_figures.friction_temperature(test.stops, friction, attribution=attribution)
    return stop_figures.add_excluded(figure, test.excluded, stop_figures.temperature_column(attribution)[0])


def plot_energy(test: Tables, friction: OfMap | None = None) -> Figure:
    """mu of the stops over their energy density; friction: draws its curve and marks the stops that its map leaves out."""
    return stop_figures.friction_energy(test.stops, friction)


def plot_order(test: Tables, friction: OfMap | None = None) -> Figure:
    """mu, its range and bite in the order run, over the blocks; friction: marks the stops that its map leaves out."""
    return stop_figures.add_excluded(order_figures.time_order(test.stops, _of_map(friction)), test.excluded, "stop")


def plot_balance(test: Tables) -> Figure:
    """Energy ratio of every stop in the order run; 1 on a healthy rig."""
    return order_figures.energy_balance(test.stops)


def plot_in_stops(test: Tables, *, against: Literal["time_s", "disc_temperature_c"] = "time_s") -> Figure:
    """mu inside the stops, one line a stop; of many stops an even choice within each block."""
    chosen = in_stop_figures.shown_stops(test.stops, test.traces)
    return in_stop_figures.in_stop(test.stops, test.traces, against, chosen)


def plot_wear(wear: TestWear) -> Figure:
    """Thickness loss per stop of each interval between readings, with its standard uncertainty."""
    return wear_figures.wear_per_interval(wear)


def plot_drift(test: Tables, drift: TestDrift) -> Figure:
    """The drift chart: residuals, statistics over their limits, energy ratio, power density, temperature in the order run.

    drift: of the test, `drift_verdict(...)` or that of its results.
    """
    return drift_figure.drift_chart(test.stops, drift)


def _of_map(friction: OfMap | None) -> stop_figures.MapStops | None:
    return None if friction is None else stop_figures.map_stops(friction)
