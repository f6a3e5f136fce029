"""Readings beside what the card says of new parts and of the pads."""

from __future__ import annotations

import polars as pl

from pipeline.archive.card import Card
from pipeline.findings import Finding, finding
from pipeline.wear.components import Component, spoken
from pipeline.wear.sessions import Sessions

NEW = 0.02  # by which a part may be thicker or heavier than the card's new one
MASS_BESIDE = 0.10  # by which shares of new mass and new thickness may part


def beside_new(parts: list[Component], thick: dict[str, Sessions], mass: dict[str, Sessions]) -> list[Finding]:
    """First readings that the card's new part cannot have: thicker or heavier than new, or heavier than its thickness
    says.
    """
    found = []
    for part in parts:
        shares = {}
        for quantity, new, read in (("thickness", part.thickness, thick), ("mass", part.mass, mass)):
            if new and part.name in read:
                shares[quantity] = float(read[part.name].level[0]) / new
        for quantity, share in shares.items():
            if share > 1 + NEW:
                text = f"{spoken(part.name)}: the first {quantity} is {share:.3f} of the card's new part"
                found.append(finding("wear_card_differs", text, evidence={"part": part.name, quantity: share}))
        if (
            len(shares) == 2
            and abs(shares["mass"] - shares["thickness"]) > MASS_BESIDE
            and max(shares.values()) <= 1 + NEW
        ):
            text = (
                f"{spoken(part.name)}: the first reading has {shares['thickness']:.2f} of the card's new thickness but "
                f"{shares['mass']:.2f} of its new mass"
            )
            found.append(finding("wear_card_differs", text, evidence={"part": part.name, **shares}))
    return found


def pads_read(readings: pl.DataFrame, card: Card) -> list[Finding]:
    """Pads of another number than the card's: areas, energy densities and the pads' share of the force rest on it."""
    read = {name for name in readings["component"] if name.startswith("pad_")}
    if len(read) < 2 or len(read) == card.brake.pads:
        return []
    text = (
        f"the card has {card.brake.pads} pads, wear.csv reads {len(read)}: energy density and wear by volume are "
        "per pad area"
    )
    return [finding("wear_card_differs", text, evidence={"card": card.brake.pads, "read": sorted(read)})]
