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
from pipeline.friction.selection import conditions, data_of, reference_of, unrecorded, usable
from pipeline.friction.support import Support
from pipeline.method.friction import Friction

FEWEST_STOPS = 6
TEMPERATURES = ("initial", "mean", "peak", "end")


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

    stops: columns of docs/tables.md; over several tests also `test`, `batch` and `specimen`: specimens are then random
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
    if np.ptp(t) < settings.least_range:
        raise NoMap(f"usable stops span {np.ptp(t):.0f} K; a map over temperature needs {settings.least_range:.0f} K")
    candidates = effects.linear(p, w, e, reference, energy_form)
    logs = effects.linear(p, w, e, reference, "log")
    choice = limited(effects.separable(logs, temperature_basis(t), missing), len(used), energy_form)
    fitted, choice = fit_carried(used, t, candidates, choice, link, settings.stray_limit, start)
    support = Support(np.sort(t), candidates, settings.largest_gap)
    factors = ("specimen", "specimen_shift") if fitted.data.groups else ()
    return FrictionMap(fitted, link, reference, choice, support, temperature, used, missing, factors)


def fit_carried(
    used: pl.DataFrame,
    t: np.ndarray,
    candidates: np.ndarray,
    choice: Choice,
    link: str,
    huber: float,
    start: np.ndarray | None,
) -> tuple[model.Fit, Choice]:
    """The fit with the chosen effects; without any where the stops cannot carry them; NoMap where not even
    a curve.
    """
    columns = [effects.NAMES.index(name) for name in choice.kept]
    try:
        return model.fit(data_of(used, t, candidates[:, columns], link), huber=huber, start=start), choice
    except np.linalg.LinAlgError:
        why = "the usable stops are too few and too alike to carry it"
        choice = Choice((), choice.dropped | dict.fromkeys(choice.kept, why), (), choice.energy_form)
    try:
        return model.fit(data_of(used, t, candidates[:, :0], link), huber=huber), choice
    except np.linalg.LinAlgError:
        raise NoMap("the usable stops are too few and too alike for a curve over temperature") from None


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
