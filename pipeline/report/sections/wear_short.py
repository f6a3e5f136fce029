"""What stands in front of a sheet about wear: loss per friction work of every part in volume and mass, disc and pads as one brake, by
mechanism and batch, and the thickness at the first and the last reading.

Mass per friction work is the volume's figure times the density that the cards state; disc and pads together are the sum
over the parts that were read, where these are all that the brake has. Its interval is the sum of theirs, as what makes them (friction
work, readings' gauge) is common to all.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import polars as pl

from pipeline.report import numbers
from pipeline.report.document import FRONT, Cell, Number, Table, Text
from pipeline.report.inputs import Inputs, OfTest
from pipeline.report.sections.by_batch import PARTS, factor
from pipeline.report.source import Cited
from pipeline.report.wear_words import identified, name_of, spoken
from pipeline.results.model import Interval
from pipeline.results.wear import CompoundComponent, Part, Rates

TO_GRAMS = 1e-3  # mm³ at g/cm³
MM = 1e3
Components = dict[str, Cited[CompoundComponent]]


def _volume(component: CompoundComponent) -> Interval | None:
    return component.rates.mm3_per_mj if component.rates else None


RATES: tuple[tuple[Callable[[CompoundComponent], Interval | None], str, str], ...] = (
    (lambda c: c.rates.um_per_stop if c.rates else None, "Thickness per stop", "µm"),
    (lambda c: c.rates.um_per_stop_per_face if c.rates else None, "Thickness per stop and face", "µm"),
    (lambda c: c.rates.mg_per_stop if c.rates else None, "Mass per stop", "mg"),
    (lambda c: c.rates.mm3_per_n_m if c.rates else None, "Volume per force and distance, one face", "mm³/(N m)"),
    (_volume, "Volume per work", "mm³/MJ"),
)


def rates(inputs: Inputs, components: Components) -> list[Table | Text]:
    """Loss per stop, volume and mass per friction work of every part, and of the brake; without any the reasons, each once."""
    shown = [rate for rate in RATES if any(rate[0](one.result) is not None for one in components.values())]
    rows: list[list[Cell]] = []
    for name, one in components.items():
        said = name_of(name)
        cells = [one.number(f"{said}: {words.lower()}", pick, unit="") for pick, words, _ in shown]
        rows.append([said, *cells, _mass(inputs, name, one)])
    if all(isinstance(cell, Number) and not cell.given for row in rows for cell in row[1:]):
        return [_no_rate(rows)] if shown else []
    if (whole := _together(inputs, components)) is not None:
        rows.append([*whole[:1], *(whole[1] if pick is _volume else "–" for pick, *_ in shown), whole[2]])
    caption = (
        "Wear over the stops of all tests as run, after bedding, 95 % intervals; per friction work of the whole brake. A disc's thickness is of both faces together. "
        "Mass is volume times the density stated; disc and pads together is the sum, its interval that of the parts added"
    )
    head = ["Part", *(f"{words} ({unit})" for _, words, unit in shown), "Mass per work (g/MJ)"]
    return [Table(caption, head, rows, rank=FRONT)]


def _no_rate(rows: list[list[Cell]]) -> Text:
    """Of each part why it has no rate of wear."""
    values, pieces = dict[str, Cell](), []
    for k, (part, *cells) in enumerate(rows):
        values[f"part_{k}"] = part
        values[f"why_{k}"] = "; ".join(
            dict.fromkeys(numbers.worded(cell.why) for cell in cells if isinstance(cell, Number) and cell.why)
        )
        pieces.append(f"{{part_{k}}}: {{why_{k}}}")
    return Text(f"Rates of wear are not given: {'; '.join(pieces)}.", values, "open", rank=FRONT)


def density_of(inputs: Inputs, name: str) -> float | None:
    """Density in g/cm³ that all cards state for the part; None where they differ or one states none."""
    stated = set()
    for test in inputs.usable:
        brake = test.facts.result.brake
        stated.add((brake.disc if name.startswith("disc") else brake.pad).density)
    return stated.pop() if len(stated) == 1 else None


def _mass(inputs: Inputs, name: str, one: Cited[CompoundComponent]) -> Cell:
    density = density_of(inputs, name)
    if density is None:
        return "not given: the cards state no density, or several"
    return one.number(f"{name_of(name)}: mass per friction work", _volume, unit="", factor=density * TO_GRAMS)


def _together(inputs: Inputs, components: Components) -> list[Cell] | None:
    """Disc and pads as one brake; None where not all its parts were read or one has no rate."""
    pads = {test.facts.result.brake.pads for test in inputs.usable}
    read = [name for name in components if name.startswith("pad_")]
    found = {name: _volume_of(one.result) for name, one in components.items()}
    if pads != {len(read)} or "disc" not in components or any(one is None for one in found.values()):
        return None
    known = {name: one for name, one in found.items() if one is not None}
    density = {name: density_of(inputs, name) for name in known}
    key, file = "sum over /components/*/rates/mm3_per_mj", next(iter(components.values())).file

    def added(label: str, factors: dict[str, float]) -> Number:
        value, low, high = (sum(factors[name] * one[k] for name, one in known.items()) for k in range(3))
        return Number(f"disc and pads together: {label}", value, "", file, key, low, high)

    mass: Cell = "not given: the cards state no density, or several"
    if all(one is not None for one in density.values()):
        mass = added("mass per friction work", {name: (one or 0.0) * TO_GRAMS for name, one in density.items()})
    return ["disc and pads together", added("volume per friction work", dict.fromkeys(known, 1.0)), mass]


def _volume_of(component: CompoundComponent) -> tuple[float, float, float] | None:
    rates: Rates | None = component.rates
    one = rates.mm3_per_mj if rates else None
    if one is None or one.value is None or one.low is None or one.high is None:
        return None
    return one.value, one.low, one.high


def mechanisms(components: Components) -> list[Table]:
    """Share of each mechanism in the loss of all tests' stops, and each batch's rates over the compound's; [] without any."""
    rows: list[list[Cell]] = []
    for name, one in components.items():
        if not one.result.part_shares and not one.result.by_batch:
            continue
        said = name_of(name)
        law = f"{spoken(one.result.chosen)} law" if one.result.chosen else "no law chosen"
        shares: dict[str, Cell] = {
            part: one.number(f"{said}: share of {part} wear", _share(part), unit="%", factor=100.0, decimals=0)
            for part in PARTS if part in one.result.part_shares
        }  # fmt: skip
        told: Cell = Text("; ".join(f"{part} {{{part}}}" for part in shares), shares, sentence=True) if shares else "–"
        rows.append(
            [
                said,
                law if identified(one.result) or not one.result.chosen else f"{law}, not identified",
                "all batches",
                told,
                "–",
            ]
        )
        for batch in sorted(one.each(lambda c: c.by_batch), key=lambda b: -_worst(b.result.factors)):
            found, label = batch.result, f"{said}, batch {batch.result.batch}"
            factors: dict[str, Cell] = {
                part: batch.number(f"{label}: {part} factor", factor(part), unit="")
                for part in PARTS if part in found.factors
            }  # fmt: skip
            ratio: Cell = (
                Text("; ".join(f"{part} {{{part}}}" for part in factors), factors, sentence=True) if factors else "–"
            )
            rate = batch.number(
                f"{label}: wear per stop and face",
                lambda b: b.map_and_duty.um_per_stop_per_face if b.map_and_duty else None,
                unit="",
                why=found.measured_why or "no stop of a map or duty block",
            )
            rows.append(["", "", found.batch, ratio, rate])
    if not rows:
        return []
    caption = (
        "Wear by mechanism and batch: share of each mechanism in the loss of all stops, and by batch its rate over that of all batches, the "
        "batch that wears most first, 95 % intervals"
    )
    head = [
        "Part",
        "Law",
        "Batch",
        "Mechanism: share, or factor over all batches",
        "µm per stop and face, map and duty",
    ]
    return [Table(caption, head, rows, rank=FRONT)]


def _share(part: Part) -> Callable[[CompoundComponent], float]:
    return lambda component: component.part_shares[part]


def _worst(factors: Mapping[Part, Interval]) -> float:
    return max((one.value or 0.0 for one in factors.values()), default=0.0)


def dimensions(inputs: Inputs) -> list[Table]:
    """Mean thickness of every part at its first and its last reading, a row a test; [] where nothing was read."""
    read = [(test, _ends(test)) for test in inputs.usable]
    parts = sorted({part for _, found in read for part in found})
    if not parts:
        return []
    rows: list[list[Cell]] = []
    for test, found in read:
        cells: list[Cell] = []
        for part in parts:
            ends = found.get(part)
            cells.append("–" if ends is None else _span(test, part, ends))
        rows.append([test.test, *cells])
    caption = "Mean thickness in mm at the first and at the last reading, over the points of both, with the stops after which they were taken"
    return [Table(caption, ["Test", *map(name_of, parts)], rows, rank=FRONT)]


Ends = tuple[tuple[int, float], tuple[int, float]]  # (after stop, mean thickness in mm), first and last


def _span(test: OfTest, part: str, ends: Ends) -> Text:
    values: dict[str, Cell] = {}
    file = f"archive/{test.test}/{test.card.wear if test.card else ''}"
    for key, (stop, thickness) in zip(("first", "last"), ends, strict=True):
        where = f"mean of the readings of thickness of {part} after stop {stop} at the points of both readings"
        label = f"{test.test}: {name_of(part)}, {key} reading"
        values[key] = Number(label, thickness, "", file, where, decimals=3)
        values[f"{key}_stop"] = Number(f"{label}, after stop", stop, "", file, where)
    return Text("{first} ({first_stop}) to {last} ({last_stop})", values, sentence=True)


def _ends(test: OfTest) -> dict[str, Ends]:
    """First and last reading of every part that was read twice at a point."""
    if test.readings is None:
        return {}
    return ends_of(test.readings)


def ends_of(readings: pl.DataFrame) -> dict[str, Ends]:
    """The same of readings as `wear.readings.read_wear` gives them: means of the points that both readings have, as a point more or less
    moves the mean of a part that is worn unevenly."""
    means = (
        readings.filter(pl.col("quantity") == "thickness")
        .group_by("component", "after_stop", "point")
        .agg(pl.col("value").mean())
        .sort("component", "after_stop", "point")
    )
    found: dict[str, Ends] = {}
    for (part,), rows in means.group_by("component", maintain_order=True):
        stops = rows["after_stop"].unique().sort()
        first, last = (
            rows.filter(pl.col("after_stop") == stop).select("point", "value") for stop in (stops[0], stops[-1])
        )
        both = first.join(last, on="point", nulls_equal=True, suffix="_last")
        if len(stops) > 1 and len(both):
            ends = [(int(stops[at]), MM * float(both[name].mean())) for at, name in ((0, "value"), (-1, "value_last"))]  # type: ignore[arg-type]
            found[str(part)] = (ends[0], ends[1])
    return found
