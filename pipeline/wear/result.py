"""One component's part of wear.json: intervals, laws, choice, rates, and the tables that its figures are drawn from."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.method.wear import Wear
from pipeline.results.model import renewed
from pipeline.results.sources import HeatInput
from pipeline.results.wear import (
    FittedLaw,
    Fixed,
    MeasuredRate,
    Parameter,
    ReadingNoise,
    TestComponent,
)
from pipeline.wear.components import Component
from pipeline.wear.exposure import interval_groups
from pipeline.wear.further import departures
from pipeline.wear.heated import heated, rounded
from pipeline.wear.inference import Inference
from pipeline.wear.intervals import Intervals, with_occasions
from pipeline.wear.kinds import Kinds
from pipeline.wear.laws import LAWS, Constants, design
from pipeline.wear.measured import kinds_of, measured_rates, trusted
from pipeline.wear.of_stops import ExposureOfTest
from pipeline.wear.parameters import parameter
from pipeline.wear.rates import rates
from pipeline.wear.rows import (
    block_rows,
    curve,
    interval_rows,
    map_and_duty,
    oxidation_seen,
    range_of,
    share_rows,
    supported,
)
from pipeline.wear.selection import Candidate, Choice, choose, energy_problem, noise_of, wrong


def component_result(measured: Intervals, part: Component, test: ExposureOfTest, settings: Wear) -> TestComponent:
    """What stands under the component's name, but for masses."""
    constants, confidence = constants_of(part, settings), settings.confidence
    groups = interval_groups(test.run_number, measured.from_stop, measured.to_stop)
    usable = test.usable(groups, measured.to_stop)
    choice = own_choice(measured, usable, groups, test, constants, settings)
    measured = shown(measured, choice)
    kinds, _ = kinds_of(groups[usable], test.block, test.purpose)
    models = [
        model_entry(c, constants, test, part, measured, usable, kinds, c.name == choice.chosen, confidence)
        for c in choice.candidates
    ]
    chosen = next((m for m in models if m.model == choice.chosen), None)
    entries, why = (
        ([], None) if chosen and chosen.identified else _measured(measured, usable, groups, test, constants, settings)
    )
    law = trusted(chosen, entries)
    return TestComponent(
        intervals=interval_rows(measured, groups, usable, test, chosen, confidence),
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
        kinds=Kinds.named(kinds_of(groups[usable], test.block, test.purpose)[0]),
    )


def model_entry(
    c: Candidate,
    constants: Constants,
    test: ExposureOfTest,
    part: Component,
    measured: Intervals,
    usable: np.ndarray,
    kinds: Sequence[Sequence[str]],
    chosen: bool,
    confidence: float,
) -> FittedLaw:
    """One entry of "models". A parameter whose interval is open has no value: null, with the reason in "why".

    kinds: the blocks that each of its intervals holds; chosen: whether it is the law chosen.
    usable: [K] bool, which intervals the law was fitted to.
    """
    law, found = LAWS[c.name], c.found
    effective, note = _effective(c.name, test, part)
    stated = [found is not None and (chosen or _pinned(c, found, i)) for i in range(len(law.parameters))]
    warmed = heated(found, test.inputs) if found and any(stated) else None
    parameters = {}
    for i, (name, unit) in enumerate(law.parameters):
        if found is None or warmed is None or not stated[i]:
            parameters[name] = Parameter(unit=unit)
        else:
            parameters[name] = parameter(found, warmed, i, confidence, pinned=_pinned(c, found, i))
    joint = further = span = None
    inputs: list[HeatInput] = []
    if chosen and found and warmed:
        joint = {name: rounded(warmed.draws[:, i]) for i, (name, _) in enumerate(law.parameters)}
        inputs = list(warmed.inputs)
        further = rounded(departures(found, [frozenset(k) for k in kinds]))
        first, last = measured.from_stop[usable].min(), measured.to_stop[usable].max()
        inside = (test.run_number > first) & (test.run_number <= last)
        span = range_of(test.stops, inside)
        if c.name == "oxidation":
            seen = oxidation_seen(float(found.parameters[2]), constants.th0_k, test.stops, inside)
            span = renewed(span, oxidation_c=seen)
    return FittedLaw(
        model=c.name,
        parameters=parameters,
        fixed=Fixed(
            th0_k=constants.th0_k if c.name == "oxidation" else None,
            p0_w_mm2=constants.p0_w_mm2 if c.name == "power" else None,
            um_per_k_n_m=constants.distance_factor if c.name == "distance" else None,
        ),
        joint=joint,
        inputs=inputs,
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
    usable = usable & (groups @ test.stops.energy_mj > 0)  # a soak has no rate a stop
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
    blocks, aside = kinds_of(own, test.block, test.purpose)
    return measured_rates(
        problem,
        blocks,
        aside,
        ["this"] * len(own),
        lambda p, _: p,
        lambda kept: range_of(test.stops, (own[kept] > 0).any(axis=0)),
        settings.confidence,
    )


def _pinned(c: Candidate, found: Inference, i: int) -> bool:
    """Whether the interval of parameter `i` is to be stated."""
    return bool(found.closed[i]) and (c.identified or _worth_stating(found, i))


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
            f"chi2 per degree of freedom {found.chi2 / found.dof:.1f} by the readings' noise: beside it they scatter "
            "from occasion "
            f"to occasion by some {found.occasion_um:.2g} um; the intervals hold that"
        )
    return (
        f"chi2 per degree of freedom {found.chi2 / found.dof:.1f}: beside the readings' noise the law misses an interval's wear by "
        f"about {100 * found.roughness:.1f} %; the intervals hold that"
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
