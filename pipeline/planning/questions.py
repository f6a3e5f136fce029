"""The smallest program for a question: how many specimens, stops and rig hours answer it with the wanted chance.

    like-the-last     is the next batch like the last one? `equivalent` in mu, bite and wear if it is
    difference        would a difference of a stated size be called different?
    glazing           would a stated loss of friction be found after use below a stated power density?
    window            window ends to +- so many kelvin
    life              life of the disc on a duty to +- a share
    activation-energy the oxidation law's Ea to +- so many kJ/mol

Each is answered for the scatter as found and for the pessimistic end of its interval.
"""

from __future__ import annotations

from collections.abc import Callable

from pipeline.archive.card import Card
from pipeline.planning.archive import Archive
from pipeline.planning.gentle import of_glazing
from pipeline.planning.judged import Asked
from pipeline.planning.likeness import of_batches
from pipeline.planning.plan import Plan
from pipeline.planning.sought import Sought
from pipeline.planning.tries import of_wear, of_window


def answer(archive: Archive, card: Card, sought: Sought, asked: Asked) -> Plan:
    """The smallest program found for the question; `card` is the program that it starts from."""
    parts: dict[str, Callable[[Archive, Card, Sought, Asked], Plan]] = {
        "like-the-last": of_batches, "difference": of_batches, "glazing": of_glazing, "window": of_window, "life": of_wear,
        "activation-energy": of_wear,
    }  # fmt: skip
    return parts[sought.question](archive, card, sought, asked)
