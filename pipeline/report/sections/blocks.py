"""Blocks for the sheet: what procedures print, a row a block and batch, and values along lines of pressure and speed."""

from pipeline.report.block_tables import line_words
from pipeline.report.document import Cell, Section, Table, Text
from pipeline.report.inputs import Inputs
from pipeline.report.sections.block_short import short_table
from pipeline.report.source import Cited
from pipeline.results.friction_blocks import Block, Line
from pipeline.wording import counted

MOST_ROWS = 150
SAID = (
    "The column µ is the mean over the tests' means of nominal µ with its interval: the scatter of single stops{specimens}, and what "
    "calibration, radius and area make common to all stops. Where µ climbs or falls steeply with temperature, stops and tests that began a kelvin or two "
    "apart differ by more, which is not in it. sd is of single stops about the mean of the block in their own test, pooled over the tests: least and largest may lie farther apart. Temperatures, pressure, speed and energy are "
    "means; the peak is the highest of all stops. Extremes of each, end temperatures and speeds stand in friction.json and on the tests' pages{left}."
)


def blocks(inputs: Inputs) -> Section:
    """The part of the sheet that prints the procedure's blocks."""
    found = inputs.friction.each(lambda f: f.blocks)
    if not found:
        return Section("Blocks", [Text("No block has a stop.", tone="open")])
    known = inputs.friction.result.between and inputs.friction.result.between.specimen_sd is not None
    left = "; stops from a drift's first affected one on are left out" if inputs.friction.result.changed else ""
    specimens = ", that between specimens" if known else " (how far another specimen lies is not known and not in it)"
    parts: list[Text | Table] = [*short_table(inputs), Text(SAID.format(specimens=specimens, left=left))]
    shown = found[:MOST_ROWS]
    braked = any(row.result.deceleration_mps2.mean is not None for row in shown)
    batches = len({row.result.batch for row in found}) > 1
    head = ["Block", *(["Batch"] if batches else []), "Stops used of run", "µ", "least", "largest", "sd",
            *(["MFDD (m/s²)"] if braked else []), "Time (s)", "Start (°C)", "Peak (°C)", "Pressure (bar)", "Speed (rpm)",
            "Energy (kJ)"]  # fmt: skip
    parts.append(Table("Blocks in the order run", head, [_row(row, batches, braked) for row in shown]))
    if not braked:
        why = next((row.result.deceleration_mps2.why for row in shown if row.result.deceleration_mps2.why), "not given")
        parts.append(Text("No block has a mean fully developed deceleration: {why}.", {"why": why}))
    if len(found) > MOST_ROWS:
        parts.append(
            Text(f"Not shown: {counted(len(found) - MOST_ROWS, 'further row')} of friction.json.", tone="open")
        )
    parts += _lines(inputs, batches)
    return Section("Blocks", parts)


def _row(row: Cited[Block], batches: bool, braked: bool) -> list[Cell]:
    found = row.result
    name = f"{found.block}, {found.batch or '–'}"
    cells: list[Cell] = [found.block, *([found.batch or "–"] if batches else []), f"{found.used} of {found.stops}"]
    cells += [
        row.number(f"{name}: µ", lambda b: b.mu),
        row.number(f"{name}: least µ", lambda b: b.mu_least, decimals=3, why="no µ"),
        row.number(f"{name}: largest µ", lambda b: b.mu_most, decimals=3, why="no µ"),
        "–" if found.sd is None else row.number(f"{name}: sd", lambda b: b.sd, decimals=4),
    ]
    if braked:
        none = found.deceleration_mps2.mean is None
        cells.append(
            "–" if none else row.number(f"{name}: MFDD", lambda b: b.deceleration_mps2.mean, unit="", decimals=2)
        )
    cells += [
        row.number(f"{name}: stop time", lambda b: b.duration_s.mean, unit="", decimals=2, why="not recorded"),
        row.number(f"{name}: start", lambda b: b.temperature_initial_c.mean, unit="", decimals=0, why="not recorded"),
        row.number(f"{name}: highest", lambda b: b.temperature_peak_c.most, unit="", decimals=0, why="not recorded"),
        row.number(f"{name}: pressure", lambda b: b.pressure_bar.mean, unit="", decimals=1, why="not recorded"),
        row.number(f"{name}: speed", lambda b: b.speed_start_rpm.mean, unit="", decimals=0, why="not recorded"),
        row.number(f"{name}: energy", lambda b: b.energy_kj.mean, unit="", decimals=0, why="not recorded"),
    ]
    return cells


def _lines(inputs: Inputs, batches: bool) -> list[Text | Table]:
    found = inputs.friction.each(lambda f: f.lines)
    parts = list[Text | Table]()
    if found:
        head = ["Along", *(["Batch"] if batches else []), "Pressure (bar)", "Speed (rpm)", "Temperature (°C)",
                "Energy density (J/mm²)", "Stops", "µ"]  # fmt: skip
        rows = [cells for i, line in enumerate(found[:MOST_ROWS], 1) for cells in _levels(line, batches, i)]
        title = "µ along lines of pressure and of speed, other conditions alike, from the stops themselves"
        parts.append(Table(title, head, rows))
        parts += [Text(said) for said in line_words([line.result for line in found])]
    for along, why in inputs.friction.result.lines_why.items():
        parts.append(Text("No line of {along}: {why}.", {"along": along, "why": why}))
    return parts


def _levels(line: Cited[Line], batches: bool, number: int = 1) -> list[list[Cell]]:
    found = line.result
    rows: list[list[Cell]] = []
    for k, level in enumerate(line.each(lambda one: one.levels)):
        name = f"line {number} of {found.along}, {found.batch or '–'}, level {k + 1}"
        rows.append([
            found.along if k == 0 else "",
            *([found.batch or "–"] if batches else []),
            level.number(f"{name}: pressure", lambda v: v.pressure_bar, unit="", decimals=1, why="not recorded"),
            level.number(f"{name}: speed", lambda v: v.speed_rpm, unit="", decimals=0, why="not recorded"),
            level.number(f"{name}: temperature", lambda v: v.temperature_c, unit="", decimals=0, why="not recorded"),
            level.number(f"{name}: energy density", lambda v: v.energy_density_j_mm2, unit="", decimals=1, why="not recorded"),
            level.number(f"{name}: stops", lambda v: v.stops),
            level.number(f"{name}: µ", lambda v: v.mu),
        ])  # fmt: skip
    return rows
