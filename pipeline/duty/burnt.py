"""How much of a disc burns over its life on a duty: a caution in numbers, never a release.

A disc is worn out where its thickness is at the minimum; what is gone by then is the mass m0 less the worn disc's m1. Of that

    burnt   = s (m0 - m1) / m0              s: share of the oxidative part in the wear of the duty's mix, by the law
                                            of all batches, or of the batch that burns most (`burnt_of`)
    inside  = (r - 1) (m0 - m1) / m0        r: mass lost over what the thickness tells (`mass_to_thickness`)

of the new disc's mass. What burns at the face is worn away with it; what burns *inside* takes strength from carbon that stays, and no
thickness shows it. Which of the two a loss was cannot be told from thickness alone, so both are held against LIMIT: a loss of
a few per cent of a carbon-carbon's mass by oxidation costs some tens of per cent of its strength (common practice; no published figure of these
materials was looked up. That oxidation weakens surface and subsurface of carbon brake materials, and makes more than half of their loss in
air: Chang and Rusnak, Carbon 16 (1978) 309, abstract).
"""

from __future__ import annotations

from pipeline.duty.project import Brake
from pipeline.results.duty import Burnt, DutyProjection
from pipeline.results.model import Interval, renewed

LIMIT = 0.05
UNKNOWN = "mass and thickness were not both read dry, or tell no ratio: what burns inside is not known, and none of it shows in the thickness"


def burnt(new_kg: float, worn_kg: float | None, oxidative: float | None, mass_to_thickness: Interval | None) -> Burnt:
    """The disc's burnt shares at the end of its life, or why there are none. oxidative: share of the duty's wear."""
    if worn_kg is None or not 0 < worn_kg < new_kg:
        return Burnt(limit=LIMIT, why="the card gives no minimum thickness that tells a worn disc's mass")
    if oxidative is None:
        return Burnt(limit=LIMIT, why="no law of the disc that parts oxidation from rubbing is identified")
    gone = (new_kg - worn_kg) / new_kg
    at_face = oxidative * gone
    inside = _inside(mass_to_thickness, gone)
    most = max(at_face, inside.high or 0.0, at_face + max(inside.value or 0.0, 0.0))
    return Burnt(burnt=at_face, inside=inside, limit=LIMIT, beyond=most > LIMIT)


def _inside(ratio: Interval | None, gone: float) -> Interval:
    if ratio is None or ratio.value is None or ratio.low is None or ratio.high is None:
        return Interval(why=UNKNOWN)
    value, low, high = ((end - 1) * gone for end in (ratio.value, ratio.low, ratio.high))
    return Interval(value=value, low=low, high=high)


def burnt_of(projected: DutyProjection, brake: Brake) -> Burnt:
    """What burns of the disc over its life on the duty: of all batches together where its life is theirs, else of the batch of whose
    wear the most is oxidation, for a caution holds for every disc that may be fitted."""
    disc = next((c for c in brake.components if c.name == "disc"), None)
    ratio = disc.source.mass_to_thickness if disc is not None and disc.source is not None else None
    share, batch = projected.wear_shares.get("disc", {}).get("oxidative"), None
    if projected.life_of is not None and projected.life_of.batch is not None:
        each = {row.batch: row.wear_shares.get("disc", {}).get("oxidative") for row in projected.by_batch}
        known = {name: own for name, own in each.items() if own is not None}
        batch = max(known, key=lambda name: known[name], default=None)
        share = share if batch is None else known[batch]
    return renewed(burnt(brake.disc.mass, brake.worn_mass, share, ratio), batch=batch)
