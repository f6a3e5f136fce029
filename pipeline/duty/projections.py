"""duty.json of a compound: every duty projected with the compound's window, wear laws and the rig's
cooling.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from pipeline.archive.duties import DutyCycle
from pipeline.archive.targets import Target
from pipeline.drift.film import Film
from pipeline.duty.air import Recorded, of_file, rig_of
from pipeline.duty.at_found import OF_DISC, at_found, factor_of
from pipeline.duty.both import Asked, both
from pipeline.duty.brake_of_card import brake_of, disc_of, with_radiation
from pipeline.duty.cycle import events_of
from pipeline.duty.lives import Alike
from pipeline.duty.of_batches import pressing_of, window_of
from pipeline.duty.one_duty import duty_projected, nothing
from pipeline.duty.pressing import Pressing
from pipeline.duty.project import Brake
from pipeline.duty.sweep import common
from pipeline.heat.of_card import assumed_words, heat_share_of
from pipeline.method.duty import Duty
from pipeline.method.wear import Wear
from pipeline.results.both import BothDuties
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.duty import (
    DutyDisc,
    DutyProjection,
    Projections,
    RigCooling,
)
from pipeline.results.model import USUAL_CONFIDENCE, renewed
from pipeline.results.wear import CompoundWear


def project_all(
    duties: Sequence[DutyCycle],
    tests: Sequence[Recorded],
    *,
    friction: CompoundFriction,
    wear: CompoundWear,
    settings: Duty,
    wear_settings: Wear,
    temperature_kind: str,
    pressing: Pressing | None = None,
    alike: Alike | None = None,
    film: Film | None = None,
    glazing_loss: float = Target.model_fields["glazing_loss"].default,
    mu_unlike: str | None = None,
    mu_confidence: float = USUAL_CONFIDENCE,
) -> Projections:
    """Every duty by the compound's friction and wear.json and its tests; where nothing can be said, why.

    alike: why batches are not shown equivalent in the wear of a component in a mix of its mechanisms; None where they are.
    mu_unlike: why they are not in friction; None where they are. mu_confidence: of friction's bands.
    """
    if not tests:
        return _none(duties, "no usable test of the compound")
    card = tests[0].card
    disc, why = disc_of(card, settings)
    if disc is None:
        return _none(duties, why)
    rig = rig_of(tests, disc, card, wear_settings.heat_share)
    disc, radiating_source = with_radiation(disc, card, rig, settings)
    own, window = window_of(friction, mu_unlike)
    pressing = None if pressing is None else pressing_of(pressing, friction, mu_unlike, mu_confidence)
    brake = brake_of(card, disc, own, wear, settings, wear_settings, temperature_kind, alike)
    brake = at_found(brake)
    share = factor_of(brake.inputs, "heat share")  # of every test, as the law found it
    rig = rig if share == 1 else rig_of(tests, disc, card, wear_settings.heat_share, factor=share)
    brake = dataclasses.replace(brake, film=film or Film(), glazing_loss=glazing_loss, film_growth=settings.film_growth)

    def again(factor: float, warmer: float) -> RigCooling | str:
        return rig_of(tests, disc, card, wear_settings.heat_share, factor=share * factor, warmer=warmer)

    results = [
        duty_projected(
            duty, brake, rig, settings, pressing, tests, lambda d: of_file(d, rig, settings, card, brake, again)
        )
        for duty in duties
    ]
    results = [renewed(one, window_of=window) for one in results]
    shared, shared_why = common(results) if results else (None, "no duty is given")
    return Projections(
        duties=results,
        common_opening=shared,
        common_opening_why=shared_why,
        both_duties=_both(duties, results, brake, friction, pressing, settings),
        rig_cooling=rig,
        disc=DutyDisc(
            mass_kg=disc.mass,
            radiating_m2=disc.radiating,
            radiating_source=radiating_source,
            from_test=card.test,
            heat_share=brake.heat_share,
        ),
        notes=_notes(tests, wear_settings, brake) + _spread(wear),
    )


def _both(
    duties: Sequence[DutyCycle],
    results: Sequence[DutyProjection],
    brake: Brake,
    friction: CompoundFriction,
    pressing: Pressing | None,
    settings: Duty,
) -> BothDuties:
    """One answer over the duties, each with the mean power density of its brakings by energy."""
    asked = []
    for duty, result in zip(duties, results, strict=True):
        events = events_of(duty)
        power = events.energy / events.brake_time / brake.rubbing.friction_area / 1e6
        asked.append(Asked(result, duty.use, float(np.average(power, weights=events.energy))))
    stops = pressing.map_.stops["power_density_w_mm2"].mean() if pressing else None
    return both(asked, friction, float(stops) if isinstance(stops, float) else None, settings.window_share)


def _none(duties: Sequence[DutyCycle], why: str) -> Projections:
    """No duty can be projected."""
    return Projections(duties=[nothing(duty, why) for duty in duties], common_opening_why=why)


def _notes(tests: Sequence[Recorded], settings: Wear, brake: Brake) -> list[str]:
    notes = ["disc temperatures are the bulk's; on the vehicle, not on the rig, they depend on the cooling entered"]
    if heat_share_of(tests[0].card, settings.heat_share).value == 1:
        notes.append("all friction heat goes into the disc")
    assumed = assumed_words(tests[0].card, settings)
    if assumed is not None:
        notes.append(assumed)
    found = [
        f"{one.name} {one.found:.3g}, before {one.value:.3g}"
        for one in brake.inputs
        if one.name in OF_DISC and one.shift and one.found is not None and one.value is not None
    ]
    if found:
        notes.append(f"the duty is run at what the wear law found: {', '.join(found)}")
    discs = {t.card.brake.disc for t in tests}
    if len(discs) > 1:
        notes.append(f"the tests' discs are not all alike; the projection is for that of {tests[0].card.test}")
    return notes


def _spread(wear: CompoundWear) -> list[str]:
    """Wear and life are a mean specimen's; how far single specimens wore from it."""
    said = []
    for name, component in (wear.components or {}).items():
        factors = [row.factor.value for row in component.specimens if row.factor.value is not None]
        if len(factors) > 1:
            said.append(f"{name.replace('_', ' ')} {min(factors):.2f} to {max(factors):.2f}")
    if not said:
        return []
    return [
        "wear and life are a mean specimen's, of all batches or of the batch named, and their intervals apply to the mean specimen, not to one part: "
        f"specimens wore, over the law of all batches, {'; '.join(said)}"
    ]
