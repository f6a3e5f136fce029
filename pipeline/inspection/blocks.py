"""Blocks of a schedule from the brakings found: neighbours alike in kind, speeds, pressure and temperature before.

A fade is a block whose temperature before rises from one to the next. What a block was for no recording says: conditions that come
again are checks, the first long block is bedding, the rest a map; each is a guess.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import median

from pipeline.inspection.brakings import Braking, celsius

RPM = 30 / math.pi
SPEED, PRESSURE = 0.05, 0.10  # within which two are alike
LEAST_K, MOST_K, TIMES = 8.0, 30.0, 5.0  # so many times the usual step between neighbours, within these
FADE_K = 60.0  # a fade gets hotter by, at least
LEAST_SPEED, LEAST_PRESSURE = 1.5, 0.8e5  # rad/s (or m/s), Pa
RISE_K, RISES = 8.0, 3  # of a fade: from each to the next at least; and how many times
TOGETHER = 3  # alike on both sides of an odd one, for it to be one of theirs
LONG, USED = 10, 60  # stops of a bedding; of a duty


@dataclass(frozen=True)
class Block:
    """One block as a card gives it; speeds as the channel counts them (rad/s, or m/s), pressure Pa, temperature K, duration and
    interval s; guessed: what the purpose rests on."""

    name: str
    purpose: str
    kind: str
    stops: int
    speed: tuple[float, float]
    pressure: float
    temperature: float
    duration: float | None = None
    interval: float | None = None
    guessed: str = ""


def grouped(several: Sequence[Braking]) -> list[Block]:
    """The blocks, in the order run."""
    near = _tolerance(several)
    groups = _absorbed(_neighbours(several, near), near)
    if not groups:
        return []
    counts: Counter[str] = Counter()
    blocks = []
    for at, group in enumerate(groups):
        again = sum(_same(group, other, near) for other in groups if not _fades(other))
        purpose, why = _purpose(group, at, again, bool(at) and _fades(groups[at - 1]))
        counts[purpose] += 1
        blocks.append(_block(group, f"{purpose} {counts[purpose]}", purpose, why))
    return blocks


def _tolerance(several: Sequence[Braking]) -> float:
    """Within how many K two temperatures before are alike: as the rig holds them, by neighbours that are alike otherwise."""
    steps = [
        abs(b.temperature_initial - a.temperature_initial)
        for a, b in itertools.pairwise(several)
        if _alike(b, [a], None) and math.isfinite(a.temperature_initial) and math.isfinite(b.temperature_initial)
    ]
    return min(max(TIMES * median(steps), LEAST_K), MOST_K) if steps else MOST_K


def _neighbours(several: Sequence[Braking], near_k: float) -> list[list[Braking]]:
    groups: list[list[Braking]] = []
    for one in several:
        if groups and (_alike(one, groups[-1], near_k) or _goes_on(one, groups[-1])):
            groups[-1].append(one)
        else:
            groups.append([one])
    return groups


def _alike(one: Braking, group: Sequence[Braking], near_k: float | None) -> bool:
    start, end = median(b.speed_start for b in group), median(b.speed_end for b in group)
    pressure = median(b.pressure for b in group)
    near = abs(one.speed_start - start) <= max(SPEED * start, LEAST_SPEED)
    near &= abs(one.speed_end - end) <= max(SPEED * start, LEAST_SPEED)
    near &= abs(one.pressure - pressure) <= max(PRESSURE * pressure, LEAST_PRESSURE)
    if near_k is not None:
        known = [b.temperature_initial for b in group if math.isfinite(b.temperature_initial)]
        near &= (
            not known
            or not math.isfinite(one.temperature_initial)
            or abs(one.temperature_initial - median(known)) <= near_k
        )
    return near and one.kind == group[-1].kind


def _goes_on(one: Braking, group: Sequence[Braking]) -> bool:
    """Whether a braking continues a rise of the temperature before."""
    temperatures = [b.temperature_initial for b in group] + [one.temperature_initial]
    steps = [b - a for a, b in itertools.pairwise(temperatures)]
    return _alike(one, group, None) and all(step >= (RISE_K if at < RISES else 0.0) for at, step in enumerate(steps))


def _fades(group: Sequence[Braking]) -> bool:
    temperatures = [b.temperature_initial for b in group]
    steps = [b - a for a, b in itertools.pairwise(temperatures)]
    return len(steps) >= RISES and all(step >= 0 for step in steps) and temperatures[-1] - temperatures[0] > FADE_K


def _absorbed(groups: list[list[Braking]], near_k: float) -> list[list[Braking]]:
    """An odd one between neighbours that are alike is one of theirs: aborted, or run otherwise."""
    kept: list[list[Braking]] = []
    for at, group in enumerate(groups):
        after = groups[at + 1] if at + 1 < len(groups) else []
        odd = (
            len(group) == 1
            and kept
            and len(kept[-1]) >= TOGETHER
            and len(after) >= TOGETHER
            and _alike(after[0], kept[-1], near_k)
        )
        if odd or (kept and _alike(group[0], kept[-1], near_k) and not _fades(kept[-1]) and not _fades(group)):
            kept[-1].extend(group)
        else:
            kept.append(list(group))
    return kept


def _same(group: Sequence[Braking], other: Sequence[Braking], near_k: float) -> bool:
    """Whether two groups were run at the same conditions."""
    return _alike(_typical(group), other, near_k) and _alike(_typical(other), group, near_k)


def _typical(group: Sequence[Braking]) -> Braking:
    known = [b.temperature_initial for b in group if math.isfinite(b.temperature_initial)]
    return replace(
        group[0],
        speed_start=median(b.speed_start for b in group),
        speed_end=median(b.speed_end for b in group),
        pressure=median(b.pressure for b in group),
        temperature_initial=median(known) if known else float("nan"),
    )


def _purpose(group: Sequence[Braking], at: int, again: int, after_fade: bool) -> tuple[str, str]:
    if group[0].kind == "drag":
        return "drag", "speed is held"
    if _fades(group):
        return "fade", "it gets hotter from each to the next"
    if again >= 3 and len(group) < USED:
        return "check", f"these conditions come {again} times"
    if at == 0 and len(group) >= LONG:
        return "bedding", "it is the first and long"
    if after_fade:
        return "recovery", "it comes after a fade"
    return ("duty", "it is long") if len(group) >= USED else ("map", "nothing tells")


def _block(group: Sequence[Braking], name: str, purpose: str, why: str) -> Block:
    fade = purpose == "fade"
    starts = [b.start_s for b in group]
    gaps = [b - a for a, b in itertools.pairwise(starts) if b > a]
    return Block(
        name=name,
        purpose=purpose,
        kind=group[0].kind,
        stops=len(group),
        speed=(median(b.speed_start for b in group), median(b.speed_end for b in group)),
        pressure=median(b.pressure for b in group),
        temperature=group[0].temperature_initial if fade else median(b.temperature_initial for b in group),
        duration=median(b.duration_s for b in group) if group[0].kind == "drag" else None,
        interval=median(gaps) if fade and gaps else None,
        guessed=why,
    )


def line_of(block: Block, linear: bool) -> str:
    """The block as a line of a card."""
    factor, unit, step = (3.6, "km/h", 1) if linear else (RPM, "rpm", 10)
    start, end = (step * round(v * factor / step) for v in block.speed)
    if block.kind == "stop":
        end = 0
    speed = f"{start} {unit}" if block.kind == "drag" else f"[{start} {unit}, {end} {unit}]"
    parts = [
        f"name: {block.name}",
        f"purpose: {block.purpose}",
        f"kind: {block.kind}",
        f"stops: {block.stops}",
        f"speed: {speed}",
        f"pressure: {round(block.pressure / 1e5 * 2) / 2:g} bar",
    ]
    if math.isfinite(block.temperature):
        parts.append(f"initial_temperature: {5 * round(celsius(block.temperature) / 5)} degC")
    parts += [f"duration: {block.duration:.1f} s"] if block.duration else []
    parts += [f"interval: {block.interval:.0f} s"] if block.interval else []
    return f"  - {{{', '.join(parts)}}}  # guessed: {block.stops} braking{'' if block.stops == 1 else 's'} alike; purpose: {block.guessed}"
