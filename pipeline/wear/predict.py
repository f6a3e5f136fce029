"""Wear of any list of stops by a fitted law, with its interval.

    from pipeline.wear.exposure import exposure, residence
    from pipeline.wear.predict import predict

    stops = exposure(energy_mj, power_w_mm2=..., temperature_c=..., force_distance_n_m=...,
                     braking_s=residence(time, kelvin), dwell_s=residence(time_after, kelvin_after))
    predict(component["models"][...], stops)        # the entry of wear.json whose model is `chosen`
    -> {"value": um, "low": um, "high": um}

The interval is that of the law's parameters, from the joint draws in wear.json, and of how far a further use departs
from the law. It holds no scatter between specimens beyond the fit's own, and says nothing about conditions outside
the law's `range`: `beyond` lists those.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.constants import ZERO_C
from pipeline.results.model import Interval
from pipeline.results.wear import Conditions, Fixed, Part, Predictor
from pipeline.wear.exposure import GRID_K, Exposure, without_dwell
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
    fit's residuals allow (`pipeline.wear.further`). Raises ValueError as `law_of` does."""
    loss, of_draws = _by_law(model, stops)
    factor = model.further_use if further else None
    return loss, of_draws if factor is None else of_draws * np.array(factor)[:, None]


def _by_law(model: Predictor, stops: Exposure) -> tuple[np.ndarray, np.ndarray]:
    law, constants, values, draws = law_of(model)
    n = len(law.rates)
    if not law.shape:
        columns = law.columns(stops, 0.0, constants)
        return columns @ values, draws @ columns.T
    loss = law.columns(stops, values[n], constants) @ values[:n]
    of_draws = np.einsum("dnr,dr->dn", law.terms(stops, draws[:, n], constants), draws[:, :n])
    return loss, of_draws


def predict(model: Predictor, stops: Exposure, confidence: float = 0.95) -> Interval:
    """Loss in um of all the stops together, a further use, with its interval."""
    loss, of_draws = wear_by_stop(model, stops, further=True)
    return interval(float(loss.sum()), of_draws.sum(axis=1), confidence)


def interval(value: float, draws: np.ndarray, confidence: float) -> Interval:
    """A figure with the central interval of its draws, widened where needed to hold the figure itself.

    draws: [k] in the unit of the value; confidence: share, 1.
    """
    tail = (1 - confidence) / 2
    low, high = np.quantile(draws, [tail, 1 - tail])
    return Interval(value=value, low=float(min(low, value)), high=float(max(high, value)))


def shares(model: Predictor, stops: Exposure) -> dict[str, np.ndarray]:
    """Loss in um of each stop [n] by mechanism: mechanical, and for oxidation that while braking and that after it."""
    law, constants, values, _ = law_of(model)
    if law.name != "oxidation":
        return {"mechanical": wear_by_stop(model, stops)[0]}
    both = law.columns(stops, values[-1], constants) * values[:2]
    braking = law.columns(without_dwell(stops), values[-1], constants)[:, 1] * values[1]
    return {
        "mechanical": both[:, 0],
        "oxidation_braking": braking,
        "oxidation_after_braking": both[:, 1] - braking,
    }


def part_shares(model: Predictor, stops: Exposure) -> dict[Part, float]:
    """Share of each part of the law in the loss of all the stops together; nil where they lose nothing."""
    law, constants, values, _ = law_of(model)
    n = len(law.rates)
    loss = (law.columns(stops, values[-1] if law.shape else 0.0, constants) * values[:n]).sum(axis=0)
    total = float(loss.sum())
    return {part: float(one) / total if total > 0 else 0.0 for part, one in zip(law.parts, loss, strict=True)}


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
