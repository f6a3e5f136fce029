"""How much low-energy use a compound bears: from the use its tests saw, and what it did to friction.

Use under which a glazing-like fall grew bounds the limit from below, use as cold that changed nothing bounds it from
above; between the two nothing was tried, so the limit lies there and its interval is that gap. Only use long enough to
show a loss counts: a harmless stretch must exclude the loss that the growing ones reached in as many stops.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np

from pipeline.results.friction import GlazeLimit, GlazeStops

WARMER = 75.0  # K above the growing use's initial temperature up to which harder use bounds the limit
LEAST_STOPS = 10  # low-energy stops of a stretch of use below which it says nothing


def glaze_limit(drifts: Mapping[str, Mapping[str, Any]]) -> GlazeLimit:
    """The compound's limit of low-energy use from its tests' drift.json (by test)."""
    grown = {test: drift for test, drift in drifts.items() if _grew(drift)}
    if not grown:
        return _none(drifts)
    grew = [drift["exposure"]["grew"] for drift in grown.values()]
    gentle = max(g["power_density_high_w_mm2"] for g in grew)
    cold = max(g["temperature_high_c"] for g in grew)
    rate = float(np.median([0.03 / n for n in (g["stops_to_3_percent"]["value"] for g in grew) if n]) or 0.0)
    harmless = _harmless(drifts, rate, cold, gentle)
    above = min((h["power"] for h in harmless), default=None)
    stretches = int(sum(h["stretches"] for h in harmless))
    power = gentle if above is None else float(np.sqrt(gentle * above))
    stops = _stops(grew)
    tests = sorted(grown)
    text = (
        f"friction falls when power density stays under {power:.2g} W/mm2 of pad"
        f" ({gentle:.2g} to {'unknown' if above is None else f'{above:.2g}'}) for more than {_said(stops)} stops starting below"
        f" {cold:.0f} degC; from {len(tests)} test{'s' if len(tests) > 1 else ''} in which it grew ({', '.join(tests)}) and"
        f" {stretches} stretch{'es' if stretches != 1 else ''} of harder cold use that changed nothing"
    )
    if above is None:
        text += "; no harder use was harmless for as long, so the limit may lie higher"
    return GlazeLimit(
        power_density_w_mm2=power,
        power_density_low_w_mm2=gentle,
        power_density_high_w_mm2=above,
        power_density_high_why=None if above else "no harder cold use of this length was tried and harmless",
        temperature_c=cold,
        stops=stops,
        tests=tests,
        harmless_stretches=stretches,
        text=text,
    )


def _grew(drift: Mapping[str, Any]) -> bool:
    glazing = "glazing-like" in (drift.get("verdict"), *(drift.get("also") or []))
    grew = (drift.get("exposure") or {}).get("grew")
    known = grew is not None and None not in (grew.get("power_density_high_w_mm2"), grew.get("temperature_high_c"))
    return glazing and known


def _harmless(
    drifts: Mapping[str, Mapping[str, Any]], rate: float, cold: float, gentle: float
) -> list[dict[str, float]]:
    """Use harder than the growing one, as cold, that changed nothing: alike stretches of all tests taken together.

    The pooled change must exclude the loss that the growing use reached in as many stops.
    """
    alike: list[list[Mapping[str, Any]]] = []
    for drift in drifts.values():
        for use in (drift.get("exposure") or {}).get("blocks") or []:
            known = None not in (use["power_density_w_mm2"], use["temperature_initial_c"], use["low"])
            if not known or use["low_energy_stops"] < LEAST_STOPS or use["high_energy_stops"]:
                continue
            if use["power_density_low_w_mm2"] <= gentle or use["temperature_initial_c"] > cold + WARMER:
                continue
            same = next((group for group in alike if _alike(group[0], use)), None)
            alike.append([use]) if same is None else same.append(use)
    found = []
    for group in alike:
        weight = np.array([1 / use["u"] ** 2 for use in group])
        change = float(np.average([np.log1p(use["mu_change_share"]) for use in group], weights=weight))
        low = change - 1.96 / np.sqrt(weight.sum())
        expected = rate * float(np.median([use["low_energy_stops"] for use in group]))
        if low > -expected:
            found.append({
                "power": min(use["power_density_low_w_mm2"] for use in group), "stretches": len(group), "change": change,
            })  # fmt: skip
    return found


def _alike(a: Mapping[str, Any], b: Mapping[str, Any]) -> bool:
    power = abs(np.log(a["power_density_w_mm2"] / b["power_density_w_mm2"]))
    return bool(power < 0.25 and abs(a["temperature_initial_c"] - b["temperature_initial_c"]) < 20)


def _stops(grew: list[Mapping[str, Any]]) -> GlazeStops:
    """Stops until 3 % is lost: median over the tests, interval from the lowest low to the highest high."""
    of = {key: [g["stops_to_3_percent"][key] for g in grew] for key in ("value", "low", "high")}
    value = [n for n in of["value"] if n is not None]
    low = [n for n in of["low"] if n is not None]
    return GlazeStops(
        value=float(np.median(value)) if value else None,
        low=min(low) if low else None,
        high=max(of["high"]) if None not in of["high"] else None,
    )


def _said(stops: GlazeStops) -> str:
    if stops.value is None:
        return "some"
    ends = [f"{end:.0f}" if end is not None else "unknown" for end in (stops.low, stops.high)]
    return f"{stops.value:.0f} ({ends[0]} to {ends[1]})"


def _none(drifts: Mapping[str, Mapping[str, Any]]) -> GlazeLimit:
    longest = max(
        (
            use["low_energy_stops"]
            for drift in drifts.values()
            for use in (drift.get("exposure") or {}).get("blocks") or []
        ),
        default=0,
    )
    why = f"no test of the compound shows a glazing-like fall; the longest low-energy use between checks had {longest} stops"
    return GlazeLimit(text=f"not known: {why}", why=why)
