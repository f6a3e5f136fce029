"""One component's part of wear.json: intervals, laws, choice, rates, and the tables that its figures are drawn from."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.constants import ZERO_C
from pipeline.method.wear import Wear
from pipeline.results.model import Interval
from pipeline.results.wear import (
    BlockWear,
    Conditions,
    FittedLaw,
    Fixed,
    LawCurve,
    LawPoint,
    MapAndDuty,
    MeasuredRate,
    Parameter,
    Predictor,
    ReadingNoise,
    Share,
    TestComponent,
    WearInterval,
)
from pipeline.wear.components import Component
from pipeline.wear.exposure import GRID_K, Exposure, interval_groups
from pipeline.wear.further import departures
from pipeline.wear.inference import Inference
from pipeline.wear.intervals import Intervals, with_occasions
from pipeline.wear.joint import draws
from pipeline.wear.laws import LAWS, Constants, arrhenius, design
from pipeline.wear.measured import kinds_of, measured_rates, trusted
from pipeline.wear.of_stops import ExposureOfTest
from pipeline.wear.predict import interval, law_of, shares, wear_by_stop
from pipeline.wear.rates import rates
from pipeline.wear.selection import Candidate, Choice, choose, energy_problem, noise_of, wrong

CURVE_POINTS = 25


def component_result(measured: Intervals, part: Component, test: ExposureOfTest, settings: Wear) -> TestComponent:
    """What stands under the component's name, but for masses."""
    constants, confidence = constants_of(part, settings), settings.confidence
    groups = interval_groups(test.run_number, measured.from_stop, measured.to_stop)
    usable = measured.to_stop <= (test.run_number.max() if len(test.run_number) else 0)
    usable &= groups @ test.stops.energy_mj > 0
    choice = own_choice(measured, usable, groups, test, constants, settings)
    measured = shown(measured, choice)
    kinds, _ = kinds_of(groups[usable], test.block, test.purpose)
    models = [
        model_entry(c, constants, test, part, measured, usable, kinds if c.name == choice.chosen else None)
        for c in choice.candidates
    ]
    chosen = next((m for m in models if m.model == choice.chosen), None)
    entries, why = (
        ([], None) if chosen and chosen.identified else _measured(measured, usable, groups, test, constants, settings)
    )
    law = trusted(chosen, entries)
    return TestComponent(
        intervals=_interval_rows(measured, groups, usable, test, chosen, confidence),
        noise=ReadingNoise(source=measured.source, dof=measured.dof),
        models=models,
        chosen=choice.chosen,
        chosen_why=choice.why,
        rates=rates(measured, part, test, confidence),
        measured=entries,
        measured_why=why,
        blocks=block_rows(law, test, part, confidence),
        shares=share_rows(chosen, test) if law is chosen else [],
        map_and_duty=map_and_duty(law, test, part, confidence),
        law=curve(chosen, test, confidence),
        temperature_range_c=supported(chosen),
        faces=part.faces,
        area_mm2=part.area * 1e6 if part.area else None,
        usable_um=part.usable_um,
    )


def constants_of(part: Component, settings: Wear) -> Constants:
    """What the laws of a component hold fixed."""
    return Constants(settings.central_temperature, settings.power_reference / 1e6, part.distance_factor or float("nan"))


def shown(measured: Intervals, choice: Choice) -> Intervals:
    """The intervals with the noise that the chosen law's residuals show in the readings (none where the law itself is
    wrong).
    """
    found = choice.law.found if choice.law else None
    if found is None or found.roughness or found.dof <= 0:
        return measured
    return with_occasions(measured, found.occasion_um, (found.scale, found.scale_dof))


def own_choice(
    measured: Intervals,
    usable: np.ndarray,
    groups: np.ndarray,
    test: ExposureOfTest,
    constants: Constants,
    settings: Wear,
) -> Choice:
    """The choice of law from one test's intervals.

    usable: [K] bool, which intervals count; groups: [K, stops] as of `laws.design`.
    """
    if not usable.any():
        return Choice([], None, "no interval holds a stop with energy")
    return choose(
        design(test.stops, groups[usable]),
        measured.wear[usable],
        measured.covariance[np.ix_(usable, usable)],
        measured.dof,
        constants,
        confidence=settings.confidence,
        noise=noise_of(measured, usable),
        model_u=settings.model_u,
    )


def model_entry(
    c: Candidate,
    constants: Constants,
    test: ExposureOfTest,
    part: Component,
    measured: Intervals,
    usable: np.ndarray,
    kinds: Sequence[Sequence[str]] | None,
) -> FittedLaw:
    """One entry of "models". A parameter whose interval is open has no value: null, with the reason in "why".

    kinds: of the chosen law, the blocks that each of its intervals holds; None for the others.
    usable: [K] bool, which intervals the law was fitted to.
    """
    law, found = LAWS[c.name], c.found
    effective, note = _effective(c.name, test, part)
    parameters = {}
    for i, (name, unit) in enumerate(law.parameters):
        value, low, high = (found.parameters[i], *found.intervals[i]) if found else (None, None, None)
        pinned = found is not None and found.closed[i] and (c.identified or _worth_stating(found, i))
        ends = (low, high) if pinned else (None, None)
        stated = pinned or (kinds is not None and found is not None)
        parameters[name] = Parameter(value=value if stated else None, low=ends[0], high=ends[1], unit=unit)
    joint = further = span = None
    if kinds is not None and found:
        sets = draws(found)
        joint = {name: [float(f"{v:.5g}") for v in sets[:, i]] for i, (name, _) in enumerate(law.parameters)}
        further = [float(f"{v:.5g}") for v in departures(found, [frozenset(k) for k in kinds])]
        first, last = measured.from_stop[usable].min(), measured.to_stop[usable].max()
        span = range_of(test.stops, (test.run_number > first) & (test.run_number <= last))
    return FittedLaw(
        model=c.name,
        parameters=parameters,
        fixed=Fixed(
            th0_k=constants.th0_k if c.name == "oxidation" else None,
            p0_w_mm2=constants.p0_w_mm2 if c.name == "power" else None,
            um_per_k_n_m=constants.distance_factor if c.name == "distance" else None,
        ),
        joint=joint,
        further_use=further,
        span=span,
        chi2_per_dof=found.chi2 / found.dof if found and found.dof > 0 else None,
        misfit_p=found.misfit_p if found else None,
        roughness=found.roughness if found else None,
        occasion_um=found.occasion_um if found else None,
        converged=found.converged if found else None,
        aicc=c.aicc,
        loo_rmse_um=c.loo_rmse,
        identified=c.identified,
        effective=effective,
        why="; ".join(w for w in (c.why, _rough_words(found) if c.identified else "", note) if w) or None,
    )


def _measured(
    measured: Intervals,
    usable: np.ndarray,
    groups: np.ndarray,
    test: ExposureOfTest,
    constants: Constants,
    settings: Wear,
) -> tuple[list[MeasuredRate], str | None]:
    """(entries, why none) of `measured_rates` from one test's intervals."""
    if not usable.any():
        return [], "no interval holds a stop with energy"
    own = groups[usable]
    problem = energy_problem(
        design(test.stops, own),
        measured.wear[usable],
        measured.covariance[np.ix_(usable, usable)],
        measured.dof,
        constants,
        noise_of(measured, usable),
        settings.model_u,
    )
    blocks, bedding = kinds_of(own, test.block, test.purpose)
    return measured_rates(
        problem,
        blocks,
        bedding,
        ["this"] * len(own),
        lambda p, _: p,
        lambda kept: range_of(test.stops, (own[kept] > 0).any(axis=0)),
        settings.confidence,
    )


def _worth_stating(found: Inference, i: int) -> bool:
    """A parameter of a law that is not identified is stated only where its own interval is closed, clear of zero and
    within a factor of four: no figure that looks surer than it is."""
    low, high = found.intervals[i]
    size = found.problem.size
    return size[0] > size[1] and not wrong(found) and low > 0 and high < 4 * low


def _rough_words(found: Inference | None) -> str:
    if not found or not found.widened:
        return ""
    if found.occasion_um:
        return (
            f"chi2 per degree of freedom {found.chi2 / found.dof:.1f} by the readings' noise: beside it they scatter from occasion "
            f"to occasion by some {found.occasion_um:.2g} um; the intervals hold that"
        )
    return (
        f"chi2 per degree of freedom {found.chi2 / found.dof:.1f}: beside the readings' noise the law is wrong by some "
        f"{100 * found.roughness:.1f} % of an interval's loss; the intervals hold that"
    )


def _effective(name: str, test: ExposureOfTest, part: Component) -> tuple[bool, str]:
    if name == "two_regime":
        return False, "the transition is in the method's indicated temperature"
    if name != "oxidation":
        return False, ""
    reasons = []
    if test.dwell_known < 0.9:
        reasons.append(f"the time between stops is known for {100 * test.dwell_known:.0f} % of them")
    if test.surface != "modelled":
        reasons.append(f"in indicated temperature, for duties like the rig's ({test.surface})")
    if part.name != "disc":
        reasons.append("in the disc's temperature, the pad's own is not known")
    return bool(reasons), ("effective: " + "; ".join(reasons)) if reasons else ""


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
    )


def supported(chosen: FittedLaw | None) -> list[float] | None:
    """Temperatures in degC that the chosen law is supported at: of the surface for oxidation, else the method's of
    the stops.
    """
    if chosen is None or chosen.span is None:
        return None
    return chosen.span.surface_c if chosen.model == "oxidation" else chosen.span.temperature_c


def _interval_rows(
    measured: Intervals,
    groups: np.ndarray,
    usable: np.ndarray,
    test: ExposureOfTest,
    chosen: FittedLaw | None,
    confidence: float,
) -> list[WearInterval]:
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
                stops=int(inside.sum()),
                energy_mj=float(groups[k] @ test.stops.energy_mj),
                blocks=blocks,
                in_models=bool(usable[k]),
                **measured.details[k],
                predicted_um=band.value,
                predicted_low_um=band.low,
                predicted_high_um=band.high,
            )
        )
    return rows


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
    inside = np.isin(np.array(test.purpose), ("map", "duty"))
    if not chosen or not inside.any():
        return None
    loss, of_draws = wear_by_stop(chosen, test.stops)
    n = int(inside.sum()) * part.faces
    band = interval(float(loss[inside].sum()), of_draws[:, inside].sum(axis=1), confidence)
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
