"""The brake that duties are projected for: disc, worn parts, window and limits, from the card and the compound's
results.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from pipeline.archive.card import Card
from pipeline.duty import rig_cooling
from pipeline.duty.lives import Alike, OfBatch, Worn
from pipeline.duty.project import Brake, GentleLimit
from pipeline.duty.rubbing import Plate, Rubbing
from pipeline.friction.bias import without_bias
from pipeline.heat.face_loss import bare
from pipeline.heat.lumped import Disc
from pipeline.heat.of_card import conductivity_of, heat_share_of, thermocouple_of
from pipeline.method.duty import Duty
from pipeline.method.wear import Wear
from pipeline.results.compound_friction import CompoundFriction, GlazeLimit
from pipeline.results.duty import (
    RigCooling,
)
from pipeline.results.friction_map import Window
from pipeline.results.model import USUAL_CONFIDENCE
from pipeline.results.sources import HeatInput
from pipeline.results.wear import BatchWear, CompoundComponent, CompoundWear


def disc_of(card: Card, settings: Duty) -> tuple[Disc | None, str]:
    disc = card.brake.disc
    lacking = [name for name in ("mass", "heat_capacity") if getattr(disc, name) is None]
    if lacking:
        return None, f"the card of {card.test} gives no {' and no '.join(lacking)} of the disc"
    radiating, _ = rig_cooling.radiating_of(card, settings.emissivity)
    assert disc.mass is not None and disc.heat_capacity is not None
    return Disc(disc.mass, disc.heat_capacity, radiating), ""


def with_radiation(disc: Disc, card: Card, rig: RigCooling | str, settings: Duty) -> tuple[Disc, str]:
    """The disc with its radiation: the card's, else as the rig's cool-downs tell it, else assumed."""
    radiating, source = rig_cooling.radiating_of(card, settings.emissivity)
    if source == "assumed" and isinstance(rig, RigCooling) and rig.radiating_fitted:
        return dataclasses.replace(disc, radiating=rig.radiating), "cool-downs on the rig"
    return dataclasses.replace(disc, radiating=radiating), source


def brake_of(
    card: Card,
    disc: Disc,
    friction: CompoundFriction,
    wear: CompoundWear,
    settings: Duty,
    wear_settings: Wear,
    temperature_kind: str,
    alike: Alike | None = None,
) -> Brake:
    # the duty draws the thermocouple's bias once, for all that goes by it
    window = without_bias(friction.window) if friction.window else None
    limit = _limit(friction.glaze_limit)
    no_limit = friction.glaze_limit.why if friction.glaze_limit else None
    return Brake(
        disc=disc,
        plate=_plate(card, disc, wear_settings),
        rubbing=Rubbing(
            card.brake.friction_area,
            np.array([point.temperature_c for point in friction.curve], float),
            np.array([point.mu for point in friction.curve], float),
        ),
        components=(worn_of("disc", wear, card), worn_of("pad", wear, card)),
        heat_share=heat_share_of(card, wear_settings.heat_share).value,
        temperature_kind=temperature_kind,
        window=(window.low_c, window.high_c) if window else None,
        window_inner=_ends(window, window.low_interval_c.high, window.high_interval_c.low) if window else None,
        window_outer=_ends(window, window.low_interval_c.low, window.high_interval_c.high) if window else None,
        window_confidence=window.confidence if window else USUAL_CONFIDENCE,
        window_by_data=(window.low_limited_by == "data", window.high_limited_by == "data")
        if window
        else (False, False),
        window_why=None if window else f"the compound has no window: {friction.window_reason or 'not given'}",
        glazing=limit,
        glazing_why=None if limit else no_limit,
        confidence=settings.confidence,
        batches=of_batches(wear, card),
        alike=alike,
        worn_mass=_worn_mass(card, disc),
        inputs=_inputs(card, wear_settings),
    )


def _inputs(card: Card, settings: Wear) -> tuple[HeatInput, ...]:
    """Heat inputs of the disc, as known before any reading."""
    share, k = heat_share_of(card, settings.heat_share), conductivity_of(card, settings.conductivity)
    bias = thermocouple_of(card)
    return (
        HeatInput(name="heat share", value=share.value, u=share.u, source=share.source),
        HeatInput(name="conductivity", value=k.value, u=k.u, source=k.source),
        HeatInput(name="thermocouple", u=bias.u, source=bias.source),
    )


def _limit(found: GlazeLimit | None) -> GentleLimit | None:
    """The limit of low-energy use where friction.json gives its power density and its temperature."""
    if found is None or found.power_density_w_mm2 is None or found.temperature_c is None:
        return None
    return GentleLimit(
        found.power_density_w_mm2,
        found.temperature_c,
        found.power_density_low_w_mm2,
        found.power_density_high_w_mm2,
    )


def _ends(window: Window, low: float | None, high: float | None) -> tuple[float, float]:
    """A window by one end of the interval of each of its ends. An end at the data's has no interval, for the band holds there: it is
    where the data end, whatever is known of the other one."""
    return (window.low_c if low is None else low, window.high_c if high is None else high)


def _worn_mass(card: Card, disc: Disc) -> float | None:
    """Mass of the disc at its minimum thickness: what was worn off is the ring's, at the disc's density."""
    part, area = card.brake.disc, card.brake.swept_area
    if None in (part.thickness, part.minimum_thickness, part.density, area):
        return None
    assert part.thickness and part.minimum_thickness and part.density and area
    left = disc.mass - part.density * area * (part.thickness - part.minimum_thickness)
    return left if left > 0 else None


def _plate(card: Card, disc: Disc, settings: Wear) -> Plate | None:
    """The ring as a plate, for the surface's temperature; None where the wear laws are in indicated
    temperature.
    """
    area, thickness = card.brake.swept_area, card.brake.disc.thickness
    if not settings.surface_temperature or area is None or thickness is None:
        return None
    density = card.brake.disc.density or disc.mass / (area * thickness)  # as wear takes it
    emissivity = card.brake.disc.emissivity if card.brake.disc.cooled_area else None  # as wear takes it
    radiating = bare(emissivity, area, card.brake.friction_area)
    return Plate(area, thickness, density, conductivity_of(card, settings.conductivity).value, disc.material, radiating)


def worn_of(kind: str, wear: CompoundWear, card: Card) -> Worn:
    """The disc, or the pad that wears fastest, with its law (if identified, else its measured rates) and usable
    thickness.
    """
    usable, parts = _usable(kind, card), _parts(kind, wear)
    if not parts:
        return Worn(kind, None, usable, f"no wear of the {kind} was measured", read=False)
    component = max(parts, key=_rate)
    if component.identified_law is not None:
        return Worn(kind, component.identified_law, usable, source=component)
    described, entries = component.chosen_law, tuple(component.measured)
    said = "no wear law is identified" if described is not None else "no wear law was chosen"
    why = component.why or (None if entries else component.measured_why) or (described and described.why)
    words = said if entries or not why else f"{said}: {why}"
    return Worn(kind, None, usable, words, entries, source=component)


def of_batches(wear: CompoundWear, card: Card) -> tuple[OfBatch, ...]:
    """Every batch with its disc and that of its pads that wears fastest; none where there is one batch."""
    rows = [row for component in (wear.components or {}).values() for row in component.by_batch]
    return tuple(
        OfBatch(
            batch,
            max(row.specimens for row in rows if row.batch == batch),
            tuple(_of_batch(kind, batch, wear, card) for kind in ("disc", "pad")),
        )
        for batch in dict.fromkeys(row.batch for row in rows)
    )


def _of_batch(kind: str, batch: str, wear: CompoundWear, card: Card) -> Worn:
    usable, parts = _usable(kind, card), _parts(kind, wear)
    known = [(row, component) for component in parts for row in component.by_batch if row.batch == batch]
    if not known:
        return Worn(kind, None, usable, f"no wear of the {kind} was read in batch {batch}", read=bool(parts))
    row, component = max(known, key=lambda pair: _rate_of(*pair))
    if row.law is not None:
        return Worn(kind, row.law, usable, source=component, of_batch=row)
    why = "no wear law is identified" + (f": {row.measured_why}" if row.measured_why else "")
    return Worn(kind, None, usable, why, tuple(row.measured), source=component, of_batch=row)


def _rate_of(row: BatchWear, component: CompoundComponent) -> float:
    found = row.map_and_duty.um_per_stop_per_face.value if row.map_and_duty else None
    return (
        found
        if found is not None
        else _rate(component) * max((f.value or 0 for f in row.factors.values()), default=1.0)
    )


def _usable(kind: str, card: Card) -> float | None:
    """um from new thickness to the minimum."""
    part = card.brake.disc if kind == "disc" else card.brake.pad
    if part.thickness is None or part.minimum_thickness is None:
        return None
    return (part.thickness - part.minimum_thickness) * 1e6


def _parts(kind: str, wear: CompoundWear) -> list[CompoundComponent]:
    return [component for name, component in (wear.components or {}).items() if name.startswith(kind)]


def _rate(component: CompoundComponent) -> float:
    rate = component.rates.um_per_stop if component.rates else None
    return (rate and rate.value) or 0.0
