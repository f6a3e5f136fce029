"""Wear laws of a compound: the intervals of all its tests fitted together, with a specimen effect.

Specimens of one compound wear more or less than each other by a factor on each part of the law, common to all of a
specimen's intervals. It enters as a random effect, in the covariance (`between_specimens`). That law is the mean
specimen's, over all batches; beside it stands each batch's own (`batch_fit`): where batches differ, the mean is nobody's.

Whether a law fits is asked of the readings: with the degrees of freedom that their own noise is known by, all tests'
together. How well the mean of the specimens is known is the scatter's matter, with its few.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import block_diag

from pipeline.heat.propagation import INPUTS
from pipeline.method.wear import Wear
from pipeline.results.model import Interval, renewed
from pipeline.results.sources import HeatInput
from pipeline.results.wear import (
    CompoundComponent,
    FittedLaw,
    MeasuredRate,
    Rates,
    SpecimenScatter,
    WearInterval,
    WearSpecimen,
)
from pipeline.wear.between_specimens import SCATTER_DOF, factors, scatter_of, with_scatter
from pipeline.wear.components import spoken
from pipeline.wear.exposure import Exposure, joined
from pipeline.wear.inference import Inference
from pipeline.wear.intervals import Intervals
from pipeline.wear.kinds import Kinds
from pipeline.wear.laws import design
from pipeline.wear.mass_ratio import mean_ratio
from pipeline.wear.measured import kinds_of, measured_rates, trusted
from pipeline.wear.members import Member, WearRecord, members_of, read_of
from pipeline.wear.misfit import ASSUMED_NOISE_DOF
from pipeline.wear.of_batches import numbered, of_batches, worst_of
from pipeline.wear.of_stops import ExposureOfTest, exposure_of_test
from pipeline.wear.predict import losses, part_shares
from pipeline.wear.rates import RATES, coverage_factor, rates
from pipeline.wear.result import constants_of, model_entry
from pipeline.wear.rows import curve, law_range, map_and_duty, range_of, soaked, supported
from pipeline.wear.selection import Choice, Noise, choose, energy_problem, noise_of


@dataclass(frozen=True)
class Found:
    """Every component over all tests, what the figures rest on, and why there is none."""

    components: dict[str, CompoundComponent] | None
    notes: list[str]
    why: str | None = None


def of_compound(tests: Sequence[WearRecord], settings: Wear, temperature: str) -> Found:
    """The compound's components over all tests.

    temperature: which of a stop's temperatures the method stands a stop at.
    """
    read = [t for t in tests if t.readings is not None and t.readings.height and t.stops.height]
    if not read:
        return Found(None, [], "no test of the compound has wear readings")
    exposures = [exposure_of_test(t.stops, t.traces, t.missing, t.card, settings, temperature) for t in read]
    names = sorted({name for t in read if t.readings is not None for name in t.readings["component"].unique()})
    found = {}
    for name in names:
        members, left_out = members_of(name, read, exposures, settings)
        why = "no test has two readings of it"
        pooled = pooled_over(members, settings) if members else CompoundComponent(chosen_why=why, why=why)
        found[name] = renewed(pooled, tests_left_out=left_out)
    notes = [scatter_words(name, c.specimen_scatter) for name, c in found.items() if c.specimen_scatter]
    return Found(found, notes)


def pooled_over(members: list[Member], settings: Wear) -> CompoundComponent:
    part = members[0].part
    constants = constants_of(part, settings)
    y = np.concatenate([m.measured.wear[m.usable] for m in members])
    covariance = block_diag(*(m.measured.covariance[np.ix_(m.usable, m.usable)] for m in members))
    numbers = numbered(members)
    stops = joined([m.exposure.stops for m in members])
    groups = block_diag(*(m.groups[m.usable] for m in members))
    kinds = [b for m in members for b in kinds_of(m.groups[m.usable], m.exposure.block, m.exposure.purpose)[0]]
    choice = choose(
        design(stops, groups),
        y,
        covariance,
        readings_dof([m.measured for m in members]),
        constants,
        confidence=settings.confidence,
        noise=_noise(members),
        model_u=settings.model_u,
        adapt=lambda problem: with_scatter(problem, numbers.of_specimen, settings.specimen_scatter),
        folds=numbers.of_test if len(members) > 1 else None,
        kinds=Kinds.named(kinds),
    )
    together = _together(members, stops)
    models = [
        model_entry(
            c,
            constants,
            together,
            part,
            *_span(members),
            kinds,
            c.name == choice.chosen,
            settings.confidence,
        )
        for c in choice.candidates
    ]
    models = [m if m.span is None else renewed(m, span=law_range(m, stops, read_of(members))) for m in models]
    chosen = next((m for m in models if m.model == choice.chosen), None)
    known = chosen is not None and chosen.identified
    entries, why = ([], None) if known else _measured(members, settings)
    specimens, scatter = _factors(members, choice, numbers.of_test, settings)
    found = choice.law.found if choice.law else None
    law = (found, chosen) if found is not None and chosen is not None and known else None
    batches = of_batches(members, numbers, law, lambda own: _measured(own, settings), together, part, settings)
    component = CompoundComponent(
        intervals=_rows(members, chosen),
        models=models,
        chosen=choice.chosen,
        chosen_why=choice.why,
        by_batch=batches.by_batch,
        part_shares=part_shares(chosen, together.stops) if chosen is not None and known else {},
        by_specimen=batches.by_specimen,
        part_scatter=batches.part_scatter,
        specimens=specimens,
        specimen_scatter=scatter,
        rates=_rates(members, settings),
        measured=entries,
        measured_why=why,
        map_and_duty=map_and_duty(trusted(chosen, entries), together, part, settings.confidence),
        law=curve(chosen, together, settings.confidence),
        temperature_range_c=supported(chosen),
        mass_to_thickness=_mass_to_thickness(members, settings.confidence),
        tests=[m.test.card.test for m in members],
        faces=part.faces,
        area_mm2=part.area * 1e6 if part.area else None,
        usable_um=part.usable_um,
    )
    return renewed(component, worst=worst_of(component, together, part, settings))


def _measured(members: Sequence[Member], settings: Wear) -> tuple[list[MeasuredRate], str | None]:
    """(entries, why none) of `measured_rates` over these tests."""
    numbers = numbered(members)
    covariance = block_diag(*(m.measured.covariance[np.ix_(m.usable, m.usable)] for m in members))
    problem = energy_problem(
        design(joined([m.exposure.stops for m in members]), block_diag(*(m.groups[m.usable] for m in members))),
        np.concatenate([m.measured.wear[m.usable] for m in members]),
        covariance,
        readings_dof([m.measured for m in members]),
        constants_of(members[0].part, settings),
        _noise(members),
        settings.model_u,
    )
    each = [kinds_of(m.groups[m.usable], m.exposure.block, m.exposure.purpose) for m in members]
    return measured_rates(
        problem,
        [b for blocks, _ in each for b in blocks],
        np.concatenate([aside for _, aside in each]),
        [members[t].test.card.test or str(t) for t in numbers.of_test],
        lambda p, kept: with_scatter(p, numbers.of_specimen[kept], settings.specimen_scatter),
        lambda kept: range_of(problem.intervals.stops, (problem.intervals.groups[kept] > 0).any(axis=0)),
        settings.confidence,
    )


def readings_dof(measured: Sequence[Intervals]) -> float:
    """Degrees of freedom that the noise of several tests' readings is known by together."""
    return float(sum(min(m.dof, ASSUMED_NOISE_DOF) if m.assumed else m.dof for m in measured))


def _noise(members: Sequence[Member]) -> Noise:
    """What the problem is told of the readings beside their covariance; any assumed noise has to give way to the
    residuals.
    """
    each = [noise_of(m.measured, m.usable) for m in members]
    return Noise(
        occasions=block_diag(*(n.occasions for n in each)),
        occasion_most=max(n.occasion_most for n in each),
        assumed=any(n.assumed for n in each),
        between_dof=SCATTER_DOF + _specimens(members) - 1,
    )


def _specimens(members: Sequence[Member]) -> int:
    return len({(m.test.card.batch, m.test.card.specimen) for m in members})


def _factors(
    members: list[Member], choice: Choice, of_test: np.ndarray, settings: Wear
) -> tuple[list[WearSpecimen], SpecimenScatter | None]:
    if not choice.law or not choice.law.found:
        return [], None
    found: Inference = choice.law.found
    covariance = block_diag(*(m.measured.covariance[np.ix_(m.usable, m.usable)] for m in members))
    bare = replace(found.problem, covariance=covariance)
    value, variance = factors(bare, found.problem.model(found.parameters), of_test)
    half = coverage_factor(settings.confidence, min(m.measured.dof for m in members)) * np.sqrt(variance)
    rows = [
        WearSpecimen(
            test=m.test.card.test,
            batch=m.test.card.batch,
            specimen=m.test.card.specimen,
            factor=Interval(value=v, low=v - h, high=v + h),
        )
        for m, v, h in zip(members, value, half, strict=True)
    ]
    return rows, _scatter(value, variance, _specimens(members), settings)


def _scatter(value: np.ndarray, variance: np.ndarray, specimens: int, settings: Wear) -> SpecimenScatter:
    """The scatter between specimens, what of it is the method's expectation, and what it makes of a mean's interval."""
    share, expected = scatter_of(value, variance, settings.specimen_scatter), settings.specimen_scatter
    dof = SCATTER_DOF + len(value) - 1
    return SpecimenScatter(
        share=share,
        specimens=specimens,
        expected=expected,
        from_expected=SCATTER_DOF * expected**2 / (dof * share**2) if share > 0 else None,
        half_width=coverage_factor(settings.confidence, dof) * share / float(np.sqrt(len(value))),
    )


def scatter_words(name: str, scatter: SpecimenScatter) -> str:
    """What the scatter between specimens does to the intervals of a component's rates and laws."""
    n = scatter.specimens
    return (
        f"{spoken(name)}: {100 * scatter.half_width:.0f} % to each side of the intervals of mean rate, law and life "
        "is scatter between "
        f"specimens, {100 * (scatter.from_expected or 0):.0f} % of that (as variance) the "
        f"{100 * scatter.expected:.0f} % that the "
        f"method expects rather than what {'this one shows' if n == 1 else f'these {n} show'}"
    )


def _together(members: list[Member], stops: Exposure) -> ExposureOfTest:
    """All tests' stops as one exposure, numbered through."""
    return ExposureOfTest(
        stops=stops,
        run_number=np.arange(1, len(stops) + 1),
        block=[b for m in members for b in m.exposure.block],
        purpose=[p for m in members for p in m.exposure.purpose],
        filled=sum(m.exposure.filled for m in members),
        dwell_known=float(np.mean([m.exposure.dwell_known for m in members])),
        surface=next((m.exposure.surface for m in members if m.exposure.surface != "modelled"), "modelled"),
        curve=None,
        inputs=_inputs(members),
    )


def _inputs(members: list[Member]) -> tuple[HeatInput, ...]:
    """The tests' heat inputs as one each, the least well known test's u; what is unlike in them is taken to be wrong alike."""
    of_tests = [one for m in members for one in m.exposure.inputs]
    found = []
    for name in INPUTS:
        own = [one for one in of_tests if one.name == name]
        if own:
            values, sources = {one.value for one in own}, list(dict.fromkeys(one.source for one in own))
            value = values.pop() if len(values) == 1 else None
            found.append(HeatInput(name=name, value=value, u=max(one.u for one in own), source=" and ".join(sources)))
    return tuple(found)


def _span(members: list[Member]) -> tuple[Intervals, np.ndarray]:
    """One interval over all stops, for the range that the law was fitted to."""
    count = sum(len(m.exposure.stops) for m in members)
    whole = Intervals(np.array([0]), np.array([count]), np.zeros(1), np.ones((1, 1)), 1.0, "")
    return whole, np.array([True])


def _rows(members: list[Member], chosen: FittedLaw | None) -> list[WearInterval]:
    """The tests' intervals, each with what the compound's law gives for its own stops (None without a law)."""
    predicted = [m.groups @ losses(chosen, m.exposure.stops) if chosen else None for m in members]
    return [
        WearInterval(
            test=m.test.card.test,
            from_stop=int(m.measured.from_stop[k]),
            to_stop=int(m.measured.to_stop[k]),
            wear_um=float(m.measured.wear[k]),
            wear_u_um=float(m.measured.u[k]),
            **m.mass[k]._asdict(),
            **soaked(m.exposure, m.groups[k] > 0),
            predicted_um=None if loss is None else float(loss[k]),
            in_models=bool(m.usable[k]),
        )
        for m, loss in zip(members, predicted, strict=True)
        for k in range(len(m.measured.wear))
    ]


def _mass_to_thickness(members: list[Member], confidence: float) -> Interval | None:
    """Mean of the tests' ratios."""
    known = [r for m in members if (r := (m.test.mass_to_thickness or {}).get(m.part.name))]
    return mean_ratio(known, confidence)


def _rates(members: list[Member], settings: Wear) -> Rates:
    """Mean of the tests' rates with the scatter between specimens in its interval."""
    each = [rates(m.measured, m.part, m.exposure, settings.confidence) for m in members]
    pooled: dict[str, Interval | None] = {}
    for key in RATES:
        known = [rate for r in each if (rate := getattr(r, key))]
        pooled[key] = _mean_rate(known, settings) if known else None
    why = None if all(pooled.values()) else "; ".join(sorted({r.why for r in each if r.why})) or None
    return Rates(**pooled, tests=len(each), why=why)


def _mean_rate(known: list[Interval], settings: Wear) -> Interval:
    value = np.array([r.value for r in known])
    u = np.array([((r.high or 0.0) - (r.low or 0.0)) / 2 for r in known]) / coverage_factor(settings.confidence, np.inf)
    mean, n = float(value.mean()), len(value)
    size = max(abs(mean), 1e-300)
    scatter = scatter_of(value / size, np.maximum(u / size, 1e-9) ** 2, settings.specimen_scatter) * size
    half = coverage_factor(settings.confidence, SCATTER_DOF + n - 1) * np.sqrt((scatter**2 + (u**2).mean()) / n)
    return Interval(value=mean, low=float(mean - half), high=float(mean + half))
