"""The page of what is a library's and what is ours, with the study's figures."""

from __future__ import annotations

from tests.studies.libraries import (
    LOADED,
    Held,
    correlations,
    curve_errors,
    differences_held,
    seconds,
    slopes_held,
    trends_held,
)

# What; where in pipeline/; library's counterpart; whose it is, and why.
ROWS = (
    ("B-splines and their slopes", "friction/smooth", "scipy.interpolate.BSpline", "scipy's; equal to the former own to 3e-15"),
    ("quasi-random points", "friction/posterior", "scipy.stats.qmc.Halton", "scipy's; equal to the last bit. Loaded only where there are specimens to compare"),
    ("Holm's adjustment", "batches/equivalence", "statsmodels multipletests", "ours; equal; theirs collects garbage at each call, 30 to 80 ms"),
    ("weighted least squares of batches", "batches/mixed", "statsmodels WLS", "statsmodels'; equal to 2e-14. Scale and degrees of freedom stay ours: tau^2 in the weights, never below the values' own variance"),
    ("step at a rig's event", "rigs/shift", "statsmodels OLS", "statsmodels', with its interval and p; equal to 6e-13"),
    ("ranks with ties", "drift/trend", "scipy.stats.rankdata, polars rank", "polars', which drift has loaded: half the stage's start"),
    ("minima, bounded least squares, roots", "friction, wear, batches, duty", "scipy.optimize", "scipy's from the start; wear polishes the result by Gauss-Newton (NIST StRD to the last digits)"),
    ("two one-sided tests, t intervals", "batches/equivalence", "statsmodels ttost_ind, ttost_paired, DescrStatsW", "ours, five lines over scipy's t: the library's take samples and cannot be told of weights, blocks, pooled scatter. Equal to 1e-9"),
    ("power of the answers", "batches/power", "statsmodels TTestIndPower", "ours: the library has no power of three answers with a margin. Without margin equal to 2e-5"),
    ("variance between specimens", "batches/mixed", "statsmodels MixedLM, combine_effects", "ours: see below. Balanced, effects and variances equal to MixedLM's within its own stopping rule (1e-3)"),
    ("mixed model of the map", "friction/mixed, likelihood", "statsmodels MixedLM", "ours: scatter that changes with temperature, neighbours alike, held-back stray stops, priors are beyond MixedLM. On lme4's Dyestuff and sleepstudy equal"),
    ("smooth curve over temperature", "friction", "statsmodels lowess", "ours: lowess has one span for flank and plateau and no interval; see below"),
    ("weighted quantiles of draws", "friction/posterior", "numpy quantile with weights", "ours, four lines: equal to the last bit in two thirds of the time, and numpy before 2.0 has none"),
    ("tolerance factors", "friction/tolerance", "none for a normal scatter with an uncertain mean", "ours over scipy.special; ISO 16269-6 to four digits"),
    ("robust line", "conditioning/offsets", "statsmodels RLM, HuberT", "ours, twenty lines: the library takes no weights, and the stops of each test would start three times as long. Coefficients equal to 1e-4 of their uncertainty, covariance to 1e-3, from twelve points on"),
    ("generalised least squares", "drift/noise", "statsmodels GLS", "ours, four lines over numpy; equal to 1e-9. Drift runs for each test, and would start three times as long"),
    ("Sen's slope and interval, Mann-Kendall", "drift/trend", "scipy theilslopes, kendalltau; statsmodels has none", "ours: the library cannot be told that neighbours are alike; see below. Slope and S equal"),
    ("autocorrelation of short blocks", "drift/noise", "statsmodels acf, GLSAR", "ours: several short blocks with levels of their own; see below"),
    ("outlier of a block", "drift/outliers", "statsmodels outlier_test", "ours, three lines: the same answer (Grubbs = Bonferroni's studentised residual), and drift starts faster"),
    ("EWMA and cumulative sum", "drift/charts", "scipy.signal.lfilter; none for the sum", "ours: one loop serves both over thousands of simulated tests. EWMA equal"),
    ("fitting routine of wear", "wear/fit", "statsmodels GLS", "ours over scipy.optimize: rates not below zero, shapes not linear. Linear and off the bounds equal to 1e-6"),
    ("zero-phase low-pass", "conditioning/low_pass", "scipy.signal.filtfilt", "ours: the pair's amplitude on the spectrum; equal, faster, without loading scipy.signal for each test"),
    ("disc temperature over a stop", "heat", "scipy.integrate.solve_ivp", "ours: all stops of a table at once; compared with solve_ivp in the tests"),
)  # fmt: skip

HEAD = """\
# What is a library's and what is ours

Written by `python -m tests.studies.libraries --write`; but for the table's words nothing here is typed by hand. {draws} draws a row, seed {seed}.

General statistics come from numpy, scipy, polars and statsmodels where they are as good in small samples. Where ours stays,
the row says why, and a test holds both together on data where they must agree (`test_library.py` of batches, drift, wear and
conditioning; `test_published.py` of friction).

| what | where | library | whose, and why |
|---|---|---|---|
"""
START = """
## What loading costs

Stages are started thousands of times in a run. Processor seconds of an interpreter that loads a library and ends:

| nothing | {names} |
|---|{rules}|
| {figures} |

So statsmodels is loaded by `rigs` (once an archive) and `compound` (once a compound, where batches are compared), scipy.stats by
these and by a map of several specimens, and a test's own stages load neither; `tests/cli/test_heavy_libraries.py` holds that.
"""
DIFFERENCES = """
## Difference of two batches

Share of 95 % intervals that hold the true difference; specimens scatter by 2 %, stops by 3 %, 5 to 30 stops a specimen. Ours:
specimens' means, Hartung and Knapp's scale, Student's t. MixedLM: single stops, restricted maximum likelihood, normal quantiles
(it has no others). Half-width: median, per cent of mu. No answer: singular to MixedLM; counted as not held.

| batches | specimens each | ours | half-width | MixedLM | half-width | no answer |
|---|---|---|---|---|---|---|
"""
SLOPES = """
## Robust line

Share of 95 % intervals (t on n - 2 degrees of freedom) that hold the true slope; wild points scatter ten times as much.

| points | wild | ours | half-width | RLM | half-width |
|---|---|---|---|---|---|
"""
TRENDS = """
## Trend

Share of 95 % intervals that hold the true slope, zero; neighbours alike as given.

| stops | autocorrelation | ours | half-width | theilslopes | half-width |
|---|---|---|---|---|---|
"""

TRENDS_SAID = """
Where neighbours are alike, neither keeps to 95 %: the widening counts only autocorrelations that are significant, and in a short
series few are. Ours is nearer. A verdict of drift rests on none of it alone.
"""


def text(draws: int, seed: int) -> str:
    lines = [HEAD.format(draws=draws, seed=seed)]
    lines += [f"| {' | '.join(row)} |\n" for row in ROWS]
    costs = [f"{seconds(None):.2f}", *(f"{seconds(name):.2f}" for name in LOADED)]
    lines.append(
        START.format(names=" | ".join(LOADED), rules="|".join(["---"] * len(LOADED)), figures=" | ".join(costs))
    )
    lines.append(DIFFERENCES)
    for batches, specimens in ((2, 2), (2, 3), (4, 2), (2, 6)):
        found = differences_held(specimens=specimens, batches=batches, draws=draws, seed=seed)
        lines.append(f"| {batches} | {specimens} | {_figures(found)} | {found.refused} |\n")
    lines.append(SLOPES)
    for points in (6, 12, 40, 200):
        for wild in (0.0, 0.05, 0.2):
            found = slopes_held(points=points, wild=wild, draws=draws, seed=seed)
            lines.append(f"| {points} | {wild:.0%} | {_figures(found)} |\n")
    lines += [TRENDS]
    for points in (8, 15, 40):
        for correlation in (0.0, 0.3, 0.6):
            found = trends_held(points=points, correlation=correlation, draws=draws, seed=seed)
            lines.append(f"| {points} | {correlation:.1f} | {_figures(found)} |\n")
    lines.append(TRENDS_SAID)
    ours, theirs = correlations(truth=0.4, draws=draws, seed=seed)
    lines.append(
        "\n## Autocorrelation of short blocks\n\nEight blocks of eight stops, autocorrelation 0.40: the mean of ours is "
        f"{ours:.2f}, that of acf over the blocks {theirs:.2f}: each block's level takes part of it, and the scatter would be "
        "taken for better known than it is.\n"
    )
    errors = curve_errors(draws=max(draws // 20, 2), seed=seed)
    lines.append(
        "\n## Curve over temperature\n\nRoot mean square relative error of the curve from 80 to 580 degC, 39 stops at one "
        f"pressure, speed and energy, {max(draws // 20, 2)} materials: "
        + ", ".join(f"{name} {error:.1%}" for name, error in errors.items())
        + ".\n"
    )
    return "".join(lines)


def _figures(found: Held) -> str:
    return f"{found.ours:.1%} | {found.our_width:.3g} | {found.theirs:.1%} | {found.their_width:.3g}"
