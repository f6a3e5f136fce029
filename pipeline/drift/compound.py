"""How much low-energy use a compound bears: from the use its tests saw, and what it did to friction.

Use under which a glazing-like fall grew bounds the limit of power density from below, harder use as cold that changed nothing
bounds it from above; between the two nothing was tried, so the limit lies there and its interval is that gap. Only use long enough
to show a loss counts: a harmless stretch must exclude the loss that the growing ones reached in as many stops. What is known over
power density, temperature and work together is `film` in friction.json (`pipeline.drift.film`): this is its edge at the temperature
at which it grew.
"""

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from pipeline.drift.film import ALIKE_K, Film
from pipeline.drift.film_of_tests import film_of
from pipeline.drift.film_told import STOPS, evidence
from pipeline.results.compound_friction import GlazeLimit, GlazeStops
from pipeline.results.drift import OfStops, StopsUntil, UseBetweenChecks
from pipeline.results.film import FilmUse
from pipeline.wording import counted


def glaze_limit(drifts: Mapping[str, OfStops], film: Film | None = None) -> GlazeLimit:
    """The compound's limit of low-energy use from its tests' drift.json (by test); film: what they show of it, where known."""
    grown = {test: use for test, drift in drifts.items() if (use := _grew(drift)) is not None}
    if not grown:
        return _none(drifts)
    grew = list(grown.values())
    gentle, cold = max(g.power for g in grew), max(g.temperature for g in grew)
    rates = [0.03 / n for n in (g.until.value for g in grew) if n]  # none where no test says how fast it fell
    known = film_of(drifts) if film is None else film
    harmless = _harmless(known, float(np.median(rates)), cold, gentle) if rates else []
    above = min((h.power_density_w_mm2.low or 0.0 for h in harmless), default=None)
    stretches = sum(h.stretches for h in harmless)
    power = gentle if above is None else float(np.sqrt(gentle * above))
    stops = _stops(grew)
    tests = sorted(grown)
    why = (
        "no harder use as cold was harmless for as long"
        if rates
        else "no test says how fast it grew, so that none of harder use can be called harmless for as long"
    )
    ends = (
        f"glazed at {gentle:.2g} W/mm2 of pad and {cold:.0f} °C, {_lost_in(stops)}; where it ends is not known: {why}"
        if above is None
        else f"friction falls when power density stays under {power:.2g} W/mm2 of pad ({gentle:.2g} to {above:.2g}) for more than "
        f"{_said(stops)} stops starting below {cold:.0f} °C"
    )
    text = (
        f"{ends}; from {len(tests)} test{'s' if len(tests) > 1 else ''} in which it grew "
        f"({', '.join(tests)}) and"
        f" {stretches or 'no'} stretch{'es' if stretches > 1 else ''} of harder use as cold that changed nothing"
    )
    return GlazeLimit(
        power_density_w_mm2=power,
        power_density_low_w_mm2=gentle,
        power_density_high_w_mm2=above,
        power_density_high_why=None if above else why,
        temperature_c=cold,
        stops=stops,
        tests=tests,
        harmless_stretches=stretches,
        text=text,
    )


class _Grown(NamedTuple):
    """Hardest and hottest of the use under which a test's fall grew (W/mm2, degC), and the stops that 3 % took."""

    power: float
    temperature: float
    until: StopsUntil


def _grew(drift: OfStops) -> _Grown | None:
    grew = drift.exposure.grew if drift.exposure else None
    if "glazing-like" not in (drift.verdict, *drift.also) or grew is None:
        return None
    if grew.power_density_high_w_mm2 is None or grew.temperature_high_c is None:
        return None
    return _Grown(grew.power_density_high_w_mm2, grew.temperature_high_c, grew.stops_to_3_percent)


def _harmless(film: Film, rate: float, cold: float, gentle: float) -> list[FilmUse]:
    """Use harder than the growing one, as cold, that excludes the loss that it reached in as many stops."""
    rows = evidence(film, 1 - float(np.exp(-rate * STOPS))).uses
    return [
        row
        for row in rows
        if row.shown == "harmless"
        and (row.power_density_w_mm2.low or 0.0) > gentle
        and (row.temperature_c.value or np.inf) <= cold + ALIKE_K
    ]


def _stops(grown: list[_Grown]) -> GlazeStops:
    """Stops until 3 % is lost: median over the tests, interval from the lowest low to the highest high."""
    value = [g.until.value for g in grown if g.until.value is not None]
    low = [g.until.low for g in grown if g.until.low is not None]
    high = [g.until.high for g in grown if g.until.high is not None]
    return GlazeStops(
        value=float(np.median(value)) if value else None,
        low=min(low) if low else None,
        high=max(high) if len(high) == len(grown) else None,
    )


def _lost_in(stops: GlazeStops) -> str:
    if stops.value is None:
        return "in how many stops 3 % of mu is lost is not known"
    return f"3 % of mu lost in {_said(stops)} stops"


def _said(stops: GlazeStops) -> str:
    ends = [f"{end:.0f}" if end is not None else "unknown" for end in (stops.low, stops.high)]
    return f"{stops.value:.0f} ({ends[0]} to {ends[1]})"


def _uses(drifts: Mapping[str, OfStops]) -> list[UseBetweenChecks]:
    return [use for drift in drifts.values() if drift.exposure for use in drift.exposure.blocks]


def _none(drifts: Mapping[str, OfStops]) -> GlazeLimit:
    longest = max((use.low_energy_stops for use in _uses(drifts)), default=0)
    why = (
        "no test of the compound shows a glazing-like fall; the longest low-energy use between checks had "
        f"{counted(longest, 'stop')}"
    )
    return GlazeLimit(text=f"not known: {why}", why=why)
