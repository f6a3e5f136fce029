"""What a target asks of friction."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Wanted:
    """What a target asks for: band of mu, temperature window in K, pressure (Pa) and energy density (J/m2) of the window; None
    where it does not say."""

    mu: tuple[float, float] | None = None
    temperatures: tuple[float, float] | None = None
    at: tuple[float, float] | None = None
