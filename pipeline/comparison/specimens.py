"""Friction, bite and wear of two compounds by their specimens, through the model of the batch comparison.

Each compound takes the place of a batch and its specimens are the replicates, so that the scatter between its batches is part of
that between its specimens. Conditions must be common:

friction   each specimen's checks are moved along its own compound's map to one reference; both maps must support it
bite       stops of both in cells of alike temperature, pressure and speed
wear       disc wear per stop of programs whose energy per stop differs by at most a tenth
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pipeline.archive.targets import Target
from pipeline.batches import margins
from pipeline.batches.answers import answer_all, level, quantity
from pipeline.batches.caveats import ENERGY_APART, Known
from pipeline.batches.specimens import Shape, SpecimenTest, Values, bite_values, friction_values, wear_values
from pipeline.method.batches import Batches
from pipeline.results.batches import Answer, Margin, Quantity
from pipeline.results.comparison import Compared
from pipeline.results.friction_map import Reference
from pipeline.results.model import Interval
from pipeline.results.rigs import Examined

UNMATCHED = "conditions differ between specimens"
WEAR_OF = (
    "stops after bedding, as run; taken specimen by specimen, where a compound's sheet has one rate over all readings"
)


@dataclass(frozen=True)
class Side:
    """One compound: its tests, the shape of its map, its reference conditions."""

    name: str
    tests: list[SpecimenTest]
    shape: Shape | None
    reference: Reference | None


def relabelled(side: Side) -> list[SpecimenTest]:
    """The tests with the compound in the batch's place and specimens that batch and letter tell apart."""
    return [replace(t, batch=side.name, specimen=f"{t.batch} {t.specimen}") for t in side.tests]


def by_specimens(
    a: Side, b: Side, target: Target | None, settings: Batches, shifts: Sequence[Examined] = ()
) -> list[Compared]:
    """Friction, bite and disc wear per stop of the two compounds."""
    both = relabelled(a) + relabelled(b)
    mu, at = _friction(a, b)
    bite, wear = bite_values(both), wear_values(both)
    allowed = _allowed(a, b, target, mu)
    unlike = any(UNMATCHED in note for note in bite.left_out)
    conditions = bite.conditions
    cold = (
        f"{conditions.temperature_c:.0f} °C, {conditions.pressure_bar:.1f} bar, {conditions.speed_rpm:.0f} rpm"
        if conditions
        else "no stop of both has a bite"
    )
    pair = (a.name, b.name)

    def row(
        question: str, q: object, answer: Answer, margin: Margin | None, where: str, refused: str | None
    ) -> Compared:
        return _row(pair, question, q, answer, margin, where, refused)

    q_mu = quantity("mu", mu, margins.ends(allowed["mu"]), Known(both, mu, shifts))
    q_bite = quantity("bite", bite, margins.ends(allowed["bite"]), Known(both, bite, shifts))
    q_wear = quantity("wear", wear, margins.logged(margins.ends(allowed["wear"])), None, math.exp)
    found = [answer_all(q, [pair], settings)[0] for q in (q_mu, q_bite, q_wear)]
    return [
        row("µ at common reference conditions", q_mu, found[0], allowed["mu"], at or "none", None if at else NO_REFERENCE),
        row("Bite", q_bite, found[1], allowed["bite"], cold, "no cell of temperature, pressure and speed holds both" if unlike else None),
        row("Disc wear per stop, both faces (ratio)", q_wear, found[2], allowed["wear"], WEAR_OF, _programs(a, b)),
    ]  # fmt: skip


def _allowed(a: Side, b: Side, target: Target | None, mu: Values) -> Mapping[Quantity, Margin | None]:
    """The target's margins as its own compound's batch comparison has them: a margin of bite that is a share is one of that
    compound's bite, at the conditions at which its batches are compared."""
    if target is None:
        return margins.of_target(None, mu.values, mu.values)
    own = b if target.compound == b.name else a
    levels = [value for (name, _), value in zip(mu.specimens, mu.values, strict=True) if name == own.name]
    return margins.of_target(target, np.array(levels), bite_values(own.tests).values)


NO_REFERENCE = "no reference conditions lie inside both compounds' maps: run checks of both at the same temperature, pressure and speed"


def _friction(a: Side, b: Side) -> tuple[Values, str | None]:
    """Friction of every specimen at a reference inside both maps, and that in words; nothing where there is none."""
    for reference in (a.reference, b.reference):
        place = None if reference is None else _place(reference)
        if place is None or a.shape is None or b.shape is None:
            continue
        levels = [float(side.shape(place)[0]) for side in (a, b) if side.shape is not None]
        if all(np.isfinite(levels)):
            parts = [friction_values(relabelled(side), side.shape, at) for side, at in zip((a, b), levels, strict=True)]
            return _joined(parts), _words(reference)
    return Values((), np.zeros(0), np.zeros(0)), None


def _place(reference: Reference) -> pl.DataFrame | None:
    """One row at the reference conditions, as the map reads stops; None where the temperature is not known."""
    if reference.temperature_c is None:
        return None
    kinds = {f"temperature_{kind}_c": [reference.temperature_c] for kind in ("initial", "mean", "peak", "end")}
    return pl.DataFrame(
        kinds
        | {
            "pressure_bar": [reference.pressure_bar],
            "speed_start_rpm": [reference.speed_rpm],
            "energy_density_j_mm2": [reference.energy_density_j_mm2],
        },
        schema_overrides={
            "pressure_bar": pl.Float64,
            "speed_start_rpm": pl.Float64,
            "energy_density_j_mm2": pl.Float64,
        },
    )


def _words(reference: Reference | None) -> str:
    if reference is None:
        return "none"
    parts = (
        (reference.temperature_c, "°C", 0), (reference.pressure_bar, "bar", 1), (reference.speed_rpm, "rpm", 0),
        (reference.energy_density_j_mm2, "J/mm²", 1),
    )  # fmt: skip
    return ", ".join(f"{value:.{places}f} {unit}" for value, unit, places in parts if value is not None)


def _joined(parts: Sequence[Values]) -> Values:
    return Values(
        specimens=tuple(s for part in parts for s in part.specimens),
        values=np.concatenate([part.values for part in parts]),
        variances=np.concatenate([part.variances for part in parts]),
        counts=tuple(c for part in parts for c in part.counts),
        left_out=tuple(text for part in parts for text in part.left_out),
    )


def _programs(a: Side, b: Side) -> str | None:
    """Why wear per stop is not like with like; None where it is."""
    means = []
    for side in (a, b):
        energies = [t.energy_per_stop_kj for t in side.tests if t.energy_per_stop_kj and t.wear_rate is not None]
        if not energies:
            return None
        means.append(float(np.mean(energies)))
    if abs(math.log(means[0] / means[1])) <= ENERGY_APART:
        return None
    return f"unlike programs: {means[0]:.0f} and {means[1]:.0f} kJ per stop; run both in one program, or compare by the wear laws"


def _row(
    pair: tuple[str, str],
    question: str,
    q: object,
    answer: Answer,
    margin: Margin | None,
    where: str,
    refused: str | None,
) -> Compared:
    from pipeline.batches.answers import Quantity

    assert isinstance(q, Quantity)
    levels = [level(q, name) for name in pair]
    shown = [Interval(value=one.value, low=one.low, high=one.high, why=one.why) for one in levels]
    wear = q.name == "wear"
    figure = answer.figure
    verdict, why = answer.verdict, answer.why or "by the specimens of both; it holds for the batches tested"
    if refused is not None:
        verdict, why = "undecided", refused
    return Compared(
        question=question,
        unit="µm" if wear else "",
        a=shown[0],
        b=shown[1],
        kind="ratio" if wear else "difference",
        figure=Interval(value=figure.value, low=figure.low, high=figure.high, why=figure.why),
        margin=None if margin is None else [margin.low, margin.high],
        verdict=verdict,
        conditions=where,
        why=why,
    )
