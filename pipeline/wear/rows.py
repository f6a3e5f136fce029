"""What the chosen law says of a test's intervals, blocks, map and duty stops, mechanisms' shares and temperatures:
rows of wear.json.
"""

from __future__ import annotations

import numpy as np

from pipeline.constants import ZERO_C
from pipeline.results.model import Interval, renewed
from pipeline.results.wear import (
    BlockWear,
    Conditions,
    FittedLaw,
    LawCurve,
    LawPoint,
    MapAndDuty,
    Predictor,
    Share,
    WearInterval,
)
from pipeline.wear.components import Component
from pipeline.wear.exposure import GRID_K, Exposure, kept, summed
from pipeline.wear.intervals import Intervals
from pipeline.wear.laws import arrhenius
from pipeline.wear.of_stops import ExposureOfTest
from pipeline.wear.predict import interval, law_of, shares, wear_by_stop, wear_of

CURVE_POINTS = 25
ALIKE_FACTOR, ALIKE_K = 1.15, 20.0  # a third of the reach of a stop (`pipeline.tested.run`)
UNSEEN = 0.01  # share of the fitted oxidation that is too little to be seen in the readings


def range_of(s: Exposure, inside: np.ndarray) -> Conditions:
    """What the stops inside [n] span: [lowest, highest] per stop, and of the surface."""

    def span(values: np.ndarray) -> list[float] | None:
        values = values[inside & np.isfinite(values)]
        return [float(values.min()), float(values.max())] if values.size else None

    time = (s.braking_s + s.dwell_s)[inside].sum(axis=0)
    hot = GRID_K[time > 0.05]
    return Conditions(
        energy_mj=span(s.energy_mj),
        power_w_mm2=span(s.power_w_mm2),
        temperature_c=span(s.temperature_c),
        surface_c=[float(hot.min() - ZERO_C), float(hot.max() - ZERO_C)] if hot.size else None,
        run=conditions_run(s, inside),
    )


def law_range(model: Predictor, s: Exposure, inside: np.ndarray) -> Conditions:
    """`range_of` with where a law's oxidation was seen."""
    span, ea = range_of(s, inside), model.parameters.get("Ea")
    th0_k = model.fixed.th0_k if model.fixed else None
    if ea is None or ea.value is None or th0_k is None:
        return span
    return renewed(span, oxidation_c=oxidation_seen(ea.value, th0_k, s, inside))


def conditions_run(s: Exposure, inside: np.ndarray) -> list[list[float]]:
    """Energy (MJ), power density (W/mm2) and temperature (degC) of the stops inside [n]: one of those within 15 % and 20 K, and those at
    the ends of each range."""
    at = np.column_stack([s.energy_mj, s.power_w_mm2, s.temperature_c])[inside]
    at = at[np.isfinite(at).all(axis=1) & (at[:, :2] > 0).all(axis=1)]
    if not len(at):
        return []
    near = np.column_stack([np.log(at[:, :2]) / np.log(ALIKE_FACTOR), at[:, 2] / ALIKE_K]).round()
    first = np.unique(near, axis=0, return_index=True)[1]
    rows = np.unique(np.r_[first, at.argmin(axis=0), at.argmax(axis=0)])
    return [[float(f"{v:.5g}") for v in row] for row in at[rows]]


def oxidation_seen(ea: float, th0_k: float, s: Exposure, inside: np.ndarray) -> list[float] | None:
    """Surface temperatures in degC over which a law's oxidation (Ea in kJ/mol) was seen: all but the coldest hundredth of what it
    makes of the stops inside [n], up to the hottest that the surface was. Below, the term is Arrhenius's line drawn on: too little
    was lost there to be read."""
    time = (s.braking_s + s.dwell_s)[inside].sum(axis=0)
    done = np.cumsum(time * arrhenius(GRID_K, ea, th0_k))
    if not done[-1] > 0:
        return None
    low = float(GRID_K[np.searchsorted(done, UNSEEN * done[-1])])
    return [low - ZERO_C, float(GRID_K[time > 0.05].max(initial=low)) - ZERO_C]


def supported(chosen: FittedLaw | None) -> list[float] | None:
    """Temperatures in degC that the chosen law is supported at: of the surface where oxidation was seen, else the method's of
    the stops.
    """
    if chosen is None or chosen.span is None:
        return None
    if chosen.model == "oxidation":
        return chosen.span.oxidation_c or chosen.span.surface_c
    return chosen.span.temperature_c


def interval_rows(
    measured: Intervals,
    groups: np.ndarray,
    usable: np.ndarray,
    test: ExposureOfTest,
    chosen: FittedLaw | None,
    confidence: float,
) -> list[WearInterval]:
    """Each interval between readings with what was measured and what the law says of it.

    groups: [K, stops] as of `laws.design`; usable: [K] bool, which intervals count.
    """
    rows = []
    loss = of_draws = None
    if chosen:
        loss, of_draws = wear_by_stop(chosen, test.stops)
    for k in range(len(measured.wear)):
        inside = groups[k] > 0
        blocks = list(dict.fromkeys(b for b, i in zip(test.block, inside, strict=True) if i and b))
        band = Interval()
        if loss is not None and usable[k]:
            band = interval(float(groups[k] @ loss), of_draws @ groups[k], confidence)
        rows.append(
            WearInterval(
                from_stop=int(measured.from_stop[k]),
                to_stop=int(measured.to_stop[k]),
                wear_um=float(measured.wear[k]),
                wear_u_um=float(measured.u[k]),
                stops=int((inside & ~test.soaks).sum()),
                **soaked(test, inside),
                energy_mj=float(groups[k] @ test.stops.energy_mj),
                blocks=blocks,
                in_models=bool(usable[k]),
                **measured.points[k]._asdict(),
                predicted_um=band.value,
                predicted_low_um=band.low,
                predicted_high_um=band.high,
            )
        )
    return rows


def soaked(test: ExposureOfTest, inside: np.ndarray) -> dict[str, float | None]:
    """Hours and mean temperature of the soaks among rows [n]."""
    seconds = test.stops.dwell_s[inside & test.soaks]
    if not seconds.sum() > 0:
        return {"dwell_h": None, "dwell_c": None}
    return {
        "dwell_h": float(seconds.sum() / 3600),
        "dwell_c": float(seconds.sum(axis=0) @ GRID_K / seconds.sum() - ZERO_C),
    }


def block_rows(chosen: Predictor | None, test: ExposureOfTest, part: Component, confidence: float) -> list[BlockWear]:
    """Per block of the schedule, by the chosen law: loss per stop, per stop and face, per 100 stops."""
    if not chosen:
        return []
    loss, of_draws = wear_by_stop(chosen, test.stops, further=True)
    rows = []
    block = np.array(test.block)
    for name in dict.fromkeys(b for b in test.block if b):
        inside = block == name
        n = int(inside.sum())
        band = interval(float(loss[inside].sum()), of_draws[:, inside].sum(axis=1), confidence)
        purpose = next(p for b, p in zip(test.block, test.purpose, strict=True) if b == name)
        rows.append(
            BlockWear(
                block=name,
                purpose=purpose,
                stops=n,
                energy_mj=float(test.stops.energy_mj[inside].sum()),
                um_per_stop=_over(band, n),
                um_per_stop_per_face=_over(band, n * part.faces),
                um_per_100_stops=_over(band, n / 100),
            )
        )
    return rows


def _over(band: Interval, amount: float) -> Interval:
    """An interval over an amount that is known."""
    value, low, high = (None if end is None else end / amount for end in (band.value, band.low, band.high))
    return Interval(value=value, low=low, high=high)


def map_and_duty(
    chosen: Predictor | None, test: ExposureOfTest, part: Component, confidence: float
) -> MapAndDuty | None:
    """What a target's limit on wear is about: um per stop and face on the map and duty blocks, by the chosen law."""
    return per_stop(chosen, test, counted(test), part, confidence)


def counted(test: ExposureOfTest) -> np.ndarray:
    """Which stops [n] are of map and duty blocks."""
    return np.isin(np.array(test.purpose), ("map", "duty"))


def per_stop(
    model: Predictor | None, test: ExposureOfTest, inside: np.ndarray, part: Component, confidence: float
) -> MapAndDuty | None:
    """um per stop and face over the stops inside [n]; None without a law or a stop."""
    if not model or not inside.any():
        return None
    # their sum is enough for the oxidation law, and far less to copy than every stop's time at temperature
    own = summed(test.stops, inside[None].astype(float)) if model.model == "oxidation" else kept(test.stops, inside)
    loss, of_draws, _ = wear_of(model, own)
    n = int(inside.sum()) * part.faces
    band = interval(loss, of_draws, confidence)
    return MapAndDuty(um_per_stop_per_face=_over(band, n), stops=int(inside.sum()))


def share_rows(chosen: Predictor | None, test: ExposureOfTest) -> list[Share]:
    """Loss of each block by mechanism, um."""
    if not chosen:
        return []
    parts = shares(chosen, test.stops)
    block = np.array(test.block)
    return [
        Share(block=name, wear_um={mechanism: float(v[block == name].sum()) for mechanism, v in parts.items()})
        for name in dict.fromkeys(b for b in test.block if b)
    ]


def curve(chosen: Predictor | None, test: ExposureOfTest, confidence: float) -> LawCurve:
    """The chosen law over temperature with its band, over the data's range only; no points where it holds none."""
    if not chosen or chosen.model not in ("oxidation", "two_regime"):
        return LawCurve()
    law, constants, values, sets = law_of(chosen)
    if law.name == "oxidation":
        time = (test.stops.braking_s + test.stops.dwell_s).sum(axis=0)
        done = np.cumsum(time * arrhenius(GRID_K, values[2], constants.th0_k))
        if not done[-1] > 0:
            return LawCurve()
        # From where the first thousandth of the oxidation has been done to the hottest the surface was.
        at = np.linspace(GRID_K[np.searchsorted(done, 1e-3 * done[-1])], GRID_K[time > 0.05].max(), CURVE_POINTS)
        value = values[1] * arrhenius(at, values[2], constants.th0_k)
        of_draws = sets[:, 1:2] * np.array([arrhenius(at, ea, constants.th0_k) for ea in sets[:, 2]])
        unit, at_c = "um/s by oxidation, surface temperature", at - ZERO_C
    else:
        known = test.stops.temperature_c[np.isfinite(test.stops.temperature_c)]
        at_c = np.linspace(known.min(), known.max(), CURVE_POINTS)
        value = np.where(at_c < values[2], values[0], values[1])
        of_draws = np.where(at_c[None] < sets[:, 2:], sets[:, :1], sets[:, 1:2])
        unit = "um/MJ, the method's temperature"
    tail = (1 - confidence) / 2
    low, high = np.quantile(of_draws, [tail, 1 - tail], axis=0)
    points = [
        LawPoint(temperature_c=float(t), value=float(v), low=float(min(a, v)), high=float(max(b, v)))
        for t, v, a, b in zip(at_c, value, low, high, strict=True)
    ]
    return LawCurve(unit=unit, points=points)
