"""The alignment's path made block by block against the same with whole matrices, and its memory."""

import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.stops import alignment_path
from pipeline.stops.alignment_costs import SKIP, end_cost, missing_cost, start_cost
from pipeline.stops.alignment_path import ABORT_ALONE, ABORT_REPEATED, REPEAT, UNREAD, path

NAMES = ("speed_start", "speed_end", "pressure", "torque", "temperature_initial", "duration")


def whole_matrix(m, t, lost, scales):
    """Least cost and its moves, in order: ("matched" | "aborted", i, j), ("missing", i, j), ("extra" |
    "repeat" | "attempt", i, j).

    `attempt` is an aborted run of row j that a later stop stands for; `repeat` a further run of row j - 1.
    """
    begin, (finish, short) = start_cost(m, t, scales), end_cost(m, t, scales)
    unread = ~np.isfinite(m["speed_start"])
    alone = begin + ABORT_ALONE
    match = np.where(short, np.minimum(begin + finish, alone), begin + finish)
    match[unread] = UNREAD
    n, k = match.shape
    attempt = np.full((n, k + 1), np.inf)
    attempt[:, :k] = np.where(short, begin + ABORT_REPEATED, np.inf)
    repeat = np.full((n, k + 1), np.inf)
    repeat[:, 1:] = begin + finish + REPEAT
    skip = np.minimum(np.minimum(attempt, repeat), SKIP)
    skip[unread] = SKIP
    steps = np.arange(k + 1)
    total = np.empty((n + 1, k + 1))
    total[0] = steps * lost[0]
    for i in range(n):
        reach = total[i] + skip[i]
        reach[1:] = np.minimum(reach[1:], total[i, :-1] + match[i])
        total[i + 1] = np.minimum.accumulate(reach - steps * lost[i + 1]) + steps * lost[i + 1]
    return float(total[n, k]), _traced(total, match, attempt, repeat, skip, short & ~unread[:, None], alone, lost)


def _traced(
    total: np.ndarray, match: np.ndarray, attempt: np.ndarray, repeat: np.ndarray, skip: np.ndarray,
    short: np.ndarray, alone: np.ndarray, lost: np.ndarray,
) -> list[tuple[str, int, int]]:  # fmt: skip
    """The moves of the least cost, from the end backwards.

    Ties go to missing rows and skipped stops first, which from the end puts them as late as can be: in a
    block of like stops the last one is the missing or the extra one.
    """
    moves: list[tuple[str, int, int]] = []
    i, j = total.shape[0] - 1, total.shape[1] - 1
    near = 1e-9
    while i > 0 or j > 0:
        if j > 0 and total[i, j - 1] + lost[i] <= total[i, j] + near:
            j -= 1
            moves.append(("missing", i, j))
        elif i > 0 and total[i - 1, j] + skip[i - 1, j] <= total[i, j] + near:
            i -= 1
            name = "extra"
            if attempt[i, j] <= skip[i, j] + near:
                name = "attempt"
            elif repeat[i, j] <= skip[i, j] + near:
                name = "repeat"
            moves.append((name, i, j - 1 if name == "repeat" else j))
        else:
            i, j = i - 1, j - 1
            broken = short[i, j] and alone[i, j] <= match[i, j] + near
            moves.append(("aborted" if broken else "matched", i, j))
    return moves[::-1]


def problem(rng, n, k, kinds, *, harmless=False):
    """Columns of n stops and k wanted rows of a few kinds, in runs, with gaps, drags and unread stops among them."""
    levels = {"speed_start": (100, 190), "speed_end": (0, 90), "pressure": (2e6, 6e6), "torque": (300, 1500),
              "temperature_initial": (350, 800), "duration": (2, 12)}  # fmt: skip
    table = {name: np.round(rng.uniform(*levels[name], kinds), 3) for name in NAMES}
    kind = np.sort(rng.integers(0, kinds, k)) if rng.random() < 0.7 else rng.integers(0, kinds, k)
    t = {name: values[kind] for name, values in table.items()}
    t["kind"] = np.where(rng.random(kinds) < 0.2, "drag", "snub")[kind].astype(object)
    t["by_torque"] = (rng.random(kinds) < 0.3)[kind]
    t["torque"][~t["by_torque"]] = np.nan
    at = np.clip(np.sort(rng.integers(0, k, n)) if rng.random() < 0.5 else np.arange(n) * k // n, 0, k - 1)
    m = {name: t[name][at] * (1 + 0.02 * rng.standard_normal(n)) for name in NAMES}
    m["kind"] = t["kind"][at].copy()
    if not harmless:
        cut = rng.random(n) < 0.15
        m["speed_end"][cut] = m["speed_start"][cut] * 0.9
        m["duration"][cut] *= 0.3
        for name in NAMES:
            m[name][rng.random(n) < 0.05] = np.nan
        m["kind"][rng.random(n) < 0.1] = None
        unread = rng.random(n) < 0.05
        for name in NAMES:
            m[name][unread] = np.nan
    gaps = (rng.random(n + 1) < 0.1).astype(int)
    return m, t, missing_cost(gaps, rng.choice([40.0, 90.0], n), int(rng.integers(0, 4)))


@settings(deadline=None, max_examples=100)
@given(
    st.integers(0, 2**32),
    st.integers(1, 45),
    st.integers(1, 45),
    st.integers(1, 12),
    st.sampled_from([1, 60, 10**6]),
    st.sampled_from([1, 5, 100]),
)
def test_the_path_in_blocks_is_that_of_the_whole_matrix(seed, n, k, kinds, cells, band):
    rng = np.random.default_rng(seed)
    m, t, lost = problem(rng, n, k, kinds)
    scales = {"pressure": 1.4, "speed": 0.9} if seed % 3 == 0 else {}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(alignment_path, "BLOCK_CELLS", cells)
        patch.setattr(alignment_path, "FIRST_BAND", band)
        cost, moves = path(m, t, lost, scales)
    expected, expected_moves = whole_matrix(m, t, lost, scales)
    assert cost == expected
    assert moves == expected_moves


@pytest.mark.parametrize("gone", [0, 30, 300])
def test_the_band_is_as_wide_as_the_answer_needs(gone):
    """Stops missing in one piece, and as many extra ones at the end, push the path far from the diagonal."""
    m, t, lost = problem(np.random.default_rng(5), 500, 500, 40, harmless=True)
    kept = np.r_[0:100, 100 + gone : 500, np.full(gone, 499)]
    m = {name: values[kept] for name, values in m.items()}
    assert path(m, t, lost, {}) == whole_matrix(m, t, lost, {})


def test_memory_grows_with_the_stops_and_not_with_their_square():
    peaks = []
    for n in (500, 4000):
        m, t, lost = problem(np.random.default_rng(1), n, n, 25, harmless=True)
        tracemalloc.start()
        path(m, t, lost, {})
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    # Eight times the stops; whole matrices took 64 times as much, more than 1 GB.
    assert peaks[1] < 16 * peaks[0]
    assert peaks[1] < 40e6
