"""What a test's page says of friction: the answers, the landmarks, inside the stops, after pauses, and the map
itself.
"""

from collections.abc import Callable

from pipeline.report import numbers
from pipeline.report.numbers import fixed, interval_text
from pipeline.results.friction import TestFriction
from pipeline.results.friction_map import Landmark, Landmarks, Sensitivity, Slope
from pipeline.results.model import Interval
from pipeline.wording import counted

SENSITIVITIES: tuple[tuple[Callable[[Sensitivity], Slope], str, str], ...] = (
    (lambda s: s.temperature_per_100c, "temperature", "per 100 K"),
    (lambda s: s.pressure_per_10bar, "pressure", "per 10 bar"),
    (lambda s: s.speed_per_100rpm, "start speed at fixed energy density", "per 100 rpm"),
    (lambda s: s.energy_per_j_mm2, "energy density", "per J/mm²"),
)
LANDMARKS: tuple[tuple[Callable[[Landmarks], Landmark], str, str], ...] = (
    (lambda m: m.cold_friction, "Cold friction", ""),
    (lambda m: m.transition, "Transition, where µ climbs fastest", "°C"),
    (lambda m: m.plateau, "Plateau", ""),
    (lambda m: m.high_temperature_change, "Change of µ from the plateau to the hottest", ""),
)
TONES = {"yes": "good", "no": "bad", "not shown": "open"}


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def answers(friction: TestFriction) -> list[tuple[str, str]]:
    """Tone and sentence of the verdicts over the target range and over both duties, where there is a target."""
    said = []
    holds, sides = friction.holds, friction.sides
    if holds is not None:
        span = f"{fixed(holds.from_c, 0)} to {fixed(holds.to_c, 0)} °C"
        text = f"Does friction hold over the wanted {span}? {capital(holds.answer)}: {holds.why}."
        said.append((TONES[holds.answer], text))
    for side in (sides.low_energy, sides.high_energy) if sides is not None else ():
        said.append((TONES[side.answer], f"{capital(side.text)}."))
    return said


def reference_text(friction: TestFriction) -> str:
    """The reference conditions in a phrase."""
    r = friction.reference
    if r is None:
        return "(not given: no check or map stops)"
    parts = (
        (r.temperature_c, "°C", 0),
        (r.pressure_bar, "bar", 1),
        (r.speed_rpm, "rpm", 0),
        (r.energy_density_j_mm2, "J/mm²", 1),
    )
    given = [f"{value:.{places}f}\u00a0{unit}" for value, unit, places in parts if value is not None]
    return f"({', '.join(given)})" if given else "(not given: no check or map stops)"


def rows(friction: TestFriction) -> list[tuple[str, str]]:
    """Window, landmarks, bite, sensitivities, bedding, fade and recovery as name and value."""
    return [*_window(friction), *_landmarks(friction), *_bite(friction), *_sensitivities(friction), *_history(friction)]


def _window(friction: TestFriction) -> list[tuple[str, str]]:
    window = friction.window
    if window is None:
        return []
    band = f"covers {window.coverage * 100:.0f} % of single stops at {window.confidence * 100:.0f} % confidence"
    runs = f"{fixed(window.mu_mean, 3)}; the curve runs from {fixed(window.mu_low, 3)} to {fixed(window.mu_high, 3)}"
    return [("Mean µ in the window", runs), ("Tolerance band", band)]


def _landmarks(friction: TestFriction) -> list[tuple[str, str]]:
    if friction.landmarks is None:
        return []
    found = []
    for pick, name, unit in LANDMARKS:
        mark = pick(friction.landmarks)
        text = interval_text(mark, unit)
        if mark.value is not None:
            text += "" if mark.temperature_c is None else f" at {fixed(mark.temperature_c, 0)} °C"
            text += "" if mark.from_c is None else f" from {fixed(mark.from_c, 0)} to {fixed(mark.to_c, 0)} °C"
            text += f"; {mark.sign}" if mark.sign else ""
            text += f"; {mark.note}" if mark.note else ""
        found.append((name, text))
    return found


def _bite(friction: TestFriction) -> list[tuple[str, str]]:
    bite = friction.bite
    if bite is None:
        return []
    named = (
        (bite.reference, "Bite at the checks (first half second)"),
        (bite.coldest, "Bite in the coldest tenth of the map"),
    )
    return [
        (
            name,
            f"{fixed(at.mu_bite, 3)} at {fixed(at.temperature_c, 0)} °C, {fixed(at.ratio, 2)} of the stop's mean "
            f"({counted(at.stops, 'stop')})",
        )
        for at, name in named
        if at is not None
    ]


def _sensitivities(friction: TestFriction) -> list[tuple[str, str]]:
    found = []
    for pick, name, unit in SENSITIVITIES:
        slope = None if friction.sensitivity is None else pick(friction.sensitivity)
        text = interval_text(slope, why="the design does not tell")
        given = slope is not None and slope.value is not None
        found.append((f"Sensitivity to {name}", f"{text} {unit}" if given else text))
    return found


def _history(friction: TestFriction) -> list[tuple[str, str]]:
    bedding, fade, recovery = friction.bedding, friction.fade, friction.recovery
    found = []
    green = friction.green
    if green is not None:
        said = interval_text(green)
        found.append(("Green µ", said if green.value is None else f"{said}, mean of {green.stops} {green.source}"))
    name = "Stops until bedded (within 3 %)"
    if bedding is not None:
        stops = Interval(value=bedding.stops, low=bedding.low, high=bedding.high, why=bedding.why)
        found.append((name, interval_text(stops)))
    else:
        found.append((name, _none(friction, "no bedding block")))
    name = "Fade index (1 = unchanged)"
    if fade is not None:
        text = _index(fade.index, fade.index_low, fade.index_high, fade.why)
        if fade.temperature_c is not None:
            text += f"; lowest µ {fixed(fade.mu_min, 3)} at {fixed(fade.temperature_c, 0)} °C"
        found.append((name, text))
    else:
        found.append((name, _none(friction, "no fade block")))
    name = "Recovery index (1 = unchanged)"
    if recovery is not None:
        text = _index(recovery.index, recovery.index_low, recovery.index_high, recovery.why)
        text += "" if recovery.stops is None else f"; within 3 % of before after {counted(recovery.stops, 'stop')}"
        found.append((name, text))
    else:
        found.append((name, _none(friction, "no fade block")))
    return found


def _none(friction: TestFriction, otherwise: str) -> str:
    return f"{numbers.MISSING}: {friction.unusable or otherwise}"


def _index(value: float | None, low: float | None, high: float | None, why: str | None) -> str:
    return interval_text(Interval(value=value, low=low, high=high, why=why), why="no reason written")


def slope_rows(friction: TestFriction) -> list[list[str]]:
    """In-stop and between-stop slopes by class of temperature, and whether they agree."""
    found = []
    for row in friction.in_stop.classes if friction.in_stop else []:
        between = numbers.MISSING
        if row.between_stops_per_100k is not None and row.between_stops_u is not None:
            between = f"{fixed(row.between_stops_per_100k, 3, sign=True)} ± {2 * row.between_stops_u:.3f}"
        found.append(
            [
                f"{fixed(row.from_c, 0)} to {fixed(row.to_c, 0)}",
                str(row.stops),
                f"{fixed(row.in_stop_per_100k, 3, sign=True)} ± {2 * row.in_stop_u:.3f}",
                between,
                fixed(row.rise_k, 0),
                fixed(row.surface_rise_k, 0),
                {True: "yes", False: "no", None: "not told"}[row.agrees],
                row.text or "",
            ]
        )
    return found


def rise_rows(friction: TestFriction) -> list[list[str]]:
    """In-stop rise (mu_end over mu_start) by class of energy density, cold and warm."""
    return [
        [
            f"{fixed(row.energy_from_j_mm2, 1)} to {fixed(row.energy_to_j_mm2, 1)}",
            row.state,
            str(row.stops),
            fixed(row.rise, 2),
            f"{fixed(row.rise_low, 2)} to {fixed(row.rise_high, 2)}",
        ]
        for row in (friction.in_stop.rise if friction.in_stop else [])
    ]


def pause_rows(friction: TestFriction) -> list[list[str]]:
    """First stop after each pause over what is expected there."""
    return [
        [
            str(row.stop),
            row.block,
            fixed(row.pause_h, 1),
            fixed(row.temperature_c, 0),
            fixed(row.mu, 3),
            fixed(row.ratio, 3),
            fixed(row.bite_ratio, 2),
            "not within the stops looked at" if row.stops_to_normal is None else str(row.stops_to_normal),
            row.against,
        ]
        for row in friction.pauses
    ]


def notes(friction: TestFriction) -> list[str]:
    """What the map left out, where it has gaps, and what it is made of."""
    reasons = list(dict.fromkeys(block.why for block in friction.left_out))
    said = [f"Left out of the map: {'; '.join(reasons)}."] if reasons else []
    said += [
        f"No value between {fixed(gap.from_c, 0)} and {fixed(gap.to_c, 0)} °C: the data have a gap there."
        for gap in friction.gaps
    ]
    if friction.windows_at_why:
        said.append(
            f"No window at the other pressures and energy densities that were run: {friction.windows_at_why}. The window holds at "
            "its reference conditions; gentler or harder stops inside its temperatures may lie elsewhere."
        )
    model = friction.model
    if model is not None:
        kept = ", ".join(model.kept) or "temperature alone"
        said.append(
            f"The map keeps {kept}; effects {model.effects}. Chosen because {model.chosen_because}; "
            f"{counted(model.strays_held_back, 'stray stop')} held back."
        )
        if model.interacts:
            moves = [f"{move.condition} {move.kelvin:.0f} ± {2 * move.u:.0f} K" for move in model.shifts]
            said.append(
                "Temperature interacts with the conditions, so the effects do not stand alone: from the lowest to the highest run the "
                f"conditions also move the curve towards the cold, {', '.join(moves)} (± twice the standard uncertainty), and an effect "
                "may change with temperature."
            )
        said += [f"Dropped from the map: {name}: {why}." for name, why in model.dropped.items()]
    surface = friction.in_stop.surface if friction.in_stop else None
    if surface is not None:
        assumed = f" with assumed {', '.join(surface.assumed)}" if surface.assumed else ""
        valid = "" if surface.valid_s is None else f", good for about the first {fixed(surface.valid_s, 1)} s of a stop"
        said.append(f"Surface temperatures are a half-space estimate{assumed}{valid}.")
    return said
