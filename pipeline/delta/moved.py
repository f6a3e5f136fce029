"""Whether a figure that two methods give moved beyond what it is known to.

Both methods see the same samples, so the difference between their figures has no scatter of its own, and an interval moves with its
figure: what counts is how far that is against how well the figure is known. Inside: by no more than half the width of the first method's
interval (where it states none the second's; of an interval with one end alone, the way to that end). Beyond: by more. Where
neither states an interval, that is said instead. What is printed alike has not moved.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from pipeline.results.delta import Moved

ORDER: tuple[Moved, ...] = ("beyond", "no interval", "inside", "no")  # what a reader must see first


@dataclass(frozen=True)
class Stated:
    """A figure: value, ends of its interval (None for none), and the value as printed, without the interval."""

    value: float
    low: float | None = None
    high: float | None = None
    text: str = ""

    @property
    def known_to(self) -> float | None:
        """Half the width of the interval, or the way to its only end; None without an interval."""
        if self.low is not None and self.high is not None:
            return (self.high - self.low) / 2
        end = self.high if self.low is None else self.low
        return None if end is None else abs(end - self.value)


def held(a: Stated, b: Stated) -> Moved:
    """How far a figure moved from the first method to the second."""
    if a.value == b.value or (a.text != "" and a.text == b.text):
        return "no"
    known = a.known_to if a.known_to is not None else b.known_to
    return "no interval" if known is None else "inside" if abs(b.value - a.value) <= known else "beyond"


def worst(several: Iterable[Moved]) -> Moved:
    """Of several figures that one statement gives, what must be seen first; `no` of none."""
    found = set(several)
    return next((one for one in ORDER if one in found), "no")


def wider(a: Stated, b: Stated) -> float | None:
    """Width of the second's interval over the first's; None where one has none with both ends, or no width."""
    if None in (a.low, a.high, b.low, b.high):
        return None
    first, second = a.high - a.low, b.high - b.low  # type: ignore[operator]
    return second / first if first > 0 else None
