"""The friction map of one specimen or of a compound: mu over temperature, pressure, speed and energy density.

`fit_map(stops, settings)` fits the model of `pipeline.friction.model` to bedded stops of sound status and
returns a `FrictionMap`, a pure object: `predict` gives mu, its standard error and whether the data support
the value; nothing else is needed to use it elsewhere (drift takes residuals against it, batches move stops to
the reference conditions with it).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.friction import effects, model, smooth
from pipeline.friction.effects import Choice, Reference
from pipeline.friction.likelihood import Data, Group
from pipeline.friction.neighbourhood import around
from pipeline.friction.support import Support
from pipeline.method.friction import Friction

FEWEST_STOPS = 6
TEMPERATURES = ("initial", "mean", "peak", "end")
ZERO_C = 273.15


class NoMap(Exception):
    """The stops cannot carry a map; `str(error)` says why, ready for a results file."""


class Prediction(NamedTuple):
    """mu, its standard error (specimen scatter included where known, common calibration error not), and
    support.
    """

    mu: np.ndarray
    se: np.ndarray
    supported: np.ndarray


@dataclass(frozen=True)
class FrictionMap:
    """A fitted map; SI inside (K, Pa, rad/s, J/m2). `stops` are the rows used, in the fit's order, with their
    test.
    """

    fit: model.Fit
    link: str  # identity: effects add to mu; log: they multiply it
    reference: Reference
    choice: Choice
    support: Support
    temperature_kind: str
    stops: pl.DataFrame
    missing: tuple[str, ...] = ()  # conditions that were not recorded, of effects.NAMES
    factors: tuple[str, ...] = ()  # random factors, in the order of the fit's groups

    def predict(
        self,
        temperature: np.ndarray | float | None,
        pressure: np.ndarray | float | None = None,
        speed: np.ndarray | float | None = None,
        energy_density: np.ndarray | float | None = None,
    ) -> Prediction:
        """mu at given conditions, elementwise; a condition left out is the reference's.

        temperature in K (the method's temperature), pressure in Pa, speed in rad/s at brake start, energy
        density in J/m2 of pad friction area. mu and se are NaN where `supported` is false: there is no value
        outside the data.
        """
        reference = self.reference
        given = [temperature, pressure, speed, energy_density]
        usual = [reference.temperature, reference.pressure, reference.speed, reference.energy_density]
        wanted = [
            own if value is None or name in self.missing else value
            for name, value, own in zip(("temperature", *effects.NAMES), given, usual, strict=True)
        ]
        t, p, w, e = (np.atleast_1d(a).astype(float) for a in np.broadcast_arrays(*wanted))
        candidates = effects.linear(p, w, e, reference, self.choice.energy_form)
        supported = self.support.temperatures_supported(t) & self.support.linear_supported(candidates)
        supported &= self._along_ties(candidates)
        mu, se = self.mean(np.where(supported, t, self.fit.data.low), np.where(supported[:, None], candidates, 0.0))
        return Prediction(np.where(supported, mu, np.nan), np.where(supported, se, np.nan), supported)

    def predict_stops(self, stops: pl.DataFrame) -> Prediction:
        """`predict` at the conditions of a stops table; a stop with a missing condition is unsupported."""
        t, p, w, e = conditions(stops, self.temperature_kind)
        return self.predict(t, p, w, e)

    def mean(self, temperature: np.ndarray, candidates: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """mu and its standard error, support not looked at; `candidates` (m, 3) as of `effects.linear`."""
        contrasts = np.zeros((len(candidates), self.fit.data.linear.shape[1] - len(self.choice.kept)))
        rows = self.fit.row(temperature, np.hstack([candidates[:, self._kept()], contrasts]))
        z, se = rows @ self.fit.solved.coefficients, np.sqrt(self.fit.variance(rows))
        if self.link == "identity":
            return z, se
        mu = np.exp(z + self.fit.scatter(temperature) ** 2 / 2)
        return mu, mu * se

    def scatter(self, temperature: np.ndarray | float) -> np.ndarray:
        """Standard deviation of mu of a single stop about its specimen's map at the reference; temperature in
        K.
        """
        t = np.atleast_1d(np.asarray(temperature, float))
        sd = self.fit.scatter(t)
        return sd if self.link == "identity" else sd * self.mean(t, np.zeros((t.size, 3)))[0]

    def _kept(self) -> list[int]:
        return [effects.NAMES.index(name) for name in self.choice.kept]

    def _along_ties(self, candidates: np.ndarray) -> np.ndarray:
        """True where tied effects move as they did in the data: a joint effect says nothing about either
        alone.
        """
        inside = np.ones(len(candidates), bool)
        for stays, out in self.choice.tied:
            a, b = effects.NAMES.index(stays), effects.NAMES.index(out)
            line = np.polyfit(self.support.linear[:, a], self.support.linear[:, b], 2)
            seen = np.abs(self.support.linear[:, b] - np.polyval(line, self.support.linear[:, a])).max()
            spread = np.ptp(self.support.linear[:, b])
            inside &= np.abs(candidates[:, b] - np.polyval(line, candidates[:, a])) <= 1.2 * seen + 0.05 * spread
        return inside


def conditions(stops: pl.DataFrame, temperature_kind: str) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Temperature (K), pressure (Pa), start speed (rad/s), energy density (J/m2) of a stops table; null
    becomes NaN.
    """
    table = stops.select(
        pl.col(f"temperature_{temperature_kind}_c").cast(pl.Float64) + ZERO_C,
        pl.col("pressure_bar").cast(pl.Float64) * 1e5,
        pl.col("speed_start_rpm").cast(pl.Float64) * (np.pi / 30),
        pl.col("energy_density_j_mm2").cast(pl.Float64) * 1e6,
    )
    t, p, w, e = (column.fill_null(np.nan).to_numpy() for column in table.get_columns())
    return t, p, w, e


COLUMNS = {"pressure": "pressure_bar", "speed": "speed_start_rpm", "energy": "energy_density_j_mm2"}
UNRECORDED_BELOW = 0.5  # share of stops with a condition below which the map does without it


def usable(stops: pl.DataFrame, purposes: Sequence[str], temperature_kind: str, use_suspect: bool) -> pl.DataFrame:
    """Stops that may enter a map: of these purposes, sound, with mu and temperature, and with pressure, speed
    and energy density as far as the test has them at all (an old table may lack one).
    """
    sound = ["ok", "suspect"] if use_suspect else ["ok"]
    stops = stops.filter(
        pl.col("purpose").is_in(list(purposes)),
        pl.col("status").is_in(sound),
        pl.col("mu").is_finite() & (pl.col("mu") > 0),
        pl.col(f"temperature_{temperature_kind}_c").is_finite(),
    )
    return stops.filter([pl.col(COLUMNS[name]) > 0 for name in effects.NAMES if name not in unrecorded(stops)])


def unrecorded(stops: pl.DataFrame) -> tuple[str, ...]:
    """Conditions that fewer than half of the stops have."""
    if stops.is_empty():
        return ()
    return tuple(
        name
        for name in effects.NAMES
        if (stops[COLUMNS[name]] > 0).fill_null(False).mean() < UNRECORDED_BELOW  # type: ignore[operator]
    )


def reference_of(stops: pl.DataFrame, temperature_kind: str) -> Reference:
    """Reference conditions: medians of the check stops, of the map stops where there is no check; 1 where
    not recorded.
    """
    checks = stops.filter(pl.col("purpose") == "check")
    found = []
    for values in conditions(checks if len(checks) else stops, temperature_kind):
        finite = values[np.isfinite(values)]
        found.append(float(np.median(finite)) if finite.size else 1.0)
    return Reference(*found)


def fit_map(
    stops: pl.DataFrame,
    settings: Friction,
    *,
    purposes: Sequence[str] = ("map", "check"),
    temperature: str = "initial",
    reference: Reference | None = None,
    link: str = "log",
    energy_form: str = "linear",
    start: np.ndarray | None = None,
) -> FrictionMap:
    """Fit the friction map to the usable stops of a stops table.

    stops: contract columns; over several tests also `test`, `batch` and `specimen`: specimens are then random
    and batches fixed, so that the map is the mean of the batches tested. `temperature` is the method's
    temperature (initial, mean, peak or end). `link`: log, effects multiply mu; identity, they add to it.
    `start` are log variances to start from. Raises NoMap, with the reason, when there are too few usable
    stops.
    """
    used = usable(stops, purposes, temperature, settings.use_suspect)
    if len(used) < FEWEST_STOPS:
        raise NoMap(f"{len(used)} usable stops of purpose {' or '.join(purposes)}; a map needs {FEWEST_STOPS}")
    order = ["test", "stop"] if "test" in used.columns else ["stop"]
    used = used.sort(order)
    reference = reference or reference_of(used, temperature)
    missing = unrecorded(used)
    t, *rest = conditions(used, temperature)
    own = (reference.pressure, reference.speed, reference.energy_density)
    p, w, e = (
        np.full(t.size, usual) if name in missing else values
        for name, values, usual in zip(effects.NAMES, rest, own, strict=True)
    )
    if np.ptp(t) < settings.narrowest_range:
        raise NoMap(
            f"usable stops span {np.ptp(t):.0f} K; a map over temperature needs {settings.narrowest_range:.0f} K"
        )
    candidates = effects.linear(p, w, e, reference, energy_form)
    logs = effects.linear(p, w, e, reference, "log")
    choice = limited(effects.separable(logs, temperature_basis(t), missing), len(used), energy_form)
    factors, groups = random_factors(used)
    names, contrasts = batch_contrasts(used)
    effect = candidates[:, [effects.NAMES.index(name) for name in choice.kept]]
    if contrasts is not None:
        effect = np.hstack([effect, contrasts[[names.index(batch) for batch in used["batch"]]]])
    mu = used["mu"].to_numpy()
    data = Data(
        temperature=t,
        response=np.log(mu) if link == "log" else mu,
        linear=effect,
        weight_sd=own_scatter(used, t),
        series=labels(used, ["test"]) if "test" in used.columns else np.zeros(len(used), int),
        position=used["stop"].to_numpy().astype(float),
        steepness=np.zeros(len(used)),
        groups=groups,
        contrasts=contrasts,
    )
    fitted = model.fit(data, huber=settings.huber, start=start)
    support = Support(np.sort(t), candidates, settings.largest_gap)
    return FrictionMap(fitted, link, reference, choice, support, temperature, used, missing, factors)


def temperature_basis(t: np.ndarray) -> np.ndarray:
    """A coarse basis in temperature (six hats): what the smooth takes out of an effect before it is
    judged.
    """
    return smooth.hats(t, float(t.min()), float(t.max()), 6)[:, 1:]


def limited(choice: Choice, stops: int, energy_form: str) -> Choice:
    """The choice less effects that too few stops can carry."""
    dropped, kept = dict(choice.dropped), list(choice.kept)
    while kept and stops < effects.STOPS_PER_EFFECT * (len(kept) + 1):
        name = kept.pop()
        dropped[name] = f"{stops} usable stops are too few for an effect of {effects.WORDS[name]}"
    return Choice(tuple(kept), dropped, tuple(pair for pair in choice.tied if pair[0] in kept), energy_form)


def random_factors(used: pl.DataFrame) -> tuple[tuple[str, ...], tuple[Group, ...]]:
    """From two specimens on: their level and the place of their flank."""
    if not {"batch", "specimen"} <= set(used.columns) or used.n_unique(["batch", "specimen"]) < 2:
        return (), ()
    own = labels(used, ["batch", "specimen"])
    return ("specimen", "specimen_shift"), (Group(own), Group(own, along=True))


def batch_contrasts(used: pl.DataFrame) -> tuple[list[str], np.ndarray | None]:
    """Names of the batches and contrasts that sum to zero over them: the curve is then the mean of the
    batches tested.

    None where there is one batch, or no batch has two specimens: then batches and specimens cannot be told
    apart, and the specimens' scatter holds both.
    """
    if not {"batch", "specimen"} <= set(used.columns):
        return [], None
    names = used["batch"].unique(maintain_order=True).to_list()
    if len(names) < 2 or used.n_unique(["batch", "specimen"]) == len(names):
        return names, None
    return names, np.vstack([np.eye(len(names) - 1), -np.ones(len(names) - 1)])


def labels(frame: pl.DataFrame, columns: list[str]) -> np.ndarray:
    """Group numbers 0, 1 ... of rows alike in `columns`, in order of appearance."""
    keys = frame.select(pl.struct(columns).alias("key"))["key"].to_list()
    known: dict[tuple[object, ...], int] = {}
    return np.array([known.setdefault(tuple(key.values()), len(known)) for key in keys])


def own_scatter(used: pl.DataFrame, t: np.ndarray) -> np.ndarray:
    """Relative standard deviation of each stop from its own uncertainty, 1 for one like its neighbours in
    temperature.

    Half of a usual stop's variance is taken to be its own; only stops with an uncertainty unlike that of the
    stops around them are weighted otherwise, so that in-stop rise, which widens the uncertainty of all cold
    stops alike, changes nothing.
    """
    if "mu_u_stop" not in used.columns or used["mu_u_stop"].null_count() == len(used):
        return np.ones(len(used))
    u = used["mu_u_stop"].cast(pl.Float64).fill_null(np.nan).to_numpy() / used["mu"].to_numpy()
    usual = np.median(around(t, np.where(np.isfinite(u), u, np.nanmedian(u)), 15), axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(np.isfinite(u) & (usual > 0), u / usual, 1.0)
    return np.sqrt((1 + np.clip(ratio, 0.0, 10.0) ** 2) / 2)
