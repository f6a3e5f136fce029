"""Two compounds compared: common conditions or undecided, specimens as replicates, answers by interval and margin."""

from __future__ import annotations

import re

import numpy as np
import pytest

from pipeline.archive.targets import Target
from pipeline.batches import margins
from pipeline.batches.intervals import compared
from pipeline.batches.specimens import SpecimenTest, WearRate, bite_values
from pipeline.comparison.of_files import Files, by_files
from pipeline.comparison.specimens import Side, by_specimens
from pipeline.method.batches import Batches
from pipeline.report import comparison_page
from pipeline.report.comparison_page import page
from pipeline.results.batches import CompoundBatches
from pipeline.results.comparison import Comparison, Fact, Shown
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.duty import CompoundDuty
from pipeline.results.friction_map import Reference
from pipeline.results.model import Interval
from pipeline.results.wear import CompoundWear
from tests.makers import stops_frame

TARGET = Target(compound="x", mu=(0.34, 0.6), mu_batch_margin=0.03, wear_batch_ratio=(0.8, 1.25))


def flat(stops):
    """A map that says the same everywhere it was tested: 250 to 350 degC."""
    t = stops["temperature_initial_c"].to_numpy()
    return np.where((t >= 250) & (t <= 350), 0.42, np.nan)


def side(name, levels, *, at=300.0, wear=2.0, energy=240.0, bites=None, cold=80.0, pressure=25.0, shape=flat):
    tests = []
    for i, level in enumerate(levels):
        bite = (bites or [0.15] * len(levels))[i]
        frame = stops_frame(
            12, purpose=["check"] * 6 + ["map"] * 6, mu=[level + 0.001 * k for k in range(6)] + [0.2] * 6, pressure_bar=pressure,
            temperature_initial_c=[at] * 6 + [cold] * 6, mu_bite=[0.4] * 6 + [bite + 0.0005 * k for k in range(6)],
        )  # fmt: skip
        worn = wear * (1 + 0.01 * i)
        rate = WearRate(worn, worn * 0.99, worn * 1.01)
        tests.append(SpecimenTest(f"{name}{i}", f"{name}-b", str(i), frame, wear_rate=rate, energy_per_stop_kj=energy))
    reference = Reference(temperature_c=at, pressure_bar=pressure, speed_rpm=1500.0, energy_density_j_mm2=23.0)
    return Side(name, tests, shape, reference)


def answers(a, b, target=TARGET):
    rows = by_specimens(a, b, target, Batches())
    return dict(zip(("mu", "bite", "wear"), rows, strict=True))


def test_a_margin_of_bite_is_the_one_of_its_own_compound_s_batches():
    """A share of bite is a share of the bite of the compound whose target it is, and so one figure wherever it stands."""
    one, other = side("x", [0.45, 0.452], bites=[0.12, 0.122]), side("B", [0.45, 0.452], bites=[0.20, 0.202])
    of_batches = margins.of_target(TARGET, np.array([0.45]), bite_values(one.tests).values)["bite"]
    assert of_batches is not None
    for a, b in ((one, other), (other, one)):
        assert answers(a, b)["bite"].margin == pytest.approx([of_batches.low, of_batches.high], rel=1e-12)


def test_like_and_unlike_compounds():
    alike = answers(side("A", [0.45, 0.452, 0.449]), side("B", [0.451, 0.45, 0.452]))
    assert {name: row.verdict for name, row in alike.items()} == dict.fromkeys(("mu", "bite", "wear"), "equivalent")
    apart = answers(
        side("A", [0.45, 0.452, 0.449]), side("B", [0.38, 0.382, 0.379], wear=3.0, bites=[0.12, 0.121, 0.119])
    )
    assert {row.verdict for row in apart.values()} == {"different"}
    assert apart["mu"].figure.value == pytest.approx(0.07, abs=0.002)
    assert apart["wear"].figure.value == pytest.approx(2 / 3, rel=0.02)
    assert "300 °C" in apart["mu"].conditions and "80 °C" in apart["bite"].conditions


def test_without_common_conditions_nothing_is_answered():
    far = lambda stops: np.where(stops["temperature_initial_c"].to_numpy() > 450, 0.42, np.nan)  # noqa: E731
    found = answers(
        side("A", [0.45, 0.452]), side("B", [0.38, 0.382], at=500.0, shape=far, cold=200.0, pressure=60.0, energy=400.0)
    )
    assert {row.verdict for row in found.values()} == {"undecided"}
    assert "no reference conditions lie inside both" in found["mu"].why
    assert "no cell" in found["bite"].why
    assert "unlike programs: 240 and 400 kJ" in found["wear"].why


def test_one_specimen_answers_nothing():
    found = answers(side("A", [0.45]), side("B", [0.38, 0.382, 0.379]))
    assert {row.verdict for row in found.values()} == {"undecided"}
    assert all("one specimen" in row.why for row in found.values())


def figure(value, half):
    return Interval(value=value, low=value - half, high=value + half)


@pytest.mark.parametrize(
    ("a", "b", "margin", "verdict"),
    [
        (figure(0.45, 0.005), figure(0.451, 0.005), (-0.03, 0.03), "equivalent"),
        (figure(0.45, 0.005), figure(0.40, 0.005), (-0.03, 0.03), "different"),
        (figure(0.45, 0.03), figure(0.43, 0.03), (-0.03, 0.03), "undecided"),
        (figure(160, 5), figure(200, 5), None, "different"),
        (figure(160, 5), figure(162, 5), None, "undecided"),
        (Interval(why="none"), figure(162, 5), None, "undecided"),
        (Interval(value=160), figure(200, 5), None, "undecided"),
    ],
)
def test_figures_by_their_intervals(a, b, margin, verdict):
    row = compared("q", a, b, margin=margin)
    assert row.verdict == verdict and row.why
    assert compared("q", a, b, margin=margin, refused="because").verdict == "undecided"


def test_undecided_says_whether_a_difference_is_shown():
    """0.018 (0.002 to 0.034) excludes zero, yet the estimate lies inside the margin of 0.03."""
    apart = compared("q", figure(0.454, 0.009), figure(0.436, 0.0132), margin=(-0.03, 0.03))
    assert apart.verdict == "undecided" and apart.figure.low > 0 and "a difference is shown, yet" in apart.why
    assert "no difference is shown" in compared("q", figure(0.45, 0.03), figure(0.43, 0.03), margin=(-0.03, 0.03)).why


def test_units_are_printed_by_the_sheets_signs():
    assert comparison_page.figure(figure(7.7, 0.5), "um/MJ").endswith("\u00a0µm/MJ")
    assert comparison_page.figure(figure(157.0, 9.0), "°C").endswith("\u00a0°C")


def test_ratios_by_their_intervals():
    row = compared("life", figure(1000, 50), figure(500, 25), ratio=True, margin=(0.8, 1.25))
    assert row.verdict == "different" and row.figure.value == pytest.approx(2)
    assert row.figure.low == pytest.approx(2 * np.exp(-np.hypot(np.log(0.95), np.log(1.05))), rel=0.01)


def test_the_page_shows_answers_and_facts_and_escapes():
    found = Comparison(
        a="<b>A</b>", b="B", rows=by_specimens(side("<b>A</b>", [0.45, 0.452]), side("B", [0.38, 0.382]), TARGET, Batches()),
        facts=[Fact(compound="B", batch="B-1", facts={"density (g/cm3)": "1.78"})], notes=["holds for 3 % of mu lost"], shown=[Shown(question="Limit", a="at 0.99 W/mm2 of pad", b="none", why="mu fell")],
    )  # fmt: skip
    text = page(found)
    assert "0.99 W/mm² of pad" in text and "µ fell" in text and "3 % of µ lost" in text  # as on the sheet
    assert re.search(r"-0\.0\d{1,4} to 0\.0\d{1,4}<", text) and not re.search(
        r"-0\.0\d{5,} to", text
    )  # the margin of bite
    assert (
        "<b>A</b>" not in text and "density (g/cm3)" in text and "no cause is claimed" in text and "different" in text
    )
    assert "No comparison" in page(Comparison(a="A", b="B", unusable="no test of A can be used"))


def files(name, plateau, verdict):
    nothing = {"value": None, "low": None, "high": None}
    marks = {key: nothing for key in ("cold_friction", "transition", "high_temperature_change")}
    marks["plateau"] = {"value": plateau, "low": plateau - 0.01, "high": plateau + 0.01}
    at = {"temperature_c": 300.0, "pressure_bar": 25.0, "speed_rpm": 1500.0, "energy_density_j_mm2": 23.0}
    batches = [
        {"batch": b, "tests": [b], "specimens": 2, "mu": {}, "bite": {}, "wear_um_per_stop": {}} for b in ("1", "2")
    ]
    pair = {"a": "1", "b": "2", "mu_difference": {}, "bite_difference": {}, "wear_ratio": {}}
    pair |= {"mu_verdict": verdict, "bite_verdict": "undecided", "wear_verdict": "equivalent"}
    return Files(
        name, CompoundFriction.model_validate({"compound": name, "reference": at, "landmarks": marks}), CompoundWear(compound=name),
        CompoundBatches.model_validate({"compound": name, "batches": batches, "pairs": [pair]}), CompoundDuty(compound=name), {},
    )  # fmt: skip


def test_a_curve_over_batches_that_differ_answers_for_no_compound():
    """Its interval holds no scatter between the batches: the same plateaus answer where the batches are not shown to differ."""
    alike, apart = files("B", 0.40, "equivalent"), files("A", 0.47, "different")
    plateau = {row.question: row for row in by_files(apart, alike, TARGET)}["Plateau of µ"]
    assert plateau.verdict == "undecided" and "A: 1 and 2" in plateau.why
    plateau = {row.question: row for row in by_files(files("A", 0.47, "equivalent"), alike, TARGET)}["Plateau of µ"]
    assert plateau.verdict == "different"
