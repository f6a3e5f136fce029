"""Which stops of a test are alike: blocks of one purpose whose conditions agree within the method's tolerances."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.constants import Array
from pipeline.method.drift import Drift

MONITORED = ("check", "duty", "map", "drag")


def finite_median(values: Array) -> float:
    """Median of the finite values; NaN without any."""
    values = values[np.isfinite(values)]
    return float(np.median(values)) if len(values) else np.nan


class Head(NamedTuple):
    """What a block must share to join a group: purpose, kind, whether pressure is free; medians of its conditions."""

    words: tuple[str, str, bool]
    centre: Array


def matched_groups(
    block: NDArray[np.int64],
    text: dict[str, NDArray[np.str_]],
    conditions: Array,
    usable: NDArray[np.bool_],
    settings: Drift,
) -> NDArray[np.int64]:
    """Group of matched conditions of each stop, -1 where it has none.

    `conditions` (n, 5): ln pressure (wanted where known), ln start speed, end over start speed, initial temperature,
    wanted one. Blocks of one purpose join a group when their medians agree within the method's tolerances; a stop
    whose own initial temperature is off its group's by more than the tolerance belongs to none. A rig that holds
    torque or deceleration lets the pressure follow friction, so pressure does not count there.
    """
    group = np.full(len(block), -1, np.int64)
    heads: list[Head] = []
    temperature = conditions[:, 3]
    for b in np.unique(block):
        own = (block == b) & usable & np.isin(text["purpose"], MONITORED)
        if not own.any():
            continue
        first = np.flatnonzero(own)[0]
        free = text["control"][first] not in ("pressure", "")
        words = (str(text["purpose"][first]), str(text["kind"][first]), free)
        head = Head(words, np.array([finite_median(column) for column in conditions[own].T]))
        index = next((i for i, other in enumerate(heads) if _match(head, other, settings)), None)
        if index is None:
            index = len(heads)
            heads.append(head)
        near = np.abs(temperature - heads[index].centre[3]) <= settings.matched_temperature
        group[own & (near | ~np.isfinite(temperature))] = index
    return group


def _match(a: Head, b: Head, settings: Drift) -> bool:
    """Whether two blocks are alike; with one wanted temperature the measured ones may lie further apart than
    without.
    """
    if a.words != b.words:
        return False
    apart = np.nan_to_num(np.abs(a.centre - b.centre), nan=0.0)
    same_wanted = bool(np.isfinite(a.centre[4] - b.centre[4])) and apart[4] <= 1.0
    limits = (
        np.inf if a.words[2] else np.log1p(settings.matched_pressure),
        np.log1p(settings.matched_speed),
        0.1,
        settings.matched_temperature * (0.8 if same_wanted else 0.5),
    )
    return bool(np.all(apart[:4] <= limits))
