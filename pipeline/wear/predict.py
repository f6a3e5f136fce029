"""Wear of any list of stops by a fitted law, with its interval.

    from pipeline.wear.exposure import exposure, residence
    from pipeline.wear.predict import predict

    stops = exposure(energy_mj, power_w_mm2=..., temperature_c=..., force_distance_n_m=...,
                     braking_s=residence(time, kelvin), dwell_s=residence(time_after, kelvin_after))
    predict(component["models"][...], stops)        # the entry of wear.json whose model is `chosen`
    -> {"value": um, "low": um, "high": um}

The interval is that of the law's parameters and of the heat inputs that it rests on, from the joint draws in wear.json, and of how
far a further use departs from the law. Each draw of the law is one of its inputs too: an exposure's `nodes` say what the stops
would be at other inputs, so that what cancels between law and stops cancels. It holds no scatter between specimens beyond the fit's own, and says nothing about conditions outside
the law's `range`: `beyond` lists those.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from pipeline.constants import ZERO_C
from pipeline.heat.propagation import NODE, READINGS, Draws, bend, standard
from pipeline.heat.propagation import shares as spread
from pipeline.results.model import Interval
from pipeline.results.sources import InputName
from pipeline.results.wear import Conditions, Fixed, Part, Predictor
from pipeline.wear.exposure import GRID_K, Exposure, summed, without_dwell
from pipeline.wear.laws import LAWS, Constants, Law


def law_of(model: Predictor) -> tuple[Law, Constants, np.ndarray, np.ndarray]:
    """(law, constants, parameters [p], joint draws [d, p]) of a model entry of wear.json.

    Raises ValueError where the entry has no values (a law that was not identified).
    """
    law, fixed, joint = LAWS[model.model], model.fixed or Fixed(), model.joint
    names = [name for name, _ in law.parameters]
    values = [model.parameters[name].value if name in model.parameters else None for name in names]
    if joint is None or any(value is None for value in values):
        raise ValueError(f"the {law.name} law has no values to predict with: {model.why or 'not chosen'}")
    constants = Constants(
        th0_k=fixed.th0_k or Constants.th0_k,
        p0_w_mm2=fixed.p0_w_mm2 or Constants.p0_w_mm2,
        distance_factor=fixed.um_per_k_n_m or float("nan"),
    )
    return law, constants, np.array(values, float), np.array([joint[name] for name in names], float).T


def wear_by_stop(model: Predictor, stops: Exposure, *, further: bool = False) -> tuple[np.ndarray, np.ndarray]:
    """(loss [n], loss of each joint draw [d, n]) in um; further: of a further use, which departs from the law as the
    fit's residuals allow (`pipeline.wear.further`).

    The law's values are for its own setting of the heat inputs, its draws each for a draw of them; the stops' nodes say what they
    are at these. Stops without nodes are as they are, and the draws lie wider apart than they should. Raises
    ValueError as `law_of` does.
    """
    loss, of_draws = losses(model, stops), _of_draws(model, stops)
    factor = model.further_use if further else None
    return loss, of_draws if factor is None else of_draws * np.array(factor)[:, None]


def wear_of(model: Predictor, stops: Exposure) -> tuple[float, np.ndarray, np.ndarray]:
    """(loss of all the stops together, of each joint draw [d], of each as a further use [d]) in um, as `wear_by_stop`
    gives them; a law that sums of stops are enough for takes the sum.
    """
    law, *_ = law_of(model)
    if law.additive:
        stops = summed(stops, np.ones((1, len(stops))))
    loss, of_draws = wear_by_stop(model, stops)
    total = of_draws.sum(axis=1)
    return float(loss.sum()), total, total if model.further_use is None else total * np.array(model.further_use)


def sources(model: Predictor, stops: Exposure, of_draws: np.ndarray) -> dict[str, float]:
    """Variance of the logarithm of a loss by source: heat inputs, readings, and how uses depart. of_draws: [d], as the mean use
    loses (`wear_of`)."""
    names = dict.fromkeys([*stops.nodes, *(one.name for one in model.inputs)])
    logs = np.log(np.maximum(of_draws, 1e-300))
    made = spread(logs, _draws_of(model, names, len(logs)), READINGS)
    if model.further_use is not None:
        made["how uses depart"] = float(np.log(model.further_use).var())
    return made


def losses(model: Predictor, stops: Exposure) -> np.ndarray:
    """Loss [n] in um of each stop, without draws; as `wear_by_stop` gives it."""
    return np.asarray(_parts(model, stops).sum(axis=1))


def _parts(model: Predictor, stops: Exposure) -> np.ndarray:
    """Loss of each stop by part of the law [n, rates]."""
    law, constants, values, _ = law_of(model)
    n = len(law.rates)
    shape = values[n:] if law.shape else np.zeros(1)
    own = {one.name: one.shift for one in model.inputs}
    setting = {name: np.array([own.get(name, 0.0)]) for name in stops.nodes}
    return np.asarray(_moved(law, constants, stops, shape, setting)[0] * values[:n])


def _of_draws(model: Predictor, stops: Exposure) -> np.ndarray:
    law, constants, _, draws = law_of(model)
    n = len(law.rates)
    if not law.shape:
        return np.asarray(draws @ law.columns(stops, 0.0, constants).T)
    shapes, z = draws[:, n], _draws_of(model, stops.nodes, len(draws))
    if law.name == "two_regime" and "thermocouple" in stops.nodes:
        # the transition's draws move with the bias, and so do these stops' temperatures
        low, high = stops.nodes["thermocouple"]
        bias = float(np.nanmean(high.temperature_c - low.temperature_c)) / (2 * NODE)
        shapes = shapes - bias * z["thermocouple"]
    return np.asarray(np.einsum("dnr,dr->dn", _moved(law, constants, stops, shapes, z), draws[:, :n]))


def _draws_of(model: Predictor, names: Iterable[InputName], count: int) -> Draws:
    """Draws [count] of these inputs: the law's own, and of what it does not rest on those that were known before."""
    own = {one.name: np.array(one.draws) for one in model.inputs if one.draws is not None and len(one.draws) == count}
    return {name: own[name] if name in own else standard(name, count) for name in names}


def _moved(law: Law, constants: Constants, stops: Exposure, shapes: np.ndarray, z: Draws) -> np.ndarray:
    """The law's terms [d, n, rates] at each draw's shape [d] and heat inputs z [d]."""
    terms = law.terms(stops, shapes, constants)
    if law.name != "oxidation" or not stops.nodes:
        return terms
    at = np.log(np.maximum(terms[:, :, 1], 1e-300))
    moved = at.copy()
    for name, ends in stops.nodes.items():
        low, high = (np.log(np.maximum(law.terms(s, shapes, constants)[:, :, 1], 1e-300)) for s in ends)
        b, c = bend(at, low, high)
        moved += z[name][:, None] * b + z[name][:, None] ** 2 * c
    oxidised = np.where(terms[:, :, 1] > 0, np.exp(np.minimum(moved, 700.0)), 0.0)
    return np.stack([terms[:, :, 0], oxidised], axis=2)


def predict(model: Predictor, stops: Exposure, confidence: float = 0.95) -> Interval:
    """Loss in um of all the stops together, a further use, with its interval."""
    loss, _, of_draws = wear_of(model, stops)
    return interval(loss, of_draws, confidence)


def interval(value: float, draws: np.ndarray, confidence: float) -> Interval:
    """A figure with the central interval of its draws, widened where needed to hold the figure itself.

    draws: [k] in the unit of the value; confidence: share, 1.
    """
    tail = (1 - confidence) / 2
    low, high = np.quantile(draws, [tail, 1 - tail])
    return Interval(value=value, low=float(min(low, value)), high=float(max(high, value)))


def shares(model: Predictor, stops: Exposure) -> dict[str, np.ndarray]:
    """Loss in um of each stop [n] by mechanism: mechanical, and for oxidation that while braking and that after it."""
    if model.model != "oxidation":
        return {"mechanical": losses(model, stops)}
    both, braking = _parts(model, stops), _parts(model, without_dwell(stops))[:, 1]
    return {
        "mechanical": both[:, 0],
        "oxidation_braking": braking,
        "oxidation_after_braking": both[:, 1] - braking,
    }


def part_shares(model: Predictor, stops: Exposure) -> dict[Part, float]:
    """Share of each part of the law in the loss of all the stops together; nil where they lose nothing."""
    loss = _parts(model, stops).sum(axis=0)
    total = float(loss.sum())
    parts = LAWS[model.model].parts
    return {part: float(one) / total if total > 0 else 0.0 for part, one in zip(parts, loss, strict=True)}


def beyond(model: Predictor, stops: Exposure) -> list[str]:
    """In words, what of these stops lies outside the data that the law was fitted to; empty when nothing does."""
    known = model.span or Conditions()
    said: list[str] = []
    for what, span, values, unit in (
        ("energy", known.energy_mj, stops.energy_mj, "MJ a stop"),
        ("power", known.power_w_mm2, stops.power_w_mm2, "W/mm2"),
        ("temperature", known.temperature_c, stops.temperature_c, "°C"),
    ):
        values = values[np.isfinite(values)]
        if span and values.size:
            said += _outside((float(values.min()), float(values.max())), span, what, unit, 0.05)
    time = (stops.braking_s + stops.dwell_s).sum(axis=0)
    if known.surface_c and time.any():
        hot = GRID_K[time > 0].max() - ZERO_C
        said += _outside((known.surface_c[0], float(hot)), known.surface_c, "surface temperature", "°C", 0.0)
    return said


def _outside(seen: Sequence[float], known: Sequence[float], what: str, unit: str, slack: float) -> list[str]:
    (low, high), (known_low, known_high) = seen, known
    room = slack * max(abs(known_high - known_low), abs(known_high) * 0.1)
    said: list[str] = []
    if high > known_high + room:
        said.append(f"{what} up to {high:.3g} {unit}, the wear readings reach {known_high:.3g}")
    if low < known_low - room:
        said.append(f"{what} down to {low:.3g} {unit}, the wear readings begin at {known_low:.3g}")
    return said
