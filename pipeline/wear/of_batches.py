"""The batches' part of a compound's wear.json: each batch's law, its factors, its specimens', and the batch that wears most."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from pipeline.method.wear import Wear
from pipeline.results.model import renewed
from pipeline.results.wear import (
    BatchWear,
    CompoundComponent,
    FittedLaw,
    MeasuredRate,
    Parameter,
    Part,
    PartFactor,
    PartScatter,
    Predictor,
    SpecimenParts,
    WorstWear,
)
from pipeline.wear.batch_fit import BatchFit, ByBatch, by_batch
from pipeline.wear.components import Component
from pipeline.wear.exposure import joined, kept
from pipeline.wear.heated import heated
from pipeline.wear.inference import Inference
from pipeline.wear.laws import LAWS
from pipeline.wear.measured import trusted
from pipeline.wear.members import Member, read_of
from pipeline.wear.misfit import quantile
from pipeline.wear.of_stops import ExposureOfTest
from pipeline.wear.parts import over_batch
from pipeline.wear.predict import interval, part_shares
from pipeline.wear.rows import counted, law_range, map_and_duty, per_stop


@dataclass(frozen=True)
class Numbered:
    """What each interval of the pooled fit is of: numbers [K] of its test, its batch and its specimen, with their names."""

    of_test: np.ndarray
    of_batch: np.ndarray
    of_specimen: np.ndarray
    batches: list[str]
    specimens: list[tuple[str, str]]


@dataclass(frozen=True)
class Batches:
    """The fields of a component that are by batch."""

    by_batch: list[BatchWear] = field(default_factory=list)
    by_specimen: list[SpecimenParts] = field(default_factory=list)
    part_scatter: PartScatter | None = None


def numbered(members: Sequence[Member]) -> Numbered:
    """Of all members' usable intervals, in their order."""
    counts = [int(m.usable.sum()) for m in members]
    cards = [m.test.card for m in members]
    batches = list(dict.fromkeys(c.batch for c in cards))
    specimens = list(dict.fromkeys((c.batch, c.specimen) for c in cards))
    return Numbered(
        of_test=np.repeat(np.arange(len(members)), counts),
        of_batch=np.repeat([batches.index(c.batch) for c in cards], counts),
        of_specimen=np.repeat([specimens.index((c.batch, c.specimen)) for c in cards], counts),
        batches=batches,
        specimens=specimens,
    )


def of_batches(
    members: Sequence[Member],
    numbers: Numbered,
    law: tuple[Inference, FittedLaw] | None,
    measured: Callable[[Sequence[Member]], tuple[list[MeasuredRate], str | None]],
    together: ExposureOfTest,
    part: Component,
    settings: Wear,
) -> Batches:
    """Every batch by the law, or where none is identified by what its own intervals measured.

    law: the compound's identified law as fitted and as written; together: all tests' stops.
    """
    if law is None:
        rows = []
        for batch in numbers.batches if len(numbers.batches) > 1 else []:
            own = [m for m in members if m.test.card.batch == batch]
            entries, why = measured(own)
            figure = map_and_duty(trusted(None, entries), together, part, settings.confidence)
            rows.append(_row(batch, own, measured=entries, measured_why=why, map_and_duty=figure))
        return Batches(rows)
    found, entry = law
    warmed = heated(found, together.inputs)
    fit = by_batch(found, numbers.of_batch, numbers.of_specimen, settings.specimen_scatter, settings.parts_apart)
    parts = LAWS[entry.model].parts
    ratios = np.array([one.factors for one in fit.batches])
    specimens = _specimens(members, numbers, fit, ratios, parts, settings)
    scatter = _scatter(fit, parts)
    if len(numbers.batches) < 2:
        return Batches([], specimens, scatter)
    rows = [
        _by_law(batch, members, replace(one, sets=warmed.moved(one.sets)), entry, together, part, settings)
        for batch, one in zip(numbers.batches, fit.batches, strict=True)
    ]
    return Batches(rows, specimens, scatter)


def _row(batch: str, members: Sequence[Member], **more: object) -> BatchWear:
    own = [m for m in members if m.test.card.batch == batch]
    head = {
        "batch": batch,
        "specimens": len({m.test.card.specimen for m in own}),
        "tests": [m.test.card.test for m in own],
    }
    return BatchWear.model_validate(head | more)


def _by_law(
    batch: str,
    members: Sequence[Member],
    fit: BatchFit,
    entry: FittedLaw,
    together: ExposureOfTest,
    part: Component,
    settings: Wear,
) -> BatchWear:
    law, two = LAWS[entry.model], len(fit.factors) > 1
    parted = fit.apart < settings.parts_apart if two else None
    why = None if parted is not False else _not_parted(fit, law.parts, settings)
    written = FittedLaw(
        model=entry.model,
        parameters={
            name: _parameter(fit.parameters[i], fit.sets[:, i], unit, settings)
            for i, (name, unit) in enumerate(law.parameters)
        },
        fixed=entry.fixed,
        joint={name: [float(f"{v:.5g}") for v in fit.sets[:, i]] for i, (name, _) in enumerate(law.parameters)},
        inputs=entry.inputs,
        further_use=entry.further_use,
        span=entry.span,
        chi2_per_dof=fit.chi2 / fit.dof if fit.dof > 0 else None,
        identified=True,
        effective=entry.effective,
        why="; ".join(said for said in (why, _shape_words(entry)) if said) or None,
    )
    factors = {
        part: interval(float(fit.factors[i]), fit.factor_sets[:, i], settings.confidence)
        for i, part in enumerate(law.parts)
    }
    own = [m for m in members if m.test.card.batch == batch]
    written = renewed(written, span=law_range(written, joined([m.exposure.stops for m in own]), read_of(own)))
    return _row(
        batch,
        members,
        law=written,
        factors=factors,
        parted=parted,
        parted_why=why,
        map_and_duty=map_and_duty(written, together, part, settings.confidence),
    )


def _parameter(value: float, sets: np.ndarray, unit: str, settings: Wear) -> Parameter:
    ends = interval(float(value), sets, settings.confidence)
    return Parameter(value=ends.value, low=ends.low, high=ends.high, unit=unit)


def _shape_words(entry: FittedLaw) -> str | None:
    shape = LAWS[entry.model].shape
    return f"{shape[0]} is common to all batches" if shape else None


def _not_parted(fit: BatchFit, parts: tuple[Part, ...], settings: Wear) -> str:
    known = f"to {100 * fit.apart:.0f} %" if np.isfinite(fit.apart) else "not at all"
    return (
        f"its readings tell the difference of its {parts[0]} and its {parts[1]} factor {known}: both are scaled by one factor "
        f"from the mix that it ran, and in another mix they may differ by {100 * settings.parts_apart:.0f} % (wear.parts_apart)"
    )


def _specimens(
    members: Sequence[Member],
    numbers: Numbered,
    fit: ByBatch,
    ratios: np.ndarray,
    parts: tuple[Part, ...],
    settings: Wear,
) -> list[SpecimenParts]:
    """Factors on the compound's law: those on the batch's, times the batch's."""
    dof = min(m.measured.dof for m in members)
    half = float(np.sqrt(quantile(settings.confidence, dof)))
    rows = []
    for i, (batch, specimen) in enumerate(numbers.specimens):
        ratio = ratios[numbers.batches.index(batch)]
        value, covariance = fit.own.value[i] * ratio, fit.own.covariance[i] * np.outer(ratio, ratio)
        u = np.sqrt(np.diag(covariance))
        rows.append(
            SpecimenParts(
                batch=batch,
                specimen=specimen,
                tests=[
                    m.test.card.test for m in members if (m.test.card.batch, m.test.card.specimen) == (batch, specimen)
                ],
                factors={
                    part: PartFactor(value=v, low=max(v - half * s, 0.0), high=v + half * s, u=s)
                    for part, v, s in zip(parts, value, u, strict=True)
                },
                correlation=float(covariance[0, 1] / (u[0] * u[1])) if len(parts) == 2 else None,
            )
        )
    return rows


def _scatter(fit: ByBatch, parts: tuple[Part, ...]) -> PartScatter:
    sd = np.sqrt(np.diag(fit.scatter))
    return PartScatter(
        shares=dict(zip(parts, sd.tolist(), strict=True)),
        correlation=float(fit.scatter[0, 1] / (sd[0] * sd[1])) if len(parts) == 2 else None,
        dof=fit.dof,
    )


def worst_of(
    component: CompoundComponent, together: ExposureOfTest, part: Component, settings: Wear
) -> WorstWear | None:
    """The batch that wears most per stop of the map and duty blocks (without such: of all), and its specimen that does."""
    inside = counted(together) if counted(together).any() else np.ones(len(together.stops), bool)
    rates = {
        row.batch: (row, found.um_per_stop_per_face)
        for row in component.by_batch
        if (found := per_stop(_predictor(row), together, inside, part, settings.confidence)) is not None
    }
    if not rates:
        return None
    worst, rate = max(rates.values(), key=lambda one: one[1].value or 0.0)
    drawn = over_batch(component, worst, part_shares(worst.law, kept(together.stops, inside))) if worst.law else {}
    specimen = max(drawn, key=drawn.__getitem__) if drawn else None
    return WorstWear(
        batch=worst.batch,
        specimen=specimen,
        specimen_factor=None if specimen is None else drawn[specimen],
        um_per_stop_per_face=rate,
    )


def _predictor(row: BatchWear) -> Predictor | None:
    return row.law or trusted(None, row.measured)
