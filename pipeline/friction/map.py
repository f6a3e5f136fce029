"""The friction map of one specimen or of a compound: mu over temperature, pressure, speed and energy density.

`fit_map(stops, settings)` fits the model of `pipeline.friction.model` to bedded stops of sound status and
returns a `FrictionMap`, a pure object: `predict` gives mu, its standard error and whether the data support
the value; nothing else is needed to use it elsewhere (drift takes residuals against it, batches move stops to
the reference conditions with it).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.friction import effects, model, smooth
from pipeline.friction.cells import cells_of, repeated
from pipeline.friction.effects import Choice, Reference
from pipeline.friction.interaction import Interaction
from pipeline.friction.interaction import start as interaction_start
from pipeline.friction.likelihood import GROUPS, Data, Group
from pipeline.friction.model import gross_held
from pipeline.friction.selection import conditions, data_of, reference_of, unrecorded, usable
from pipeline.friction.support import Support
from pipeline.method.friction import Friction

FEWEST_STOPS = 6
CELL_USUAL, CELL_SPREAD = -1.2, 1.0  # log of what the map misses over the stops' scatter: a third, within a factor of 3
EFFECTS_USUAL, EFFECTS_SPREAD = 0.0, 1.0  # the same of a change of an effect with temperature
NO_LABELS = np.zeros(0, int)
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
        supported = self.supports(t, candidates)
        mu, se = self.mean(np.where(supported, t, self.fit.data.low), np.where(supported[:, None], candidates, 0.0))
        return Prediction(np.where(supported, mu, np.nan), np.where(supported, se, np.nan), supported)

    def supports(self, temperature: np.ndarray, candidates: np.ndarray) -> np.ndarray:
        """Boolean (m,): whether the map has a value at temperatures (K) and effects (m, 3) as of `effects.linear`."""
        inside = self.support.temperatures_supported(temperature) & self.support.linear_supported(candidates)
        return inside & self._along_ties(candidates) & self._curve_seen(temperature, candidates)

    def level(self, temperature: np.ndarray, candidates: np.ndarray) -> np.ndarray:
        """mu without its standard error, support not looked at: for what is found by repeating."""
        x = self.kept_effects(candidates)
        z = self.fit.row(temperature, x) @ self.fit.solved.coefficients
        if self.link == "identity":
            return np.asarray(z, float)
        return np.exp(z + self.fit.scatter(self.fit.argument(temperature, x)) ** 2 / 2)

    def predict_stops(self, stops: pl.DataFrame) -> Prediction:
        """`predict` at the conditions of a stops table; a stop with a missing condition is unsupported."""
        t, p, w, e = conditions(stops, self.temperature_kind)
        return self.predict(t, p, w, e)

    def mean(self, temperature: np.ndarray, candidates: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """mu and its standard error, support not looked at; `candidates` (m, 3) as of `effects.linear`."""
        x = self.kept_effects(candidates)
        rows = self.fit.row(temperature, x)
        z, se = rows @ self.fit.solved.coefficients, np.sqrt(self.fit.mean_variance(temperature, x))
        if self.link == "identity":
            return z, se
        mu = np.exp(z + self.fit.scatter(self.fit.argument(temperature, x)) ** 2 / 2)
        return mu, mu * se

    def scatter(self, temperature: np.ndarray | float) -> np.ndarray:
        """Standard deviation of mu of a single stop about its specimen's map at the reference; temperature in
        K.
        """
        t = np.atleast_1d(np.asarray(temperature, float))
        sd = self.fit.scatter(t)
        return sd if self.link == "identity" else sd * self.mean(t, np.zeros((t.size, 3)))[0]

    @property
    def own_temperature(self) -> np.ndarray:
        """The method's temperature of each stop, K."""
        return self.stops[f"temperature_{self.temperature_kind}_c"].cast(pl.Float64).to_numpy() + 273.15

    @property
    def logs(self) -> np.ndarray:
        """Logarithms of pressure, speed and energy density of each stop over the reference's, (n, 3); 0 where not recorded."""
        _, p, w, e = conditions(self.stops, self.temperature_kind)
        logs = effects.linear(p, w, e, self.reference, "log")
        return np.where([name in self.missing for name in effects.NAMES], 0.0, logs)

    def kept_effects(self, candidates: np.ndarray) -> np.ndarray:
        """Of all candidate effects (m, 3) those in the model, (m, effects)."""
        return candidates[:, [effects.NAMES.index(name) for name in self.choice.kept]]

    def _curve_seen(self, temperature: np.ndarray, candidates: np.ndarray) -> np.ndarray:
        """True where the curve, moved by the conditions, is read inside the range that the stops showed."""
        at = self.fit.argument(temperature, self.kept_effects(candidates))
        return (at >= self.fit.data.low - 1e-6) & (at <= self.fit.data.high + 1e-6)

    def _along_ties(self, candidates: np.ndarray) -> np.ndarray:
        """True where tied effects move as they did in the data: a joint effect says nothing about either
        alone.
        """
        inside = np.ones(len(candidates), bool)
        for stays, out in self.choice.tied:
            a, b = effects.NAMES.index(stays), effects.NAMES.index(out)
            line = effects.tie(self.support.linear[:, a], self.support.linear[:, b])
            seen = np.abs(self.support.linear[:, b] - np.polyval(line, self.support.linear[:, a])).max()
            spread = np.ptp(self.support.linear[:, b])
            inside &= np.abs(candidates[:, b] - np.polyval(line, candidates[:, a])) <= 1.2 * seen + 0.05 * spread
        return inside


FACTORS = {
    ("specimen", False): "specimen",
    ("specimen", True): "specimen_shift",
    ("effects", False): "effects",
    ("cell", False): "cell",
}


def padded(start: np.ndarray | None, data: Data) -> np.ndarray | None:
    """Log variances to start from, with the usual ones of groups that they do not know yet (the last)."""
    if start is None:
        return None
    known = start.size - GROUPS.start
    return np.r_[start, [group.usual for group in data.groups[known:]]]


class Extras(NamedTuple):
    """What a fit has beside curve, effects and specimens: the interaction, cells as labels of the stops, and the reference."""

    interaction: Interaction | bool
    cells: np.ndarray | None
    reference: Reference


def with_extras(data: Data, extras: Extras, choice: Choice) -> Data:
    """The data with the columns of the interaction and of the cells, where they can have them; their effects are the choice's."""
    groups = data.groups
    if extras.interaction and data.effects:
        x, t = data.linear[:, : data.effects], data.temperature
        known = extras.interaction if isinstance(extras.interaction, Interaction) else None
        level = effects.levels(choice.kept, extras.reference, choice.energy_form)
        found = known or interaction_start(t, gross_held(t, data.response), x, level)
        data = replace(data, interaction=found)
        columns = found.varying(t, x)
        groups = (*groups, Group(NO_LABELS, of="effects", columns=columns, usual=EFFECTS_USUAL, spread=EFFECTS_SPREAD))
    if extras.cells is not None and repeated(extras.cells):
        groups = (*groups, Group(extras.cells, of="cell", usual=CELL_USUAL, spread=CELL_SPREAD))
    return replace(data, groups=groups)


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
    interaction: Interaction | bool = False,
    cells: bool = False,
) -> FrictionMap:
    """Fit the friction map to the usable stops of a stops table.

    stops: columns of docs/tables.md; over several tests also `test`, `batch` and `specimen`: specimens are then random
    and batches fixed, so that the map is the mean of the batches tested. `temperature` is the method's
    temperature (initial, mean, peak or end). `link`: log, effects multiply mu; identity, they add to it.
    `start` are log variances to start from. `interaction`: temperature interacts with the effects (True: the shift
    is sought, else it starts from the one given); `cells`: what the map
    misses at a set of conditions is parted from the scatter of its repeated stops. Raises NoMap, with the reason, when there are too few usable
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
    wanted = Extras(interaction, cells_of(used, t, logs) if cells else None, reference)
    fitted, choice = fit_carried(used, t, candidates, choice, link, settings.stray_limit, start, wanted)
    support = Support(np.sort(t), candidates, settings.largest_gap)
    factors = tuple(FACTORS[group.of, group.along] for group in fitted.data.groups)
    return FrictionMap(fitted, link, reference, choice, support, temperature, used, missing, factors)


def fit_carried(
    used: pl.DataFrame,
    t: np.ndarray,
    candidates: np.ndarray,
    choice: Choice,
    link: str,
    huber: float,
    start: np.ndarray | None,
    extras: Extras,
) -> tuple[model.Fit, Choice]:
    """The fit with the chosen effects; without any where the stops cannot carry them; NoMap where not even
    a curve.
    """
    columns = [effects.NAMES.index(name) for name in choice.kept]
    try:
        data = with_extras(data_of(used, t, candidates[:, columns], link), extras, choice)
        return model.fit(data, huber=huber, start=padded(start, data)), choice
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
