"""What heat does with a card's disc: conductivity, share of the friction heat, thermocouple, cooling, each with how well it is known.

The card's value comes first, then the method's, then the default; wear's surface temperatures, the duty's projection and the law
at the face take the same. The standard uncertainty is of the logarithm: the card's stated accuracy (limits, rectangular: over
the root of three), else, common practice:

    conductivity    15 % where a card states it (carbon's changes with temperature and direction), a factor of 1.8 otherwise
    heat share      6 %, about a default of 95 %: pads and air take a twentieth or so
    cooling         10 % of convection that a duty's file states; the rig's and a log's own is as their cool-downs show it,
                    whatever a card says of a stated one

What the disc's thermocouple reads wrongly is taken to be common to all of it, and of all tests: the card's accuracy is the limit of a
bias (rectangular), nothing of it averages out. Where a card states none its standard uncertainty is 5 K: class 2 of
type K allows 2.5 K, or 0.75 % of the temperature (IEC 60584-1:2013, from memory), and its seat in the disc as much again
(common practice).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from pipeline.archive.card import Card, sensor_limit
from pipeline.method.wear import Wear

CARD_CONDUCTIVITY_U, ASSUMED_CONDUCTIVITY_U, SHARE_U = 0.15, 0.6, 0.06
COOLING_U, THERMOCOUPLE_U_K = 0.10, 5.0
USUAL_C = 500.0  # at which an accuracy that is a share of the reading counts
Source = Literal["card", "method", "default"]


@dataclass(frozen=True)
class Known:
    """A value, the standard uncertainty of its logarithm, and where it comes from."""

    value: float
    u: float
    source: Source


def conductivity_of(card: Card, method: float) -> Known:
    """Through-thickness conductivity in W/(m K); `method` is the method's, used where the card states none."""
    stated = card.brake.disc.conductivity
    if stated is None:
        return Known(method, ASSUMED_CONDUCTIVITY_U, _source(method, "conductivity"))
    return Known(stated, _accuracy(card, "conductivity", stated) or CARD_CONDUCTIVITY_U, "card")


def heat_share_of(card: Card, method: float) -> Known:
    """Share of the friction heat into the disc; `method` is the method's, used where the card states none."""
    stated = card.brake.disc.heat_share
    if stated is None:
        return Known(method, SHARE_U, _source(method, "heat_share"))
    return Known(stated, _accuracy(card, "heat_share", stated) or SHARE_U, "card")


def thermocouple_of(card: Card) -> Known:
    """Bias of the disc's thermocouple: 0 K, with its standard uncertainty in K."""
    limit = sensor_limit(card, "disc_temperature", "temperature")
    half = None if limit is None else limit.absolute or (limit.relative or 0.0) * USUAL_C
    return Known(0.0, half / 3**0.5, "card") if half else Known(0.0, THERMOCOUPLE_U_K, "default")


def cooling_of(card: Card) -> Known:
    """Factor on a stated convection: 1, with the standard uncertainty of its logarithm."""
    u = _accuracy(card, "cooling", 1.0)
    return Known(1.0, u, "card") if u else Known(1.0, COOLING_U, "default")


def _source(value: float, name: str) -> Source:
    return "default" if value == Wear.model_fields[name].default else "method"


def _accuracy(card: Card, name: str, value: float) -> float | None:
    """Standard uncertainty of the logarithm from the card's limits; None where it states none."""
    limit = sensor_limit(card, name, "conductivity" if name == "conductivity" else "share")
    if limit is None:
        return None
    half = limit.relative if limit.relative is not None else (limit.absolute or 0.0) / value
    return float(half / 3**0.5) or None


def assumed_words(card: Card, method: Wear) -> str | None:
    """What is not stated of the disc's heat, in a sentence; None where the card states both."""
    share, conductivity = heat_share_of(card, method.heat_share), conductivity_of(card, method.conductivity)
    said = []
    if share.source != "card":
        said.append(f"{100 * share.value:g} % of the friction heat is taken to go into the disc ({_by(share)})")
    if conductivity.source != "card":
        said.append(f"its conductivity is taken to be {conductivity.value:g} W/(m K) ({_by(conductivity)})")
    return f"what the card does not state: {'; '.join(said)}" if said else None


def assumed_notes(cards: Mapping[str, Card], method: Wear) -> list[str]:
    """What the tests' cards do not state of the disc's heat, a sentence for each kind of card, with its tests where they differ."""
    by_words: dict[str, list[str]] = {}
    for test, card in cards.items():
        words = assumed_words(card, method) if method.surface_temperature else None
        if words is not None:
            by_words.setdefault(words, []).append(test)
    whole = len(by_words) == 1 and len(next(iter(by_words.values()))) == len(cards)
    return [words if whole else f"{', '.join(tests)}: {words}" for words, tests in by_words.items()]


def _by(known: Known) -> str:
    return "the default" if known.source == "default" else "the method's"
