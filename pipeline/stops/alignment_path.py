"""The cheapest way through two sequences, in bounded memory.

For stops i and rows of the schedule j, total(i, j) is the least cost of laying the first i stops beside the first j
rows:

    total(i + 1, j + 1) = least of  total(i, j) + match(i, j)
                                    total(i, j + 1) + skip(i, j + 1)
                                    total(i + 1, j) + lost(i + 1)

A test of ten thousand stops has a hundred million such cells; kept whole, with the costs that they come from, they took
several GB. Three things keep memory and time small, and none changes the answer:

- Costs are worked out once for rows of the schedule that are alike, which most are.
- Rows of totals are made in blocks and only the first of each is kept; on the way back a block is made again
  (checkpoints).
- Only a band about the diagonal is made. A stop costs at least what its cheapest row or skip costs, so a path of cost
  C has at most D = (C - sum of those) / (cheapest missing row) missing rows, and never lies further than D from the
  diagonal. The cost found within some band gives D; where that is wider, the band is made once more with it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from pipeline.stops.alignment_costs import SKIP, end_cost, start_cost

ABORT_REPEATED = 1.2  # an aborted attempt at the row that follows
ABORT_ALONE = 1.8  # an aborted attempt that stands for its row
REPEAT = 2.0  # a further run of the row before
UNREAD = 0.4  # a recording that cannot be read, at any row

BLOCK_CELLS = 1_000_000  # of one block's matrices; eight of them are held at a time
FIRST_BAND = 100  # columns to each side of the diagonal that are made at first
NEAR = 1e-9

Columns = dict[str, np.ndarray]
Move = tuple[str, int, int]


class Costs(NamedTuple):
    """Costs of some stops against the u different rows of the schedule (b, u + 1), and `broken`: the stop broke off
    early.

    The last column stands for no row, where nothing can be attempted or repeated.
    """

    match: np.ndarray
    alone: np.ndarray
    attempt: np.ndarray
    repeat: np.ndarray
    broken: np.ndarray
    unread: np.ndarray


class Block(NamedTuple):
    """Costs of some stops at the columns first_column to last (c of them): match, alone, broken of the row that ends
    at each column but the first (b, c - 1); attempt (an aborted run of the row that comes next), repeat (a further
    run of the row before) and skip, the least of both and of an extra stop (b, c).
    """

    match: np.ndarray
    alone: np.ndarray
    attempt: np.ndarray
    repeat: np.ndarray
    skip: np.ndarray
    broken: np.ndarray
    first_row: int
    first_column: int


class Problem(NamedTuple):
    """n measured stops and k wanted rows: `kinds` those that differ, `at` (k,) which of them each is."""

    m: Columns
    kinds: Columns
    at: np.ndarray
    lost: np.ndarray
    scales: dict[str, float]
    held: Costs | None = None  # of all stops, where they are few enough

    @property
    def shape(self) -> tuple[int, int]:
        return len(self.m["speed_start"]), len(self.at)


def path(m: Columns, t: Columns, lost: np.ndarray, scales: dict[str, float]) -> tuple[float, list[Move]]:
    """Least cost and its moves, in order: ("matched" | "aborted", i, j), ("missing", i, j), ("extra" | "repeat" |
    "attempt", i, j).

    m, t: the columns of the n measured stops and the k wanted rows; lost (n + 1,): cost of a missing row before each
    stop. `attempt` is an aborted run of row j that a later stop stands for; `repeat` a further run of row j - 1.
    m: channel -> (n,), t: channel -> (k,), SI; scales: measured over wanted by channel.
    """
    problem = Problem(m, *alike(t), lost, scales)
    n, k = problem.shape
    if n * (len(problem.kinds["kind"]) + 1) <= BLOCK_CELLS:
        problem = problem._replace(held=_costs(problem, 0, n))
    least = _least(problem)
    width = max(k - n, 0) + FIRST_BAND
    cost, moves = _within(problem, width)
    # A hair more than the bound says, for its sums are rounded.
    needed = int((cost - least + 1e-6 * (1 + cost)) / lost.min()) + 1
    if width < min(needed, k):
        cost, moves = _within(problem, min(needed, k))
    return cost, moves


def _least(problem: Problem) -> float:
    """What the stops cost at least, each matched with its cheapest row or skipped."""
    n, _ = problem.shape
    rows = max(1, BLOCK_CELLS // (len(problem.kinds["kind"]) + 1))
    least = 0.0
    for first in range(0, n, rows):
        costs = _costs_of(problem, first, first + rows)
        cheapest = np.minimum(np.minimum(costs.match, costs.attempt), costs.repeat).min(axis=1)
        least += float(np.where(costs.unread, UNREAD, np.minimum(cheapest, SKIP)).sum())
    return least


def _within(problem: Problem, width: int) -> tuple[float, list[Move]]:
    """Least cost and moves of the paths that go at most `width` columns beyond the diagonal, and as far as that below
    it.
    """
    n, k = problem.shape
    rows = int(np.ceil(np.sqrt(n)))
    columns = 2 * width + abs(n - k) + rows
    rows = max(1, min(rows, BLOCK_CELLS // max(min(columns, k), len(problem.kinds["kind"]))))
    windows = [(max(0, first - width - max(n - k, 0)), min(k, first + rows + width)) for first in range(0, n, rows)]
    total = np.arange(windows[0][1] + 1) * problem.lost[0]
    kept, blocks = [], list[Block | None]()
    for part, (low, high) in enumerate(windows):
        if part:
            before = windows[part - 1]
            total = np.r_[total[low - before[0] :], np.full(high - before[1], np.inf)]
        kept.append(total)
        block = _block(problem, part * rows, rows, low, high)
        *_, total = _totals(total, block, problem.lost)
        blocks.append(block if n * (high - low) <= BLOCK_CELLS else None)
    moves: list[Move] = []
    j = k
    for part in range(len(windows) - 1, -1, -1):
        block = blocks[part] or _block(problem, part * rows, rows, *windows[part])
        totals = np.array([kept[part], *_totals(kept[part], block, problem.lost)])
        j = _back(totals, block, j, problem.lost, moves)
    moves += [("missing", 0, row) for row in range(j - 1, -1, -1)]
    return float(total[-1]), moves[::-1]


def alike(t: Columns) -> tuple[Columns, np.ndarray]:
    """The wanted rows that differ, and for each row which of them it is (k,)."""
    found: dict[tuple[object, ...], int] = {}
    names = list(t)
    cells = zip(*([None if v != v else v for v in t[name].tolist()] for name in names), strict=True)
    at = np.array([found.setdefault(row, len(found)) for row in cells], dtype=int)
    firsts = np.unique(at, return_index=True)[1]
    return {name: t[name][firsts] for name in names}, at


def _costs_of(problem: Problem, first: int, last: int) -> Costs:
    """Of some stops, out of those of all where they are held."""
    if problem.held is None:
        return _costs(problem, first, last)
    return Costs(*(values[first:last] for values in problem.held))


def _costs(problem: Problem, first: int, last: int) -> Costs:
    part = {name: values[first:last] for name, values in problem.m.items()}
    begin = start_cost(part, problem.kinds, problem.scales)
    finish, short = end_cost(part, problem.kinds, problem.scales)
    unread = ~np.isfinite(part["speed_start"])
    alone = begin + ABORT_ALONE
    match = np.where(short, np.minimum(begin + finish, alone), begin + finish)
    match[unread] = UNREAD
    attempt, repeat = np.where(short, begin + ABORT_REPEATED, np.inf), begin + finish + REPEAT
    none = ((0, 0), (0, 1))
    match, alone, attempt, repeat = (np.pad(v, none, constant_values=np.inf) for v in (match, alone, attempt, repeat))
    return Costs(match, alone, attempt, repeat, np.pad(short & ~unread[:, None], none), unread)


def _block(problem: Problem, first: int, rows: int, low: int, high: int) -> Block:
    costs = _costs_of(problem, first, first + rows)
    at, none = problem.at, len(problem.kinds["kind"])
    attempt = costs.attempt[:, np.r_[at, none][low : high + 1]]
    repeat = costs.repeat[:, np.r_[none, at][low : high + 1]]
    skip = np.minimum(np.minimum(attempt, repeat), SKIP)
    skip[costs.unread] = SKIP
    match, alone, broken = (values[:, at[low:high]] for values in (costs.match, costs.alone, costs.broken))
    return Block(match, alone, attempt, repeat, skip, broken, first, low)


def _totals(total: np.ndarray, block: Block, lost: np.ndarray) -> Iterator[np.ndarray]:
    """The rows of totals after each stop of the block."""
    steps = np.arange(block.first_column, block.first_column + total.size)
    for row, (match, skip) in enumerate(zip(block.match, block.skip, strict=True), start=block.first_row + 1):
        reach = total + skip
        reach[1:] = np.minimum(reach[1:], total[:-1] + match)
        walked = steps * lost[row]
        total = np.minimum.accumulate(reach - walked) + walked
        yield total


def _back(totals: np.ndarray, block: Block, j: int, lost: np.ndarray, moves: list[Move]) -> int:
    """The moves of the least cost through a block from its end at column j; returns the column at its start.

    Ties go to missing rows and skipped stops first, which from the end puts them as late as can be: in a block of
    like stops the last one is the missing or the extra one.
    """
    first, low = block.first_row, block.first_column
    i, j = len(totals) - 1, j - low
    while i > 0:
        if j > 0 and totals[i, j - 1] + lost[first + i] <= totals[i, j] + NEAR:
            j -= 1
            moves.append(("missing", first + i, low + j))
        elif totals[i - 1, j] + block.skip[i - 1, j] <= totals[i, j] + NEAR:
            i -= 1
            name = "extra"
            if block.attempt[i, j] <= block.skip[i, j] + NEAR:
                name = "attempt"
            elif block.repeat[i, j] <= block.skip[i, j] + NEAR:
                name = "repeat"
            moves.append((name, first + i, low + j - (name == "repeat")))
        else:
            i, j = i - 1, j - 1
            alone = block.broken[i, j] and block.alone[i, j] <= block.match[i, j] + NEAR
            moves.append(("aborted" if alone else "matched", first + i, low + j))
    return low + j
