"""Where a conclusion leaves what was run: in which direction, how far, and how much of it is concerned."""

from __future__ import annotations

from typing import Literal

from pipeline.results.model import Result, given

DirectionName = Literal[
    "temperature",
    "face temperature",
    "oxidising temperature",
    "pressure",
    "speed",
    "energy density",
    "power density",
    "combination",
    "air speed",
]
TESTED = 0.98
Basis = Literal["tested", "partly extrapolated", "mostly extrapolated"]


class Extrapolation(Result):
    """One direction in which a conclusion leaves what was run."""

    of: str = given("what is extrapolated: friction, wear of a component, cooling")
    direction: DirectionName = given("direction; combination: every condition was run, none of them with the others")
    unit: str = given("unit of value and range; for a combination: reaches of a stop (docs/friction.md)")
    value: float | None = given("the farthest value asked for; null where it is not known", default=None)
    low: float | None = given("lowest that was run; null where the range has no such end", default=None)
    high: float | None = given("highest that was run", default=None)
    events: list[int] = given("brakings of the cycle concerned, from 1; of a curve none", default_factory=list)
    share: float | None = given(
        "share of the energy (of a wear: of the loss; of a curve: of its temperatures)", "1", default=None
    )
    words: str = given("the same in words")


class MapTest(Result):
    """Map stops by which a duty's friction would be tested."""

    inertia_kg_m2: float = given("inertia to run them at, the drive simulating what the flywheel is not", "kg m2")
    stops: int = given("stops")
    blocks: str = given("the blocks in a card's form, ready to paste: YAML with the key `blocks`")
    text: str = given("in words")


def basis_of(covered: float) -> Basis:
    """How a conclusion stands whose share `covered` lies inside what was run: tested but for 2 %, mostly extrapolated below a half."""
    if covered >= TESTED:
        return "tested"
    return "partly extrapolated" if covered >= 0.5 else "mostly extrapolated"
