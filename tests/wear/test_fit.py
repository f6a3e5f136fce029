"""The fitting routine on certified nonlinear regressions: NIST StRD (public domain), files beside this test."""

import re
from pathlib import Path

import numpy as np
import pytest

from pipeline.wear.fit import least_squares

MODELS = {
    "Misra1a": lambda x: lambda b: b[0] * (1 - np.exp(-b[1] * x)),
    "DanWood": lambda x: lambda b: b[0] * x ** b[1],
    "Chwirut2": lambda x: lambda b: np.exp(-b[0] * x) / (b[1] + b[2] * x),
}


def certified(name):
    """(y, x, starts [2, p], values [p], errors [p], sum of squares) as printed in the file."""
    lines = (Path(__file__).parent / "nist" / f"{name}.dat").read_text().splitlines()
    table = [line.split("=")[1].split() for line in lines if re.match(r"^\s*b\d\s*=", line)]
    start1, start2, value, error = np.array(table, float).T
    rss = next(float(line.split(":")[1]) for line in lines if line.startswith("Residual Sum of Squares"))
    first = next(i for i, line in enumerate(lines) if re.match(r"^Data:\s+y\s+x", line)) + 1
    y, x = np.array([line.split() for line in lines[first:] if line.strip()], float).T
    return y, x, np.array([start1, start2]), value, error, rss


@pytest.mark.published(
    "non-linear fits from both certified starts", source="NIST StRD: Misra1a, DanWood, Chwirut2", origin="certified"
)
@pytest.mark.parametrize("name", MODELS)
@pytest.mark.parametrize("start", [0, 1])
def test_nist_strd_from_each_certified_start(name, start):
    y, x, starts, value, error, rss = certified(name)
    fit = least_squares(MODELS[name](x), y, [starts[start]])
    assert np.allclose(fit.parameters, value, rtol=1e-6)
    assert fit.chi2 == pytest.approx(rss, rel=1e-8)
    assert np.allclose(np.sqrt(np.diag(fit.covariance) * fit.chi2 / fit.dof), error, rtol=1e-3)


def test_correlated_errors_are_whitened():
    # Differences of a level that was read with equal noise: the exact answer is the last less the first reading.
    levels = np.array([0.0, 1.4, 1.9, 3.3, 4.0])
    y = np.diff(levels)
    covariance = 2 * np.eye(4) - np.eye(4, k=1) - np.eye(4, k=-1)
    fit = least_squares(lambda b: np.full(4, b[0]), y, [[0.5]], covariance=covariance)
    slope = np.polyfit(np.arange(5), levels, 1)[0]
    assert fit.parameters[0] == pytest.approx(slope, rel=1e-9)


def test_bounds_hold_and_are_reported():
    fit = least_squares(lambda b: np.array([b[0], b[0]]), np.array([-1.0, -2.0]), [[1.0]], bounds=([0.0], [5.0]))
    assert fit.parameters[0] == pytest.approx(0.0, abs=1e-9) and fit.at_bound[0]


def test_no_finite_start_is_said():
    with pytest.raises(ValueError, match="no start"):
        least_squares(lambda b: np.array([np.nan, 1.0]), np.ones(2), [[1.0]])
