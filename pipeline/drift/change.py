"""The change of friction of a test: detected on matched stops, dated, and measured phase by phase."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.constants import Array
from pipeline.drift.contrast import Levels, levels
from pipeline.drift.detection import Detection, Problem, detect, problem
from pipeline.drift.monitoring import Watch, departures
from pipeline.drift.noise import Repeatability, covariance, in_pieces, pooled_scatter, whitening
from pipeline.drift.onset import Onset, date
from pipeline.drift.series import Series
from pipeline.drift.shapes import Shapes, bedding, glazes, ramps, steps
from pipeline.method.drift import Drift

FINE_GROWTH = (15.0, 25.0, 40.0, 65.0, 110.0, np.inf)  # constants of a glaze tried when dating it
MOST_ONSETS = 120  # candidates of each family; beyond, every second, third ... stop is tried


class Change(NamedTuple):
    """A change: onset, direction, the cut (index of the first high-energy stop after it, or None).

    after_from is the stop number from which checks count as recovered (None: all after the cut), by_use whether it was
    use that brought the level back.
    """

    onset: Onset
    sign: float
    cut: int | None
    after_from: int | None = None
    by_use: bool = True


def before_use(s: Series) -> NDArray[np.bool_]:
    """Bedded stops before the first duty or fade block: what is known of the material before it is used."""
    early = np.cumsum(np.isin(s.purpose, ("duty", "fade"))) == 0
    return early & np.isin(s.purpose, ("map", "check")) & ~s.damp


def matched(s: Series, index: NDArray[np.int64], values: Array) -> tuple[Array, list[Array]]:
    """Values at the given stops less what their small departures from matched conditions explain."""
    effect, columns = departures(s, index, before_use(s))
    return values[index] - effect, columns


def candidate_shapes(s: Series, index: NDArray[np.int64], *, with_bedding: bool = True) -> Shapes:
    """Every shape and onset tried on the watched stops."""
    stop = s.stop[index]
    inner = _thinned(stop[2:-1] if len(stop) > 5 else stop[1:])
    shapes = steps(stop, inner).joined(ramps(stop, np.r_[stop[0], inner]))
    exposed = _thinned(s.stop[long_exposure(s) & (s.stop < stop[-1])])
    if len(exposed):
        shapes = shapes.joined(glazes(stop, s.stop, s.low, s.high, exposed))
    start = bedding_start(s)
    if with_bedding and start is not None:
        shapes = shapes.joined(bedding(stop, start))
    return shapes


def bedding_start(s: Series) -> int | None:
    """First stop after the bedding block; the first of all where there is none."""
    beds = np.flatnonzero(s.purpose == "bedding")
    after = beds[-1] + 1 if len(beds) and beds[0] < len(s) / 2 else 0
    return int(s.stop[after]) if after < len(s) else None


def _thinned(values: NDArray[np.int64], most: int = MOST_ONSETS) -> NDArray[np.int64]:
    every = -(-len(values) // most) if len(values) else 1
    return values[::every]


def long_exposure(s: Series) -> NDArray[np.bool_]:
    """Low-energy stops of blocks that have six of them or more: a few cold stops of a map glaze nothing."""
    count = np.bincount(s.block, weights=s.low) if len(s) else np.zeros(0)
    return (s.low > 0) & (count[s.block] >= 6)


class Search(NamedTuple):
    """A detection with the problem and shapes it was made on."""

    problem: Problem
    shapes: Shapes
    found: Detection


def search(
    s: Series, values: Array, w: Watch, noise: Repeatability, settings: Drift, extra: Array | None = None, **kinds: bool
) -> Search:
    """Test `values` (n of the series) at the watched stops for any change."""
    index = w.deciding
    adjusted, columns = matched(s, index, values)
    spread = spreads(s, index, noise)
    p = problem(s.stop[index], adjusted, s.group[index], s.block[index], w.baseline, spread, noise, columns)
    shapes = candidate_shapes(s, index, **kinds)
    return Search(p, shapes, detect(p, shapes, noise, spread, s.block[index], settings, extra))


def spreads(s: Series, index: NDArray[np.int64], noise: Repeatability) -> Array:
    """Standard deviation of each stop: stops of use scatter more than checks."""
    return np.where(s.purpose[index] == "check", 1.0, noise.exposed) * noise.sigma


def first_clearing(s: Series, after: int, settings: Drift) -> int | None:
    """Index of the first run of high-energy stops beginning after the stop number `after`; other stops may lie
    between.
    """
    run_start, count = None, 0
    for i in np.flatnonzero(s.stop > after):
        if s.high[i]:
            run_start = i if count == 0 else run_start
            count += 1
            if count >= settings.least_clearing:
                return int(run_start) if run_start is not None else None
        elif s.purpose[i] == "check" or s.low[i]:
            count = 0
    return None


def date_change(
    s: Series, values: Array, w: Watch, found: Search, noise: Repeatability, settings: Drift, cut: int | None = None
) -> Change:
    """Onset and family of the change that `found` saw, from checks and use together, up to the cut.

    Without a `cut` given it is the first high-energy use after the change was seen.
    """
    best = found.found.best
    sign = float(np.sign(found.found.amplitude[best])) or -1.0
    seen = _first_seen(s, w, found, best)
    cut = first_clearing(s, seen, settings) if cut is None else cut
    last = s.stop[cut] if cut is not None else s.stop[-1] + 1
    index = np.sort(np.r_[w.deciding, w.use])
    index = index[s.stop[index] < last]
    adjusted, columns = matched(s, index, values)
    stop = s.stop[index]
    inner = _thinned(stop[2:-1] if len(stop) > 5 else stop[1:], 400)
    shapes = steps(stop, inner).joined(ramps(stop, inner))
    exposed = s.stop[long_exposure(s) & (s.stop < min(last, stop[-1]))]
    likely = use_begins(s, settings)
    if len(exposed):
        exposed = np.union1d(_thinned(exposed), likely[likely < stop[-1]])
        shapes = shapes.joined(glazes(stop, s.stop, s.low, s.high, exposed, growth=FINE_GROWTH, clearing=(np.inf,)))
    design = (s.group[index][:, None] == np.unique(s.group[index])[None, :]).astype(float)
    whiten = whitening(
        covariance(stop, s.block[index], spreads(s, index, noise), noise.rho, noise.block_sigma, columns)
    )
    checks = np.isin(index, w.deciding)
    onset = date(adjusted, design, whiten, stop, shapes, checks, sign, likely, settings.confidence)
    return Change(onset, sign, cut)


def _first_seen(s: Series, w: Watch, found: Search, best: int) -> int:
    """Stop number of the first watched stop by which half of the change has come."""
    column = np.abs(found.shapes.columns[:, best])
    return int(s.stop[w.deciding][np.argmax(column >= 0.5 * column.max())])


def use_begins(s: Series, settings: Drift) -> NDArray[np.int64]:
    """Stops at which a block of low-energy use long enough to count begins."""
    begins, hard = [], True
    for b in np.unique(s.block):
        own = np.flatnonzero(s.block == b)
        if s.high[own].sum() >= settings.least_clearing:
            hard = True
        enough = s.low[own].sum() >= min(settings.least_exposure, 6)
        if enough and s.purpose[own[0]] == "duty" and hard:
            begins.append(int(s.stop[own[np.argmax(s.low[own] > 0)]]))
            hard = False
    return np.array(begins, np.int64)


def phases(s: Series, index: NDArray[np.int64], change: Change, settings: Drift) -> NDArray[np.str_]:
    """Name of each watched stop's phase: before, fallen, after, or a block's own.

    Fallen are the last checks before recovery: the last block, and those before it from which no use parts it. After
    are all checks that follow the high-energy use until low-energy use begins again. Only groups with stops before the
    onset can be fallen: without a level before there is no loss.
    """
    onset = change.onset.stop
    stop = s.stop[index]
    cut = s.stop[change.cut] if change.cut is not None else None
    piece = pieces(s, index, onset)
    phase = np.array([f"block {p}" for p in piece], dtype="U16")
    before = stop < onset
    if not any(np.sum(before & (s.group[index] == g)) >= 3 for g in np.unique(s.group[index])):
        before = np.arange(len(index)) < 5  # the loss began with the first stops: they are the best there is
    phase[before] = "before"
    known = np.isin(s.group[index], np.unique(s.group[index][before]))
    during = ~before & known & (stop < cut if cut is not None else True)
    if during.any():
        used = np.cumsum(s.low + s.high)[index]
        last = np.flatnonzero(during)[-1]
        alike = (used >= used[last] - 1) & (s.group[index] == s.group[index[last]])
        phase[during & ((piece == piece[last]) | alike)] = "fallen"
    if cut is not None:
        after = stop > max(cut, (change.after_from or 0) - 1)
        again = [b for b in use_begins(s, settings) if b > cut]
        if again:
            after &= stop < again[0]
        phase[after] = "after"
    return phase


def pieces(s: Series, index: NDArray[np.int64], onset: int) -> NDArray[np.int64]:
    """Blocks, long ones cut into pieces of about eight stops, and any block cut at the onset."""
    piece = np.zeros(len(index), np.int64)
    number = 0
    for b in np.unique(s.block[index]):
        for side in (True, False):
            own = np.flatnonzero((s.block[index] == b) & ((s.stop[index] < onset) == side))
            if not len(own):
                continue
            for part in np.array_split(own, max(1, len(own) // 8) if len(own) > 12 else 1):
                piece[part] = number
                number += 1
    return piece


def phase_levels(
    s: Series, index: NDArray[np.int64], values: Array, phase: NDArray[np.str_], noise: Repeatability
) -> Levels | None:
    """Levels of the phases in friction."""
    adjusted, columns = matched(s, index, values)
    matrix = covariance(s.stop[index], s.block[index], spreads(s, index, noise), noise.rho, noise.block_sigma, columns)
    return levels(adjusted, s.group[index], phase, matrix, noise.dof)


def channel_noise(
    s: Series, index: NDArray[np.int64], values: Array, block_sigma: float, floor: float
) -> Repeatability | None:
    """Scatter of another channel at the watched stops, from the test itself; None where it is missing."""
    runs = [values[index][s.block[index] == b] for b in np.unique(s.block[index])]
    runs = [r[np.isfinite(r)] for r in runs]
    own = pooled_scatter(in_pieces(runs), prior=(0.1, 0.1))
    if own is None:
        return None
    return Repeatability(max(own.sigma, floor), own.rho, own.u_rho, block_sigma, 1.0, float(own.dof))


def channel_levels(
    s: Series, index: NDArray[np.int64], values: Array, phase: NDArray[np.str_], block_sigma: float, floor: float
) -> Levels | None:
    """Levels of the phases in another channel."""
    noise = channel_noise(s, index, values, block_sigma, floor)
    if noise is None:
        return None
    matrix = covariance(s.stop[index], s.block[index], np.full(len(index), noise.sigma), noise.rho, block_sigma)
    return levels(values[index], s.group[index], phase, matrix, noise.dof)
