"""`stopsheet repeatability`: scatter of matched stops pooled over a compound's tests -> repeatability.json.

One test's few checks say too little about the scatter, and limits set from a scatter estimated from 40 stops raise
several times the alarms they promise; so sigma and the autocorrelation are pooled over all tests of the compound. Each
block keeps its own level (a glazed or drifting test does not inflate the scatter), stops of use keep a trend as well.
The shift from block to block is taken from the checks before any use, and shrunk towards a small value while few.
"""

from pathlib import Path

import numpy as np

from pipeline.constants import Array
from pipeline.drift import noise
from pipeline.drift.noise import pooled_scatter
from pipeline.drift.series import Series, series
from pipeline.method import drift as settings_file
from pipeline.method import from_stage_settings
from pipeline.results import read_table
from pipeline.results.model import fields, read, stamp, write
from pipeline.results.repeatability import Pooled, Repeatability
from pipeline.stops.copies import copies, counted_no_more

BLOCK_SIGMA, BLOCK_DOF = 0.004, 6.0  # what the block shift is shrunk towards, and how firmly
ENOUGH = 100  # matched stops from which the pooled scatter is trusted


def run(*, compound: str, archive: Path, tests: list[str], results: Path, settings: str, into: Path) -> None:
    """Pool the stops tables of `tests` under `results` (a method's folder); write into/repeatability.json."""
    method = from_stage_settings(settings)
    paths = {test: results / "tests" / test / "stops.parquet" for test in sorted(tests)}
    frames = {test: frame for test, path in paths.items() if (frame := read_table(path)).height}
    once = counted_no_more(copies(frames))
    all_series = {}
    for test, frame in frames.items():
        if test not in once:
            all_series[test] = series(frame, method.drift, use_suspect=method.friction.use_suspect)
    head = {
        "compound": compound,
        "method": results.name,
        "stamp": stamp("repeatability", settings_file.REVISION, settings, paths),
    }
    found = pooled_over_tests(all_series)
    write(into / "repeatability.json", Repeatability.model_validate({**fields(found), **head}))


def pooled_over_tests(tests: dict[str, Series]) -> Pooled:
    """The pooled figures (shares of mu), and how many stops and tests stand behind them."""
    checks = {name: check_blocks(s) for name, s in tests.items()}
    use = [values for s in tests.values() for values in use_blocks(s)]
    blocks = [values for rows in checks.values() for _, _, values in rows]
    pooled = pooled_scatter(blocks) or pooled_scatter(use, trend=True)
    used = sum(len(b) for b in blocks)
    if pooled is None:
        why = "no blocks of matched stops to pool; drift takes a cautious default"
        return Pooled(stops=used, tests=len(tests), why=why)
    in_use = pooled_scatter(use, trend=True)
    factor = float(np.clip(in_use.sigma / pooled.sigma, 0.8, 3.0)) if in_use and in_use.dof >= 10 else 1.3
    return Pooled(
        sigma=pooled.sigma,
        autocorrelation=pooled.rho,
        autocorrelation_u=pooled.u_rho,
        block_sigma=block_shift(checks, pooled),
        use_factor=factor,
        dof=pooled.dof,
        stops=used,
        tests=sum(bool(rows) for rows in checks.values()),
        why=None if used >= ENOUGH else f"fewer than {ENOUGH} matched stops: limits allow for the uncertain scatter",
    )


def check_blocks(s: Series) -> list[tuple[int, bool, Array]]:
    """Group, whether before any use, and ln mu of each block of checks."""
    before = np.cumsum(np.isin(s.purpose, ("duty", "fade"))) == 0
    rows = []
    for b in np.unique(s.block[s.purpose == "check"]):
        own = (s.block == b) & (s.purpose == "check") & np.isfinite(s.ln_mu) & (s.group >= 0) & ~s.damp
        if own.sum() >= 3:
            first = np.flatnonzero(own)[0]
            rows.append((int(s.group[first]), bool(before[first]), s.ln_mu[own]))
    return rows


def use_blocks(s: Series) -> list[Array]:
    """ln mu of each block of low-energy use, matched in itself."""
    rows = []
    for b in np.unique(s.block[s.purpose == "duty"]):
        own = (s.block == b) & np.isfinite(s.ln_mu) & (s.group >= 0) & ~s.damp & (s.high == 0)
        if own.sum() >= 6:
            rows.append(s.ln_mu[own])
    return rows


def block_shift(checks: dict[str, list[tuple[int, bool, Array]]], pooled: noise.Pooled) -> float:
    """Standard deviation of the blocks' common shifts: what their means scatter beyond the stops' own scatter."""
    excess, dof = 0.0, 0.0
    for rows in checks.values():
        for group in {g for g, early, _ in rows if early}:
            own = [values for g, early, values in rows if early and g == group]
            if len(own) < 2:
                continue
            means = np.array([values.mean() for values in own])
            expected = float(np.mean([variance_of_mean(len(values), pooled) for values in own]))
            spread = float(means.var(ddof=1))
            excess += (len(own) - 1) * (min(spread, 6 * expected) - expected)
            dof += len(own) - 1
    shrunk = (BLOCK_DOF * BLOCK_SIGMA**2 + excess) / (BLOCK_DOF + dof)
    return float(np.sqrt(max(shrunk, (0.25 * BLOCK_SIGMA) ** 2)))


def variance_of_mean(count: int, pooled: noise.Pooled) -> float:
    """Variance of the mean of `count` neighbours under the pooled AR(1) scatter."""
    lags = np.arange(1, count)
    rho = pooled.rho
    return float(
        pooled.sigma**2 / count * (1 + 2 * np.sum((1 - lags / count) * np.sign(rho) ** lags * np.abs(rho) ** lags))
    )


def read_repeatability(path: Path | None) -> noise.Repeatability | None:
    """The pooled figures of a repeatability.json; None where there is no file or it has no figures."""
    return None if path is None or not path.is_file() else scatter_of(read(path, Repeatability))


def scatter_of(pooled: Pooled) -> noise.Repeatability | None:
    """The pooled figures as the limits use them: a standard deviation and degrees of freedom too small are not
    believed.
    """
    figures = (pooled.sigma, pooled.autocorrelation, pooled.autocorrelation_u, pooled.block_sigma, pooled.use_factor)
    if None in figures:
        return None
    sigma, rho, u_rho, block_sigma, exposed = (float(x) for x in figures if x is not None)
    return noise.Repeatability(max(sigma, 0.002), rho, u_rho, block_sigma, exposed, float(max(pooled.dof, 4)))
