"""What the wear laws need to know of each stop: work, path, power, temperature, and how long the surface was how hot.

A temperature history enters a law only through the time it spends at each temperature, so it is kept as seconds on a
fixed temperature grid, shared linearly between the two nearest nodes. Any activation energy is then one matrix
product, whatever the number of samples, and histories of intervals, blocks or duty cycles add up.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike

from pipeline.constants import Array, Values
from pipeline.results.sources import InputName

GRID_STEP_K = 4.0
GRID_K = np.arange(240.0, 2640.0 + GRID_STEP_K / 2, GRID_STEP_K)
Nodes = Mapping[InputName, tuple["Exposure", "Exposure"]]


COLUMNS = ("energy_mj", "force_distance_n_m", "power_w_mm2", "temperature_c", "braking_s", "dwell_s")


@dataclass(frozen=True)
class Exposure:
    """One row per stop (or per interval, block, cycle: rows add). All arrays [n] but braking_s and dwell_s [n,
    len(GRID_K)].

    energy_mj: friction work of the whole brake. force_distance_n_m: integral of clamp force over sliding distance.
    power_w_mm2: mean over the braking per pads' friction area. temperature_c: the method's temperature of the stop.
    braking_s, dwell_s: seconds at each node of GRID_K while braking, and after it until the next stop.
    nodes: by heat input, the same stops with that input alone at z = -NODE and at NODE (`pipeline.heat.propagation`); none
    where nothing is known of that.
    """

    energy_mj: np.ndarray
    force_distance_n_m: np.ndarray
    power_w_mm2: np.ndarray
    temperature_c: np.ndarray
    braking_s: np.ndarray
    dwell_s: np.ndarray
    nodes: Nodes = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.energy_mj)


def exposure(
    energy_mj: Values,
    *,
    force_distance_n_m: Values | None = None,
    power_w_mm2: Values | None = None,
    temperature_c: Values | None = None,
    braking_s: Array | None = None,
    dwell_s: Array | None = None,
) -> Exposure:
    """An Exposure of these stops; what is not given is NaN (histories: no time at all).

    Of n stops: energy_mj (MJ), force_distance_n_m (N m), power_w_mm2 (W/mm^2), temperature_c (degC): [n]; braking_s,
    dwell_s: [n, len(GRID_K)] s at each temperature of the grid.
    """
    energy = np.atleast_1d(np.asarray(energy_mj, float))
    missing = np.full(energy.shape, np.nan)

    def column(values: Values | None) -> Array:
        return missing if values is None else np.broadcast_to(np.asarray(values, float), energy.shape)

    def history(seconds: Array | None) -> Array:
        return np.zeros((energy.size, GRID_K.size)) if seconds is None else np.atleast_2d(seconds)

    return Exposure(
        energy_mj=energy,
        force_distance_n_m=column(force_distance_n_m),
        power_w_mm2=column(power_w_mm2),
        temperature_c=column(temperature_c),
        braking_s=history(braking_s),
        dwell_s=history(dwell_s),
    )


def residence(time: Array, temperature: Array) -> Array:
    """Seconds at each node of GRID_K: [stops, grid] of times [stops, n] in s and temperatures [stops, n] in K.

    Each step's duration goes to its temperature's two nearest nodes; steps over more than a node are cut into equal
    parts. NaN temperatures and steps that do not go forward in time count for nothing. Values beyond the grid go to
    its ends.
    """
    time, temperature = np.atleast_2d(np.asarray(time, float)), np.atleast_2d(np.asarray(temperature, float))
    out = np.zeros((time.shape[0], GRID_K.size))
    if time.shape[1] < 2:
        return out
    step = np.diff(time, axis=1)
    first, second = temperature[:, :-1], temperature[:, 1:]
    good = np.isfinite(step) & (step > 0) & np.isfinite(first) & np.isfinite(second)
    row, _ = np.nonzero(good)
    step, first, second = step[good], first[good], second[good]
    if not step.size:
        return out
    # A temperature far beyond the grid comes of a broken recording: parts beyond ten times its nodes tell nothing more.
    parts = np.clip(np.ceil(np.abs(second - first) / GRID_STEP_K), 1, 10 * GRID_K.size).astype(int)
    index = np.repeat(np.arange(step.size), parts)
    within = np.arange(parts.sum()) - np.repeat(np.cumsum(parts) - parts, parts)
    at = first[index] + (second - first)[index] * (within + 0.5) / parts[index]
    position = np.clip((at - GRID_K[0]) / GRID_STEP_K, 0, GRID_K.size - 1.000001)
    node = position.astype(int)
    share = position - node
    seconds = (step / parts)[index]
    np.add.at(out, (row[index], node), seconds * (1 - share))
    np.add.at(out, (row[index], node + 1), seconds * share)
    return out


def summed(stops: Exposure, groups: np.ndarray) -> Exposure:
    """Rows added up by groups [g, n] of weights (0 or 1); power and temperature become energy-weighted means."""
    energy = groups @ stops.energy_mj
    weight = np.where(energy > 0, energy, np.nan)
    return Exposure(
        energy_mj=energy,
        force_distance_n_m=groups @ stops.force_distance_n_m,
        power_w_mm2=(groups @ (stops.energy_mj * stops.power_w_mm2)) / weight,
        temperature_c=(groups @ (stops.energy_mj * stops.temperature_c)) / weight,
        braking_s=groups @ stops.braking_s,
        dwell_s=groups @ stops.dwell_s,
        nodes=of_nodes(stops.nodes, lambda one: summed(one, groups)),
    )


def joined(parts: Sequence[Exposure]) -> Exposure:
    """Rows of several exposures below each other; what one of them has no node for is in it as it is."""
    names = list(dict.fromkeys(name for part in parts for name in part.nodes))
    ends = {name: [part.nodes.get(name, (part, part)) for part in parts] for name in names}
    return Exposure(
        **{name: np.concatenate([getattr(part, name) for part in parts]) for name in COLUMNS},
        nodes={name: (joined(_bare(p[0] for p in e)), joined(_bare(p[1] for p in e))) for name, e in ends.items()},
    )


def _bare(parts: Iterable[Exposure]) -> list[Exposure]:
    return [replace(part, nodes={}) for part in parts]


def kept(stops: Exposure, inside: np.ndarray) -> Exposure:
    """The stops inside [n] alone."""
    columns = {name: getattr(stops, name)[inside] for name in COLUMNS}
    return Exposure(**columns, nodes=of_nodes(stops.nodes, lambda one: kept(one, inside)))


def of_nodes(nodes: Nodes, made: Callable[[Exposure], Exposure]) -> Nodes:
    """Nodes with something done to each."""
    return {name: (made(low), made(high)) for name, (low, high) in nodes.items()}


def without_dwell(stops: Exposure) -> Exposure:
    """The same stops with no time between them: what braking alone does."""
    return replace(stops, dwell_s=np.zeros_like(stops.dwell_s), nodes=of_nodes(stops.nodes, without_dwell))


def warmer(stops: Exposure, kelvin: float) -> Exposure:
    """The same stops with every temperature higher by `kelvin`; time beyond the grid stays at its ends."""
    whole, part = divmod(kelvin / GRID_STEP_K, 1.0)
    return replace(
        stops,
        nodes={},
        temperature_c=stops.temperature_c + kelvin,
        braking_s=_moved(stops.braking_s, int(whole), part),
        dwell_s=_moved(stops.dwell_s, int(whole), part),
    )


def _moved(seconds: Array, whole: int, part: float) -> Array:
    """Time [n, grid] moved up by `whole` nodes and a `part` of one."""
    out, last = np.zeros_like(seconds), GRID_K.size - 1
    for step, share in ((whole, 1 - part), (whole + 1, part)):
        for old, new in enumerate(np.clip(np.arange(GRID_K.size) + step, 0, last)):
            out[:, new] += seconds[:, old] * share
    return out


def interval_groups(run_number: ArrayLike, from_stop: ArrayLike, to_stop: ArrayLike) -> Array:
    """Weights [intervals, stops]: 1 where the stop ran after reading from_stop and up to reading to_stop."""
    run = np.asarray(run_number)[None, :]
    return ((run > np.asarray(from_stop)[:, None]) & (run <= np.asarray(to_stop)[:, None])).astype(float)
