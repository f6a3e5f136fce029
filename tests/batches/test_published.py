"""Published cases of comparison, through the project's own functions."""

from __future__ import annotations

import importlib.resources
import itertools
import re

import numpy as np
import pytest
from scipy import stats

from pipeline.batches import equivalence, mixed, power
from pipeline.batches.equivalence import Estimate
from pipeline.laboratory.components import components
from tests.makers import data_of_r


@pytest.mark.published(
    "effects of four materials in a Latin square of abrasion",
    source="Davies 1954; Faraway, Linear Models with R, abrasion",
    origin="from memory",
)
def test_latin_square_contrast():
    # Davies 1954; Faraway, Linear Models with R, abrasion; figures from memory
    from faraway.datasets import abrasion  # loads a library of tables: where it is asked for

    data = abrasion.load()
    fitted = mixed.fit(data.wear, list(data.material), block=[f"{r}" for r in data.run])
    assert dict(zip(fitted.batches, fitted.effects, strict=True)) == pytest.approx(
        {"A": 265.75, "B": 220.0, "C": 241.75, "D": 230.5}
    )


@pytest.mark.published(
    "paired comparison and equivalence of shoe wear",
    source="Box, Hunter and Hunter, Statistics for Experimenters, 1978, p. 97-101",
    origin="from memory",
)
def test_shoes_are_a_paired_comparison():
    # Box, Hunter and Hunter 1978, p. 97-101; figures from memory
    shoes = data_of_r("MASS", "shoes")
    wear, material = np.r_[shoes.A, shoes.B], ["A"] * 10 + ["B"] * 10
    fitted = mixed.fit(wear, material, block=list(range(10)) * 2)
    value, se = mixed.contrast(fitted, "A", "B")
    paired = Estimate(value, se, fitted.df)
    assert (value, fitted.df) == (pytest.approx(-0.41), 9)
    assert value / se == pytest.approx(-3.348877, abs=1e-6)
    assert equivalence.p_difference(paired) == pytest.approx(0.00853878, abs=1e-8)
    assert equivalence.interval(paired) == pytest.approx((-0.68695391, -0.13304609), abs=1e-7)
    assert equivalence.p_equivalence(paired, -1.0, 1.0) == pytest.approx(0.000474, abs=1e-6)
    assert equivalence.p_equivalence(paired, -0.5, 0.5) == pytest.approx(0.240, abs=5e-4)
    unpaired = mixed.fit(wear, material)
    loose = Estimate(*mixed.contrast(unpaired, "A", "B"), unpaired.df)
    assert equivalence.p_difference(loose) == pytest.approx(0.716498, abs=1e-6)


@pytest.mark.published(
    "the same difference by the exact randomisation distribution",
    source="Box, Hunter and Hunter 1978, data; all 1024 assignments counted",
    origin="closed form",
)
def test_shoes_by_randomisation():
    # the exact randomisation distribution of the same data: 3 of 1024 beyond, 4 equal; t test agrees in size
    shoes = data_of_r("MASS", "shoes")
    d = shoes.A.values - shoes.B.values
    sums = np.array([np.dot(signs, d) for signs in itertools.product([-1, 1], repeat=10)])
    assert ((sums < d.sum() - 1e-9).sum(), (abs(sums - d.sum()) < 1e-9).sum()) == (3, 4)
    fitted = mixed.fit(np.r_[shoes.A, shoes.B], [0] * 10 + [1] * 10, block=list(range(10)) * 2)
    p = equivalence.p_difference(Estimate(*mixed.contrast(fitted, 0, 1), fitted.df))
    assert 2 * 3 / 1024 < p < 2 * 7 / 1024


def _nist(name: str) -> tuple[float, np.ndarray]:
    folder = importlib.resources.files("scipy.stats.tests") / "data" / "nist_anova"
    path = folder / f"{name}.dat"
    if not path.is_file():
        pytest.skip("this scipy was packaged without the NIST files")
    lines = path.read_text().splitlines()
    certified = float(re.search(r"Between.*?(\S+)\s*$", "\n".join(lines[:60]), re.M).group(1))
    start = max(i for i, line in enumerate(lines) if line.startswith("Data:"))
    rows = [line.split() for line in lines[start + 1 :]]
    return certified, np.array([row for row in rows if len(row) == 2], float)


# Digits that all values have in common (seven in SmLs04 to 06, six in AtmWtAg) are lost to their scatter; the three sets with
# thirteen in common are left out: no digit of the scatter is left beside an effect given in full.
@pytest.mark.published(
    "F of the one-way analysis of variance",
    source="NIST StRD, analysis of variance: SiRstv, AtmWtAg, SmLs01 to 06",
    origin="certified",
)
@pytest.mark.parametrize(
    ("name", "within"),
    [("SiRstv", 1e-9), ("AtmWtAg", 1e-7), *[(f"SmLs0{i}", 1e-9 if i < 4 else 1e-6) for i in range(1, 7)]],
)
def test_nist_analysis_of_variance(name, within):
    # NIST Statistical Reference Datasets, certified F
    certified, data = _nist(name)
    fitted = mixed.fit(data[:, 1], list(data[:, 0]))
    counts = np.array(fitted.counts)
    from_mean = fitted.effects - np.average(fitted.effects, weights=counts)
    f = float(counts @ from_mean**2) / (len(counts) - 1) / fitted.residual_sd**2
    assert f == pytest.approx(certified, rel=within)


@pytest.mark.published(
    "variance between days and within, of ten days of five readings", source="JCGM 100:2008, H.5", origin="from memory"
)
def test_day_to_day_variance_of_a_voltage_standard():
    # JCGM 100:2008, H.5, from memory: 10 days of 5 readings
    means = 10 + np.array([172, 116, 13, 144, 106, 31, 60, 125, 163, 41]) * 1e-6
    sds = np.array([60, 77, 111, 101, 67, 93, 80, 73, 88, 86]) * 1e-6
    pattern = np.array([-1.0, -0.5, 0.0, 0.5, 1.0])  # five readings with the day's mean and standard deviation
    pattern = pattern / pattern.std(ddof=1)
    readings = (means[:, None] + sds[:, None] * pattern).ravel()
    found = components(readings, list(np.repeat(np.arange(10), 5)), ["one"] * 50).found
    between, within = (found[part].variance for part in ("batch", "specimen"))
    days = mixed.fit(means, ["all"] * 10)
    mean, u = days.effects[0], np.sqrt(days.covariance[0, 0])
    assert round(mean, 6) == 10.000097
    of_days = days.residual_sd
    assert [round(x * 1e6) for x in (of_days, within**0.5, between**0.5, u)] == [57, 85, 43, 18]
    f = (5 * between + within) / within
    assert f == pytest.approx(2.2615, abs=1e-4)
    assert stats.f.ppf(0.95, 9, 40) < f < stats.f.ppf(0.975, 9, 40)


@pytest.mark.published(
    "equivalence of a ratio within 0.80 to 1.25",
    source="Wellek, Testing Statistical Hypotheses of Equivalence, 2003, p. 212",
    origin="published",
)
def test_equivalence_of_a_ratio():
    # Wellek 2003, p. 212: geometric mean ratio 0.9412, 90 % interval 0.8634 to 1.0260: within 0.80 to 1.25
    data = """103.4 90.11 59.92 77.71 68.17 77.71 94.54 97.51 69.48 58.21 72.17 101.3 74.37 79.84 84.44 96.06
              96.74 89.30 94.26 97.22 48.52 61.62 95.68 85.80"""
    pairs = np.log(np.array(data.split(), float).reshape(-1, 2))
    fitted = mixed.fit(pairs.T.ravel(), ["a"] * 12 + ["b"] * 12, block=list(range(12)) * 2)
    ratio = Estimate(*mixed.contrast(fitted, "a", "b"), fitted.df)
    shown = np.exp([ratio.value, *equivalence.interval(ratio, 0.90)])
    assert np.round(shown, 4).tolist() == [0.9412, 0.8634, 1.0260]
    margin = (np.log(0.80), np.log(1.25))
    assert equivalence.p_equivalence(ratio, *margin) == pytest.approx(0.003059339, abs=1e-8)
    assert equivalence.verdict(ratio, *margin, p_holm=1.0) == "equivalent"


@pytest.mark.published(
    "variance between batches and within, mean and its error",
    source="Davies and Goldsmith 1972, Dyestuff; REML as lme4 prints it",
    origin="from memory",
)
def test_dyestuff_between_batches():
    # lme4 Dyestuff (Davies and Goldsmith 1972), published REML: 1527.5 (19.383); variances 1764.05, 2451.25
    data = data_of_r("lme4", "Dyestuff")
    groups = [g.Yield.values for _, g in data.groupby("Batch", observed=True)]
    parts = components(data.Yield.to_numpy(), list(data.Batch), ["one"] * len(data)).found
    assert parts["batch"].variance == pytest.approx(1764.05)
    assert parts["specimen"].variance == pytest.approx(2451.25)
    means = np.array([g.mean() for g in groups])
    fitted = mixed.fit(means, ["all"] * 6, np.full(6, 2451.25 / 5))
    assert fitted.effects[0] == pytest.approx(1527.5)
    assert np.sqrt(fitted.covariance[0, 0]) == pytest.approx(19.383, abs=5e-4)
    assert fitted.specimen_sd**2 == pytest.approx(1764.05)


@pytest.mark.published(
    "specimens that a difference of half a standard deviation needs",
    source="standard tables of power: 64 a group at 5 %, 80 %",
    origin="from memory",
)
def test_sample_size_of_a_two_sample_comparison():
    # standard tables: d 0.5, two-sided 5 %, power 0.8 needs 64 per group
    powers = [power.power_different(0.5, np.sqrt(2 / n), 2 * n - 2, 0.0, 0.0) for n in (63, 64)]
    assert powers[0] < 0.8 < powers[1]
    assert powers[1] == pytest.approx(0.8014596, abs=1e-5)


@pytest.mark.published(
    "chance of 'equivalent' by the number of specimens", source="an independent simulation", origin="two programs"
)
def test_power_of_equivalence_by_specimens():
    # computed by an independent simulation: CV 3 %, margin 6 %, equal n: 0.38, 0.61, 0.88, 0.97
    got = [power.power_equivalent(0.0, 0.03 * np.sqrt(2 / n), 2 * n - 2, -0.06, 0.06) for n in (3, 4, 6, 8)]
    assert got == pytest.approx([0.38, 0.61, 0.88, 0.97], abs=0.006)
