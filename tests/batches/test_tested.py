"""A batch that was not run near the reference is not called equivalent in friction there."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.archive.targets import Target
from pipeline.batches.compare import compare
from pipeline.batches.specimens import SpecimenTest
from pipeline.batches.tested import answered, of_batches
from pipeline.method.batches import Batches
from pipeline.results.friction_map import Reference
from tests.batches.makers import specimen_tests

AT = {"temperature_initial_c": 300.0, "pressure_bar": 25.0, "speed_start_rpm": 1450.0, "energy_density_j_mm2": 20.0}
REFERENCE = Reference(temperature_c=300.0, pressure_bar=25.0, speed_rpm=1450.0, energy_density_j_mm2=20.0)


def run_at(tests: list[SpecimenTest], **moved: dict[str, float]) -> list[SpecimenTest]:
    """The tests with their stops at the reference; of a batch in `moved` at those conditions."""
    import dataclasses

    return [
        dataclasses.replace(
            test, stops=test.stops.with_columns(pl.lit(v).alias(k) for k, v in (AT | moved.get(test.batch, {})).items())
        )
        for test in tests
    ]


ALIKE = {"b1": [0.450, 0.452, 0.451], "b2": [0.451, 0.450, 0.452]}


@pytest.mark.parametrize(
    ("moved", "beyond"),
    [
        ({}, False),
        ({"temperature_initial_c": 355.0}, False),
        ({"temperature_initial_c": 365.0}, True),
        ({"pressure_bar": 25 * 1.45}, False),
        ({"pressure_bar": 25 * 1.55}, True),
        ({"speed_start_rpm": 1450 / 1.55}, True),
        ({"energy_density_j_mm2": 20 / 1.45}, False),
        ({"energy_density_j_mm2": 20 / 1.55}, True),
    ],
)
def test_just_within_reach_and_just_beyond(moved: dict[str, float], beyond: bool) -> None:
    tests = run_at(specimen_tests(ALIKE, scatter=0.002), b2=moved)
    found = of_batches(tests, REFERENCE, "initial")
    assert list(found) == (["b2"] if beyond else [])
    pairs = compare(
        tests, shape=None, at_reference=None, target=Target(compound="c", mu_batch_margin=0.03), settings=Batches()
    ).pairs
    assert pairs[0].mu_verdict == "equivalent"
    (pair,) = answered(pairs, found)
    assert pair.mu_verdict == ("undecided" if beyond else "equivalent")
    assert pair.bite_verdict == pairs[0].bite_verdict and pair.wear_verdict == pairs[0].wear_verdict
    if beyond:
        assert "b2" in (pair.mu_why or "") and found["b2"].value is not None and found["b2"].value > 1


def test_a_difference_stays_one() -> None:
    tests = run_at(
        specimen_tests({"b1": [0.45, 0.45, 0.451], "b2": [0.30, 0.301, 0.30]}, scatter=0.002), b2={"pressure_bar": 60.0}
    )
    target = Target(compound="c", mu_batch_margin=0.03)
    pairs = compare(tests, shape=None, at_reference=None, target=target, settings=Batches()).pairs
    assert answered(pairs, of_batches(tests, REFERENCE, "initial"))[0].mu_verdict == pairs[0].mu_verdict == "different"


def test_without_a_reference_nothing_is_said() -> None:
    assert of_batches(run_at(specimen_tests(ALIKE)), None, "initial") == {}
