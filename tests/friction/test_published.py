"""Published and certified figures, through the pipeline's own functions.

Marks as in the reference: certified or printed in the data file; published; from memory; agreed by two
programs.
"""

from __future__ import annotations

import importlib.resources as resources

import numpy as np
import pytest

from pipeline.friction import tolerance
from pipeline.friction.friction_class import friction_class
from pipeline.friction.mixed import profile
from pipeline.results.friction_map import FrictionClass
from tests.friction.grouped import fit_grouped
from tests.makers import data_of_r


def least_squares(y: np.ndarray, *columns: np.ndarray) -> tuple[np.ndarray, np.ndarray, float, float]:
    """Coefficients, standard errors, residual standard deviation, R squared of y on a constant and
    columns.
    """
    x = np.column_stack([np.ones(y.size), *columns])
    found = profile(x, y, x.shape[1])
    rest = y - x @ found.coefficients
    r2 = 1 - rest @ rest / ((y - y.mean()) @ (y - y.mean()))
    return found.coefficients, np.sqrt(np.diag(found.inverse) * found.scale), np.sqrt(found.scale), r2


@pytest.mark.published("linear regression", source="NIST StRD, Norris", origin="certified")
def test_norris() -> None:
    """NIST StRD linear regression, Norris (certified)."""
    import scipy.stats

    file = resources.files(scipy.stats) / "tests" / "data" / "nist_linregress" / "Norris.dat"
    if not file.is_file():
        pytest.skip("this scipy was packaged without the NIST reference data")
    y, x = np.array([line.split() for line in file.read_text().splitlines()[60:96]], float).T
    b, se, s, r2 = least_squares(y, x)
    assert np.allclose([b[0], se[0], b[1], se[1]],
                       [-0.262323073774029, 0.232818234301152, 1.00211681802045, 0.429796848199937e-3], rtol=1e-9)  # fmt: skip
    assert s == pytest.approx(0.884796396144373, rel=1e-9)
    assert r2 == pytest.approx(0.999993745883712, rel=1e-12)


@pytest.mark.published("linear regression, ill-conditioned on purpose", source="NIST StRD, Longley", origin="certified")
def test_longley() -> None:
    """NIST StRD linear regression, Longley (certified): ill-conditioned on purpose."""
    from statsmodels.datasets import longley

    data = longley.load_pandas()
    b, _, s, _ = least_squares(data.endog.to_numpy(float), *data.exog.to_numpy(float).T)
    certified = [-3482258.63459582, 15.0618722713733, -0.0358191792925910, -2.02022980381683, -1.03322687617359,
                 -0.0511041056535807, 1829.15146461355]  # fmt: skip
    assert np.allclose(b, certified, rtol=1e-7)
    assert s == pytest.approx(304.854073561965, rel=1e-8)


@pytest.mark.published(
    "regression of rubber abrasion, and of stopping distances", source="Davies 1947; Ezekiel 1930", origin="from memory"
)
def test_rubber_and_stopping_distances() -> None:
    """Rubber abrasion (Davies 1947) and stopping distances (Ezekiel 1930), regressions from memory."""
    rubber = data_of_r("MASS", "Rubber")
    b, _, s, r2 = least_squares(rubber.loss.to_numpy(float), rubber.hard.to_numpy(float), rubber.tens.to_numpy(float))
    assert np.allclose(b, [885.161109, -6.570830, -1.374312], rtol=1e-6)
    assert s == pytest.approx(36.489341, rel=1e-6) and r2 == pytest.approx(0.8402314, rel=1e-6)
    cars = data_of_r("datasets", "cars")
    b, _, s, _ = least_squares(cars.dist.to_numpy(float), cars.speed.to_numpy(float))
    assert np.allclose(b, [-17.579095, 3.932409], atol=1e-6) and s == pytest.approx(15.379587, rel=1e-6)


@pytest.mark.published(
    "mixed model with a random batch, restricted maximum likelihood",
    source="Davies and Goldsmith, Dyestuff; REML as lme4 prints it",
    origin="from memory",
)
def test_dyestuff() -> None:
    """Dyestuff (Davies and Goldsmith), REML of lme4 from memory; balanced data have (MSB - MSW)/n in
    closed form.
    """
    data = data_of_r("lme4", "Dyestuff")
    y, batch = data.Yield.to_numpy(float), data.Batch.astype(str).to_numpy()
    found = fit_grouped(y, np.ones((y.size, 1)), batch)
    assert found.fixed[0] == pytest.approx(1527.5)
    assert np.sqrt(found.covariance[0, 0]) == pytest.approx(19.383, abs=1e-3)
    assert found.criterion == pytest.approx(319.6543, abs=1e-4)
    assert [found.group_covariance[0, 0], found.residual_variance] == pytest.approx([1764.05, 2451.25], rel=1e-5)
    means = np.array([y[batch == b].mean() for b in np.unique(batch)])
    within = np.mean([y[batch == b].var(ddof=1) for b in np.unique(batch)])
    assert found.group_covariance[0, 0] == pytest.approx((5 * means.var(ddof=1) - within) / 5, rel=1e-5)


@pytest.mark.published(
    "mixed model with random intercept and slope",
    source="Belenky et al. 2003, sleepstudy; REML as lme4 prints it",
    origin="from memory",
)
def test_sleepstudy() -> None:
    """sleepstudy (Belenky et al. 2003), random intercept and slope, REML of lme4 from memory; statsmodels
    beside it.
    """
    import warnings

    import statsmodels.formula.api as smf

    data = data_of_r("lme4", "sleepstudy")
    x = np.column_stack([np.ones(len(data)), data.Days.to_numpy(float)])
    found = fit_grouped(data.Reaction.to_numpy(float), x, data.Subject.astype(str).to_numpy())
    assert found.fixed == pytest.approx([251.405, 10.467], abs=1e-3)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx([6.825, 1.546], abs=1e-3)
    assert found.residual_variance == pytest.approx(654.94, abs=0.01)
    assert found.criterion == pytest.approx(1743.628, abs=1e-3)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = smf.mixedlm("Reaction ~ Days", data, groups="Subject", re_formula="~Days").fit()
    assert found.fixed == pytest.approx(other.fe_params.to_numpy(), rel=1e-5)
    assert found.group_covariance == pytest.approx(other.cov_re.to_numpy(), rel=5e-3)


@pytest.mark.published(
    "two-sided tolerance factors", source="ISO 16269-6; NIST/SEMATECH e-Handbook, 7.2.6.3", origin="from memory"
)
def test_tolerance_factors() -> None:
    """Exact two-sided factors, from memory: ISO 16269-6, 95 % with 95 %; NIST/SEMATECH e-Handbook 7.2.6.3, n 43, 90 % with 99 %."""
    n = np.array([5, 10, 20, 30, 50, 100])
    two = tolerance.two_sided(0.95, 0.95, n - 1, 1 / n)
    assert two == pytest.approx([5.077, 3.393, 2.760, 2.555, 2.382, 2.234], abs=6e-4)
    assert float(tolerance.two_sided(0.9, 0.99, 42, 1 / 43)) == pytest.approx(2.2228, abs=1e-4)


@pytest.mark.published("letters of a friction class", source="SAE J866 (2019)", origin="published")
def test_classes() -> None:
    """Ranges of SAE J866 (2019): over a but not over b; no rounding before classing."""
    values = (0.10, 0.15, 0.1501, 0.25, 0.35, 0.3501, 0.45, 0.55, 0.5501, 0.70)
    assert "".join(friction_class(v).letter for v in values) == "CCDDEFFGHH"
    assert friction_class(0.47) == FrictionClass(letter="G", over=0.45, to=0.55)
    assert friction_class(0.6).to is None and friction_class(0.1).over is None
