"""A duty's cooling with what is known of it: where it comes from, how well, and what other heat inputs do to it.

Cooling that the duty's file states has the uncertainty that the card's `sensors: cooling` says, else the stated default; the rig's and a
log's that of the cool-downs they are told by: what was measured is known as well as it was measured, whatever a card says of a figure
that somebody stated. The rig's convection is told by the heat that its stops put into the disc: with a larger heat
share, or a thermocouple that reads too little, it comes out larger, and the nodes of these inputs have it so.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pipeline.archive.card import Card
from pipeline.archive.duties import DutyCycle
from pipeline.duty import rig_cooling
from pipeline.duty.cycle import Air, Move
from pipeline.duty.project import Brake
from pipeline.heat.air import recorded_ambient
from pipeline.heat.lumped import Disc
from pipeline.heat.of_card import cooling_of, heat_share_of
from pipeline.heat.propagation import NODE
from pipeline.method.duty import Duty
from pipeline.results.duty import RIG_AIR, LogCooling, RigCooling
from pipeline.results.sources import HeatInput, InputName


@dataclass(frozen=True)
class Recorded:
    """One test of the compound: its card and stops."""

    card: Card
    stops: pl.DataFrame


@dataclass(frozen=True)
class Cooled:
    """The air of a duty, where its figures come from, and how well they are known."""

    air: Air
    source: str
    known: HeatInput


def rig_of(
    tests: Sequence[Recorded], disc: Disc, card: Card, share: float, *, factor: float = 1.0, warmer: float = 0.0
) -> RigCooling | str:
    """The rig's cooling from all tests whose disc is like the first one's; `share` of the heat into the disc is the method's.

    factor: on the heat share of every test; warmer: kelvin that the disc truly is above what its thermocouple shows.
    """
    alike = [t for t in tests if t.card.brake.disc.mass == card.brake.disc.mass]
    stops = [t.stops.with_columns(pl.col("temperature_initial_c") + warmer) if warmer else t.stops for t in alike]
    assumed = rig_cooling.ambient_of([t.stops for t in alike])
    pauses = rig_cooling.joined(
        [
            rig_cooling.pauses_of(own, disc, factor * heat_share_of(t.card, share).value, assumed)
            for t, own in zip(alike, stops, strict=True)
        ]
    )
    recorded = all(recorded_ambient(t.stops) is not None for t in alike)
    stated = card.brake.disc.emissivity is not None and card.brake.disc.cooled_area is not None
    return rig_cooling.fit(pauses, disc, stated=stated, recorded=recorded)


Again = Callable[[float, float], RigCooling | str]  # the rig's cooling with a factor on heat shares and kelvin warmer


def of_file(
    duty: DutyCycle, rig: RigCooling | str, settings: Duty, card: Card, brake: Brake, again: Again
) -> Cooled | str:
    """Cooling of the duty: its file's, completed from the rig's cool-downs; or why there is none."""
    h0, h1 = duty.cooling.h0, duty.cooling.h1
    stated = cooling_of(card)
    if h0 is not None and h1 is not None:
        known = HeatInput(name="cooling", u=stated.u, source=_of_card(stated.source))
        return Cooled(with_moves(Air(h0, h1, duty.ambient), brake, known.u), "duty file", known)
    if isinstance(rig, str):
        return f"the duty gives no cooling h0 and h1, and {rig}"
    if h1 is not None:
        natural = h0 if h0 is not None else settings.natural_convection * rig.g
        known = HeatInput(name="cooling", u=stated.u, source=_of_card(stated.source))
        air = with_moves(Air(natural, h1, duty.ambient), brake, known.u)
        return Cooled(air, "h1 of the duty file, h0 a share of the rig's convection", known)
    natural = h0 if h0 is not None else settings.natural_convection * rig.g
    air = Air(natural, max(rig.g - natural, 0.0), duty.ambient, fixed_speed=1.0)
    known = HeatInput(name="cooling", u=rig.g_u / rig.g, source="the rig's cool-downs")
    moved = with_moves(air, brake, known.u, _rig_moves(rig, brake, again))
    return Cooled(moved, f"{RIG_AIR}, its air at any speed", known)


def of_log(duty: DutyCycle, fitted: LogCooling, brake: Brake) -> Cooled | str:
    """Cooling as the log's cool-downs tell it, only where both coefficients are told well enough."""
    h0, h1, u = fitted.h0_w_k, fitted.h1, fitted.conductance_u
    bias = fitted.thermocouple_u
    if fitted.why or h0 is None or h1 is None or h0.value is None or h1.value is None or u is None or bias is None:
        return f"the duty takes its cooling from the log, and {fitted.why or 'it does not tell it'}"
    u = float(np.hypot(u, bias))
    known = HeatInput(name="cooling", u=u, source="the log's cool-downs")
    return Cooled(with_moves(Air(h0.value, h1.value, duty.ambient), brake, u), "cool-downs of the duty's log", known)


def with_moves(air: Air, brake: Brake, u: float, rig: dict[InputName, tuple[float, float]] | None = None) -> Air:
    """The air with what the nodes of heat inputs do to a cycle; u: of the logarithm of convection; rig: by input, factors on a
    convection that was found with it."""
    factors = rig or {}
    moves: dict[InputName, tuple[Move, Move]] = {}
    if brake.known_input("heat share") is not None:
        down, up = brake.factors("heat share")
        low, high = factors.get("heat share", (1.0, 1.0))
        moves["heat share"] = Move(down, low, low), Move(up, high, high)
    if "thermocouple" in factors:
        low, high = factors["thermocouple"]
        moves["thermocouple"] = Move(1.0, low, low), Move(1.0, high, high)
    few, more = float(np.exp(-NODE * u)), float(np.exp(NODE * u))
    moves["cooling"] = Move(1.0, few, few), Move(1.0, more, more)
    return replace(air, moves=moves)


def _rig_moves(rig: RigCooling, brake: Brake, again: Again) -> dict[InputName, tuple[float, float]]:
    """Factors on the rig's convection with the heat share, and the thermocouple's bias, at their nodes."""
    found: dict[InputName, tuple[float, float]] = {}
    bias = brake.known_input("thermocouple")
    tried: dict[InputName, list[tuple[float, float]]] = {
        "heat share": [(factor, 0.0) for factor in brake.factors("heat share")],
        "thermocouple": [] if bias is None else [(1.0, -NODE * bias.u), (1.0, NODE * bias.u)],
    }
    for name, settings in tried.items():
        runs = [again(*one) for one in settings]
        ratios = [one.g / rig.g for one in runs if isinstance(one, RigCooling)]
        if len(ratios) == 2:
            found[name] = ratios[0], ratios[1]
    return found


def _of_card(source: str) -> str:
    return "card" if source == "card" else "the duty's file; its uncertainty is the default"
