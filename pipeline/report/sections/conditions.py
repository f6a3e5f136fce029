"""Friction at other conditions than the reference's for the sheet: windows inside what was run, what moves the curve, what the
map misses."""

from pipeline.report.document import Cell, Table, Text
from pipeline.report.inputs import Inputs
from pipeline.report.source import Cited
from pipeline.results.friction_map import Missed, WindowAt

HEAD = [
    "Pressure (bar)", "Speed at start (rpm)", "Energy density (J/mm²)", "Stops from (°C)", "to (°C)", "Window from (°C)",
    "to (°C)", "Why there is none",
]  # fmt: skip

LEAST_P, BELOW = 0.001, "below 0.001"
NO_OTHER = (
    "No window is given at the other pressures and energy densities that were run: {why}. The window above holds at its "
    "reference conditions; gentler or harder stops inside its temperatures may lie elsewhere."
)


def windows_parts(inputs: Inputs) -> list[Text | Table]:
    """The windows at the corners of what was run and where the target asks, and how conditions move the curve."""
    parts = list[Text | Table]()
    rows = [_row(place) for place in inputs.friction.each(lambda found: found.windows_at)]
    if rows:
        title = "The window at other pressures and energy densities that were run, in the same target band of µ"
        parts.append(Table(title, HEAD, rows))
    why = inputs.friction.result.windows_at_why
    if why:
        parts.append(Text(NO_OTHER, {"why": why}, "open"))
    parts += shift_text(inputs)
    parts += missed_text(inputs)
    return parts


def _row(place: Cited[WindowAt]) -> list[Cell]:
    found = place.result
    none = found.window_reason or "no window"
    name = f"{found.pressure_bar:.0f} bar, {found.energy_density_j_mm2:.1f} J/mm²"

    def ends(which: str) -> tuple[Cell, Cell]:
        return (
            place.number(f"{name}: {which}, low", LOW[which], decimals=0, why=none),
            place.number(f"{name}: {which}, high", HIGH[which], decimals=0, why=none),
        )

    asked = "; asked for by the target" if found.asked else ""
    why = (none if found.window is None else "–") + asked
    return [
        place.number(f"{name}: pressure", lambda w: w.pressure_bar, decimals=1),
        place.number(f"{name}: speed", lambda w: w.speed_rpm, decimals=0),
        place.number(f"{name}: energy density", lambda w: w.energy_density_j_mm2, decimals=1),
        *ends("stops"),
        *ends("window"),
        why,
    ]


LOW = {"stops": lambda w: w.from_c, "window": lambda w: w.window.low_c if w.window else None}
HIGH = {"stops": lambda w: w.to_c, "window": lambda w: w.window.high_c if w.window else None}


def shift_text(inputs: Inputs) -> list[Text]:
    """How far pressure, speed and energy density move the curve along the temperature, where they do."""
    model = inputs.friction.part(lambda found: found.model)
    if model is None or not model.result.interacts:
        return []
    moves = model.each(lambda m: m.shifts)
    values: dict[str, Cell] = {}
    said = []
    for k, move in enumerate(moves):
        values[f"k{k}"] = move.number(f"shift by {move.result.condition}", lambda m: m.kelvin, unit="K", decimals=0)
        values[f"u{k}"] = move.number(f"u of the shift by {move.result.condition}", lambda m: m.u, unit="K", decimals=0)
        said.append(f"{move.result.condition} {{k{k}}} (standard uncertainty {{u{k}}})")
    text = (
        "Friction here follows a temperature that the conditions raise above the disc's: from the lowest to the highest run the curve moves "
        "towards the cold by " + ", ".join(said) + ". The window holds at the conditions that stand beside it."
    )
    return [Text(text, values, "open")]


def missed_text(inputs: Inputs) -> list[Text]:
    """What the map misses beyond the scatter of stops, and where."""
    missed = inputs.friction.part(lambda found: found.model.lack_of_fit if found.model else None)
    if missed is None:
        return []
    if missed.result.p is None:
        why = missed.result.why or "not given"
        return [Text("What the map misses was not separated from the scatter of stops: {why}.", {"why": why}, "open")]
    values: dict[str, Cell] = {
        "p": missed.number("p of the lack of fit", lambda m: m.p, decimals=3) if missed.result.p >= LEAST_P else BELOW,
        "flat": missed.number("missed where flat", lambda m: m.missed_sd, unit="%", factor=100.0, decimals=1),
        "most": missed.number("missed where steepest", lambda m: m.missed_sd_most, unit="%", factor=100.0, decimals=1),
        "stop": missed.number(
            "standard deviation of single stops about their map",
            lambda m: m.stop_sd,
            unit="%",
            factor=100.0,
            decimals=1,
        ),
    }
    said = (
        "Single stops scatter by {stop} about the map, by less about the mean of their own block, whose stops are run one after another; the map misses the mean of a set of conditions by {flat} (one standard deviation) where it is "
        "flat and up to {most} where it is steepest, which the band of the mean holds (p of no misfit {p})"
    )
    for k, place in enumerate(missed.each(lambda m: m.where)[:2]):
        where, own = _missed_at(place, k)
        said += ("; farthest off, of what is beyond chance, " if k == 0 else "; then ") + where
        values |= own
    return [Text(said + ".", values, "plain")]


def _missed_at(place: Cited[Missed], k: int) -> tuple[str, dict[str, Cell]]:
    """A set of conditions that the map misses in a phrase with its values, whose names end with `k`; test by test where several
    miss it."""
    which = f"conditions missed, {k + 1}"
    values: dict[str, Cell] = {
        f"t{k}": place.number(f"{which}: temperature", lambda m: m.temperature_c, decimals=0),
        f"b{k}": place.number(f"{which}: pressure", lambda m: m.pressure_bar, decimals=0, why="not recorded"),
        f"e{k}": place.number(
            f"{which}: energy density", lambda m: m.energy_density_j_mm2, decimals=1, why="not recorded"
        ),
    }
    at = f"at {{t{k}}}, {{b{k}}} and {{e{k}}}: "
    tests = place.each(lambda m: m.by_test)
    if not tests:
        values[f"s{k}"] = place.number(f"{which}: share", lambda m: m.share, unit="%", factor=100.0, decimals=1)
        return f"{at}{{s{k}}}", values
    parts = []
    for i, one in enumerate(tests):
        name = one.result.test
        values[f"n{k}_{i}"] = name
        values[f"s{k}_{i}"] = one.number(
            f"{which}: share in {name}", lambda m: m.share, unit="%", factor=100.0, decimals=1
        )
        parts.append(f"{{s{k}_{i}}} in {{n{k}_{i}}}")
    either = " (of either sign, so specimens or runs may be a part of it)" if place.result.signs_differ else ""
    return at + " and ".join(parts) + either, values
