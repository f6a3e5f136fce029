"""Our own statistics beside the libraries', where both can be asked.

    python -m tests.studies.libraries [--share 1.0] [--seed 1] [--write]

Shares of intervals that hold a known truth, errors of curves, processor time that loading costs. With --write the figures go to
docs/libraries.md, beside the list of what is a library's and what is ours (`libraries_page`).
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import warnings
from pathlib import Path
from typing import NamedTuple

import numpy as np
import polars as pl
from scipy import stats

from pipeline.batches import equivalence, mixed
from pipeline.batches.equivalence import Estimate
from pipeline.conditioning.offsets import robust_fit
from pipeline.drift.noise import pooled_scatter
from pipeline.drift.trend import monotone_trend
from pipeline.friction.map import fit_map
from pipeline.method.friction import Friction
from tests.friction.makers import E0, P0, W0, one_test, scatter, some_law

SPECIMEN_SD, STOP_SD = 2.0, 3.0  # per cent of mu
DRAWS = 600
ZERO_C = 273.15
LOADED = ("polars", "scipy.special", "scipy.optimize", "scipy.stats", "statsmodels.regression.linear_model")


class Held(NamedTuple):
    """Share of 95 % intervals that hold the truth, by our method and the library's; median half-width of each."""

    ours: float
    theirs: float
    our_width: float
    their_width: float
    refused: int  # draws in which the library gave no answer


def differences_held(*, specimens: int, batches: int, draws: int, seed: int) -> Held:
    """Intervals of the difference of two batches, true difference zero: our fit of specimens' means against MixedLM
    (random intercept per specimen, REML) on the single stops, 5 to 30 of them a specimen.
    """
    from statsmodels.regression.mixed_linear_model import MixedLM

    rng = np.random.default_rng(seed)
    batch = np.repeat(np.arange(batches), specimens)
    found = []
    for _ in range(draws):
        counts = rng.integers(5, 31, batch.size)
        of_stop = np.repeat(np.arange(batch.size), counts)
        y = rng.normal(0, SPECIMEN_SD, batch.size)[of_stop] + rng.normal(0, STOP_SD, of_stop.size)
        means = np.bincount(of_stop, y) / counts
        within = float(((y - means[of_stop]) ** 2).sum()) / (y.size - batch.size)
        fitted = mixed.fit(means, batch.tolist(), within / counts)
        ours = equivalence.interval(Estimate(*mixed.contrast(fitted, 1, 0), fitted.df))
        x = np.column_stack([np.ones(y.size), *(batch[of_stop] == b for b in range(1, batches))])
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a variance at its bound of zero, which is an answer here
            try:
                theirs = MixedLM(y, x.astype(float), groups=of_stop).fit().conf_int()[1]
            except np.linalg.LinAlgError:  # no answer: an interval that holds nothing
                theirs = (np.nan, np.nan)
        found.append((*ours, *theirs))
    return held(np.array(found), 0.0)


def slopes_held(*, points: int, wild: float, draws: int, seed: int) -> Held:
    """Intervals of a straight line's slope by Huber's weights, a share `wild` of the points scattering ten times as much:
    ours against RLM (HuberT of the same bound), Student's t on points - 2 degrees of freedom.
    """
    from statsmodels.robust.norms import HuberT
    from statsmodels.robust.robust_linear_model import RLM

    rng, t = np.random.default_rng(seed), stats.t.ppf(0.975, points - 2)
    found = []
    for _ in range(draws):
        x = np.column_stack([np.ones(points), np.sort(rng.uniform(0, 1, points))])
        y = x @ [1.0, 2.0] + rng.normal(size=points) * np.where(rng.random(points) < wild, 10, 1)
        c, covariance = robust_fit(x, y, np.ones(points))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            other = RLM(y, x, M=HuberT(1.5)).fit()
        reach, their_reach = t * np.sqrt(covariance[1, 1]), t * other.bse[1]
        found.append((c[1] - reach, c[1] + reach, other.params[1] - their_reach, other.params[1] + their_reach))
    return held(np.array(found), 2.0)


def trends_held(*, points: int, correlation: float, draws: int, seed: int) -> Held:
    """Sen's intervals of a trend, true slope zero, neighbours alike as given: ours, widened, against theilslopes."""
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(draws):
        y = scatter(rng, points, correlation)
        ours, theirs = monotone_trend(y, correlated=True), stats.theilslopes(y, np.arange(points), 0.95)
        found.append((ours.low, ours.high, theirs.low_slope, theirs.high_slope))
    return held(np.array(found), 0.0)


def held(ends: np.ndarray, truth: float) -> Held:
    """From (draws, 4): our low and high, the library's low and high; a NaN end holds nothing."""
    inside = [np.mean((ends[:, i] <= truth) & (truth <= ends[:, i + 1])) for i in (0, 2)]
    width = [np.nanmedian(ends[:, i + 1] - ends[:, i]) / 2 for i in (0, 2)]
    refused = int(np.isnan(ends[:, 2:]).any(axis=1).sum())
    return Held(float(inside[0]), float(inside[1]), float(width[0]), float(width[1]), refused)


def correlations(*, truth: float, draws: int, seed: int) -> tuple[float, float]:
    """Mean autocorrelation found in eight blocks of eight stops, each about its own level: ours, and the mean of acf's."""
    from statsmodels.tsa.stattools import acf

    rng = np.random.default_rng(seed)
    found = []
    for _ in range(draws):
        blocks = [scatter(rng, 8, truth) for _ in range(8)]
        ours = pooled_scatter(blocks)
        found.append((ours.rho if ours else np.nan, np.mean([acf(b, nlags=1, fft=False)[1] for b in blocks])))
    ours_mean, theirs_mean = np.nanmean(found, axis=0)
    return float(ours_mean), float(theirs_mean)


def curve_errors(*, draws: int, seed: int) -> dict[str, float]:
    """Root mean square relative error of the curve over temperature, from stops at one pressure, speed and energy: the
    map's, and lowess of three spans.
    """
    from statsmodels.nonparametric.smoothers_lowess import lowess

    rng = np.random.default_rng(seed)
    temperatures = (60, 100, 140, 160, 180, 200, 250, 300, 300, 300, 400, 500, 600)
    squares: dict[str, list[np.ndarray]] = {}
    for _ in range(draws):
        law = some_law(rng)
        t = np.repeat(temperatures, 3) + rng.normal(0, 5, 3 * len(temperatures))
        same = {"pressure": P0, "speed": W0, "energy": E0}
        plan = pl.DataFrame({"temperature": t, **same}).with_columns(block=pl.lit("line"), purpose=pl.lit("map"))
        stops = one_test(law, rng, plan=plan)
        grid = np.linspace(80, 580, 101)
        true, mu = law.mu(grid), stops["mu"].to_numpy()
        found = {"the map": fit_map(stops, Friction()).predict(grid + ZERO_C).mu}
        for span in (0.15, 0.3, 2 / 3):
            found[f"lowess, span {span:.2f}"] = lowess(mu, t, frac=span, xvals=grid)
        for name, curve in found.items():
            squares.setdefault(name, []).append(np.square(curve / true - 1))
    return {name: float(np.sqrt(np.nanmean(some))) for name, some in squares.items()}


def seconds(module: str | None) -> float:
    """Processor seconds of an interpreter that loads the module and ends; the least of three."""
    script = (
        f"import resource{f', {module}' if module else ''}\n"
        "use = resource.getrusage(resource.RUSAGE_SELF)\nprint(use.ru_utime + use.ru_stime)"
    )
    runs = [
        subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True) for _ in range(3)
    ]
    return min(float(run.stdout) for run in runs)


def main() -> None:
    from tests.studies.libraries_page import text

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--share", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    page = text(max(round(DRAWS * given.share), 4), given.seed)
    if given.write:
        (Path(__file__).parents[2] / "docs" / "libraries.md").write_text(page, encoding="utf-8")
    else:
        print(page)


if __name__ == "__main__":
    main()
