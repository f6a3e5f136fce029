"""What a test's page says of friction: the answers, the landmarks, inside the stops, after pauses, and the map itself."""

from collections.abc import Mapping
from typing import Any

from pipeline.report import numbers
from pipeline.report.numbers import interval_text

SENSITIVITIES = (
    ("temperature_per_100c", "temperature", "per 100 K"), ("pressure_per_10bar", "pressure", "per 10 bar"),
    ("speed_per_100rpm", "speed", "per 100 rpm"), ("energy_per_j_mm2", "energy density", "per J/mm²"),
)  # fmt: skip
TONES = {"yes": "good", "no": "bad", "not shown": "open"}


def answers(friction: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Tone and sentence of the verdicts over the wanted window and over both duties, where there is a target."""
    said = []
    holds, sides = friction.get("holds"), friction.get("sides")
    if holds:
        answer = str(holds.get("answer") or numbers.MISSING)
        span = f"{numbers.fixed(holds['from_c'], 0)} to {numbers.fixed(holds['to_c'], 0)} °C"
        said.append(
            (
                TONES.get(answer, "open"),
                f"Does friction hold over the wanted {span}? {answer[:1].upper()}{answer[1:]}: {holds['why']}.",
            )
        )
    for key in ("low_energy", "high_energy"):
        side = (sides or {}).get(key)
        if side:
            said.append((TONES.get(side["answer"], "open"), f"{side['text'][:1].upper()}{side['text'][1:]}."))
    return said


def reference_text(friction: Mapping[str, Any]) -> str:
    """The reference conditions in a phrase."""
    reference = friction.get("reference") or {}
    parts = (
        ("temperature_c", "°C", 0),
        ("pressure_bar", "bar", 1),
        ("speed_rpm", "rpm", 0),
        ("energy_density_j_mm2", "J/mm²", 1),
    )
    given = [f"{reference[k]:.{d}f}\u00a0{u}" for k, u, d in parts if numbers.is_number(reference.get(k))]
    return f"({', '.join(given)})" if given else "(not given: no check or map stops)"


def rows(friction: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Window, landmarks, bite, sensitivities, bedding, fade and recovery as name and value."""
    return [*_window(friction), *_landmarks(friction), *_bite(friction), *_sensitivities(friction), *_history(friction)]


def _window(friction: Mapping[str, Any]) -> list[tuple[str, str]]:
    window = friction.get("window")
    if not window:
        return []
    band = f"covers {window['coverage'] * 100:.0f} % of single stops at {window['confidence'] * 100:.0f} % confidence"
    runs = f"{numbers.fixed(window['mu_mean'], 3)}; the curve runs from {numbers.fixed(window['mu_low'], 3)} to {numbers.fixed(window['mu_high'], 3)}"
    return [("Mean µ in the window", runs), ("Tolerance band", band)]


def _landmarks(friction: Mapping[str, Any]) -> list[tuple[str, str]]:
    marks = friction.get("landmarks") or {}
    found = []
    for key, name, unit in (("cold_friction", "Cold friction", ""), ("transition", "Transition, where µ climbs fastest", "°C"),
                            ("plateau", "Plateau", ""), ("high_temperature_change", "Change of µ from the plateau to the hottest", "")):  # fmt: skip
        mark = marks.get(key)
        if not mark:
            continue
        text = interval_text(mark, unit)
        if numbers.is_number(mark.get("value")):
            if numbers.is_number(mark.get("temperature_c")):
                text += f" at {numbers.fixed(mark['temperature_c'], 0)} °C"
            if numbers.is_number(mark.get("from_c")):
                text += f" from {numbers.fixed(mark['from_c'], 0)} to {numbers.fixed(mark['to_c'], 0)} °C"
            text += f"; {mark['sign']}" if mark.get("sign") else ""
            text += f"; {mark['note']}" if mark.get("note") else ""
        found.append((name, text))
    return found


def _bite(friction: Mapping[str, Any]) -> list[tuple[str, str]]:
    bite = friction.get("bite") or {}
    names = (
        ("reference", "Bite at the checks (first half second)"),
        ("coldest", "Bite in the coldest tenth of the map"),
    )
    return [
        (name, f"{numbers.fixed(bite[key]['mu_bite'], 3)} at {numbers.fixed(bite[key]['temperature_c'], 0)} °C, {numbers.fixed(bite[key]['ratio'], 2)} of the stop's mean ({bite[key]['stops']} stops)")
        for key, name in names if bite.get(key)
    ]  # fmt: skip


def _sensitivities(friction: Mapping[str, Any]) -> list[tuple[str, str]]:
    sensitivity = friction.get("sensitivity") or {}
    found = []
    for key, name, unit in SENSITIVITIES:
        value = sensitivity.get(key)
        why = numbers.why_missing(sensitivity, key) or numbers.why_missing(value, "value") or "the design does not tell"
        given = isinstance(value, Mapping) and value.get("value") is not None
        found.append(
            (f"Sensitivity to {name}", f"{interval_text(value)} {unit}" if given else f"{numbers.MISSING}: {why}")
        )
    return found


def _history(friction: Mapping[str, Any]) -> list[tuple[str, str]]:
    found = []
    bedding = friction.get("bedding")
    name = "Bedding, stops to 3 % of the asymptote"
    if bedding:
        why = numbers.why_missing(bedding, "stops")
        found.append(
            (
                name,
                interval_text(
                    {"value": bedding.get("stops"), "low": bedding.get("low"), "high": bedding.get("high"), "why": why}
                ),
            )
        )
    else:
        found.append((name, f"{numbers.MISSING}: {numbers.why_missing(friction, 'bedding') or 'no bedding block'}"))
    for key, name in (("fade", "Fade index (1 = unchanged)"), ("recovery", "Recovery index (1 = unchanged)")):
        value = friction.get(key)
        if not value:
            found.append((name, f"{numbers.MISSING}: {numbers.why_missing(friction, key) or 'no fade block'}"))
            continue
        text = (
            interval_text(value.get("index"))
            if value.get("index") is not None
            else f"{numbers.MISSING}: {value.get('why') or 'no reason written'}"
        )
        if key == "fade" and numbers.is_number(value.get("mu_min")) and numbers.is_number(value.get("temperature_c")):
            text += f"; lowest µ {numbers.fixed(value['mu_min'], 3)} at {numbers.fixed(value['temperature_c'], 0)} °C"
        if key == "recovery" and value.get("stops") is not None:
            text += f"; within 3 % of before after {value['stops']} stops"
        found.append((name, text))
    return found


def slope_rows(friction: Mapping[str, Any]) -> list[list[str]]:
    """In-stop and between-stop slopes by class of temperature, and whether they agree."""
    found = []
    for row in (friction.get("in_stop") or {}).get("classes") or []:
        between = numbers.MISSING
        if numbers.is_number(row.get("between_stops_per_100k")):
            between = f"{numbers.fixed(row['between_stops_per_100k'], 3, sign=True)} ± {2 * row['between_stops_u']:.3f}"
        rises = [
            f"{numbers.fixed(row[k], 0)}" if numbers.is_number(row.get(k)) else numbers.MISSING
            for k in ("rise_k", "surface_rise_k")
        ]
        agrees = {True: "yes", False: "no"}.get(row.get("agrees"), "not told")
        slope = f"{numbers.fixed(row['in_stop_per_100k'], 3, sign=True)} ± {2 * row['in_stop_u']:.3f}"
        found.append(
            [
                f"{numbers.fixed(row['from_c'], 0)} to {numbers.fixed(row['to_c'], 0)}",
                str(row["stops"]),
                slope,
                between,
                *rises,
                agrees,
                row.get("text") or "",
            ]
        )
    return found


def rise_rows(friction: Mapping[str, Any]) -> list[list[str]]:
    """In-stop rise (mu_end over mu_start) by class of energy density, cold and warm."""
    return [
        [f"{numbers.fixed(row['energy_from_j_mm2'], 1)} to {numbers.fixed(row['energy_to_j_mm2'], 1)}", row["state"], str(row["stops"]), f"{numbers.fixed(row['rise'], 2)}",
         f"{numbers.fixed(row['rise_low'], 2)} to {numbers.fixed(row['rise_high'], 2)}"]
        for row in (friction.get("in_stop") or {}).get("rise") or []
    ]  # fmt: skip


def pause_rows(friction: Mapping[str, Any]) -> list[list[str]]:
    """First stop after each pause over what is expected there."""
    found = []
    for row in friction.get("pauses") or []:
        bite = f"{numbers.fixed(row['bite_ratio'], 2)}" if numbers.is_number(row.get("bite_ratio")) else numbers.MISSING
        back = (
            str(row["stops_to_normal"]) if row.get("stops_to_normal") is not None else "not within the stops looked at"
        )
        temperature = (
            f"{numbers.fixed(row['temperature_c'], 0)}"
            if numbers.is_number(row.get("temperature_c"))
            else numbers.MISSING
        )
        found.append(
            [
                str(row["stop"]),
                str(row["block"]),
                f"{numbers.fixed(row['pause_h'], 1)}",
                temperature,
                f"{numbers.fixed(row['mu'], 3)}",
                f"{numbers.fixed(row['ratio'], 3)}",
                bite,
                back,
                str(row["against"]),
            ]
        )
    return found


def notes(friction: Mapping[str, Any]) -> list[str]:
    """What the map left out, where it has gaps, and what it is made of."""
    said = [
        f"Left out of the map: {block.get('why') or block.get('block')}." for block in friction.get("left_out") or []
    ]
    said += [
        f"No value between {numbers.fixed(gap['from_c'], 0)} and {numbers.fixed(gap['to_c'], 0)} °C: the data have a gap there."
        for gap in friction.get("gaps") or []
    ]
    model = friction.get("model") or {}
    if model:
        kept = ", ".join(str(name) for name in model.get("kept") or []) or "temperature alone"
        said.append(
            f"The map keeps {kept}; effects {model.get('effects')}. Chosen because {model.get('chosen_because')}; {model.get('strays_held_back')} stray stops held back."
        )
        said += [f"Dropped from the map: {name}: {why}." for name, why in (model.get("dropped") or {}).items()]
    surface = (friction.get("in_stop") or {}).get("surface") or {}
    if surface:
        assumed = f" with assumed {', '.join(surface['assumed'])}" if surface.get("assumed") else ""
        valid = (
            f", good for about the first {numbers.fixed(surface['valid_s'], 1)} s of a stop"
            if numbers.is_number(surface.get("valid_s"))
            else ""
        )
        said.append(f"Surface temperatures are a half-space estimate{assumed}{valid}.")
    return said
