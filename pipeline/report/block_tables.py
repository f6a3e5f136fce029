"""The table of blocks, the lines of pressure and speed, and green friction on a test's page, as rows of text."""

from collections.abc import Sequence

from pipeline.report import numbers
from pipeline.report.numbers import fixed, interval_text
from pipeline.results.friction import TestFriction
from pipeline.results.friction_blocks import Block, Line, MeanOfStops, Spread

HEAD = (
    "Block", "Purpose", "Stops used of run", "µ", "least", "largest", "sd", "MFDD (m/s²)", "Stop time (s)", "Start (°C)", "Peak (°C)",
    "End (°C)", "Pressure (bar)", "Speed from (rpm)", "to (rpm)", "Energy (kJ)",
)  # fmt: skip
LINE_HEAD = (
    "Along",
    "Pressure (bar)",
    "Speed (rpm)",
    "Temperature (°C)",
    "Energy density (J/mm²)",
    "Stops",
    "µ",
    "Blocks",
)
TOLD = 0.001  # least of mu that is worth a sentence


def block_rows(friction: TestFriction) -> list[list[str]]:
    """One row a block in the order run."""
    return [
        [
            block.block,
            f"{block.purpose or '–'}, {block.kind}" if block.kind else block.purpose or "–",
            f"{block.used} of {block.stops}",
            interval_text(block.mu) if block.mu.value is None or block.mu.why is None else _without(block.mu),
            fixed(block.mu_least, 3),
            fixed(block.mu_most, 3),
            "–" if block.sd is None else fixed(block.sd, 4),
            _deceleration(block),
            ranged(block.duration_s, 2),
            *(ranged(t, 0) for t in (block.temperature_initial_c, block.temperature_peak_c, block.temperature_end_c)),
            ranged(block.pressure_bar, 1),
            ranged(block.speed_start_rpm, 0),
            ranged(block.speed_end_rpm, 0),
            ranged(block.energy_kj, 0),
        ]
        for block in friction.blocks
    ]


def _without(mu: MeanOfStops) -> str:
    return f"{numbers.plain(mu.value or 0.0)}; no interval: {mu.why}"


def _deceleration(block: Block) -> str:
    return "–" if block.deceleration_mps2.mean is None else ranged(block.deceleration_mps2, 2)


def ranged(spread: Spread, decimals: int) -> str:
    """`301 [299, 304]`: mean, least and largest."""
    if spread.mean is None:
        return numbers.MISSING
    return f"{fixed(spread.mean, decimals)} [{fixed(spread.least, decimals)}, {fixed(spread.most, decimals)}]"


def deceleration_note(friction: TestFriction) -> str:
    """Why blocks have no mean fully developed deceleration, each reason with its blocks."""
    by_why: dict[str, int] = {}
    for block in friction.blocks:
        why = block.deceleration_mps2.why
        if why is not None:
            by_why[why] = by_why.get(why, 0) + 1
    said = "; ".join(f"{count} of {len(friction.blocks)} blocks: {why}" for why, count in by_why.items())
    return f"No mean fully developed deceleration (MFDD): {said}." if said else ""


def block_note(friction: TestFriction) -> str:
    """What the intervals of the means hold."""
    found = friction.stop_scatter
    if found is None:
        return ""
    usual = (
        f"each block's own, drawn towards the test's usual {100 * found.sd:.2g} %"
        if found.sd is not None
        else f"each block's own alone ({found.sd_why})"
    )
    shares = [row.mu.u_common / row.mu.value for row in friction.blocks if row.mu.u_common and row.mu.value]
    common = (
        f"and {100 * shares[0]:.2g} % (one standard uncertainty) from calibration, radius and area, which all stops "
        "share and no repeating lessens"
        if shares
        else "and nothing for calibration, radius and area, since no accuracies are stated"
    )
    return (
        f"µ: mean over the stops used with its interval, which holds the scatter of single stops ({usual}) {common}. In square brackets the least "
        "and the largest of single stops. Where µ climbs or falls steeply with temperature, blocks that began a kelvin or two apart differ by more. sd: standard deviation of single stops about the mean, with whatever course µ takes in the block."
        if friction.blocks
        else ""
    )


def line_rows(friction: TestFriction) -> list[list[str]]:
    """One row a level of each line."""
    return [row for line in friction.lines for row in _levels(line)]


def _levels(line: Line) -> list[list[str]]:
    return [
        [
            line.along if k == 0 else "",
            fixed(level.pressure_bar, 1),
            fixed(level.speed_rpm, 0),
            fixed(level.temperature_c, 0),
            fixed(level.energy_density_j_mm2, 1),
            str(level.stops),
            interval_text(level.mu) if level.mu.why is None else _without(level.mu),
            ", ".join(level.blocks),
        ]
        for k, level in enumerate(line.levels)
    ]


def line_notes(friction: TestFriction) -> list[str]:
    """What to mind about the lines, and why there is none."""
    said = line_words(friction.lines)
    said += [f"No line of {along}: {why}." for along, why in friction.lines_why.items()]
    if friction.lines and friction.stop_scatter is not None and friction.stop_scatter.between_blocks_sd is not None:
        apart = 100 * friction.stop_scatter.between_blocks_sd
        said.append(
            f"Blocks at one set of conditions lie apart by {apart:.2g} % (one standard deviation); that is in the intervals."
        )
    elif friction.lines:
        why = friction.stop_scatter.between_blocks_why if friction.stop_scatter else None
        said.append(f"How far blocks at one set of conditions lie apart is not known and not in the intervals: {why}.")
    return said


def line_words(lines: Sequence[Line]) -> list[str]:
    """Energy that moves along a line, and what unlike temperatures may be worth."""
    said = []
    if any(level.mu.u_common for line in lines for level in line.levels):
        said.append(
            "The intervals hold what calibration, radius and area make common to all levels, which leaves their differences along "
            "a line as they are, and where it is known how far blocks apart; a level's can be wider than its block's."
        )
    if any(line.energy_moves for line in lines):
        said.append("Along the line of speeds the energy density moves with the speed: no two speeds were run at one.")
    worth = [line.by_temperature for line in lines if line.by_temperature is not None]
    if worth and max(worth) >= TOLD:
        said.append(
            f"The levels of a line differ a little in temperature; by the curve that is worth up to {max(worth):.3f} of µ."
        )
    return said
