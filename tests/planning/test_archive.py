"""The scatter that planning takes from an archive: by the laboratory's components, else by the batch comparison."""

from __future__ import annotations

import math
from typing import Any

import pytest

from pipeline.archive.targets import Target
from pipeline.method import Method
from pipeline.planning.archive import Archive
from pipeline.planning.plan import scatter_words
from pipeline.results.batches import CompoundBatches, SpecimenScatter, SpecimenValue
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.precision import Component, Of, Pace, RigPrecision
from pipeline.results.repeatability import Repeatability
from pipeline.results.wear import CompoundWear

VALUES = [("one", "A", 0.44), ("one", "B", 0.46), ("two", "A", 0.45)]


def archive(scatter: SpecimenScatter | None = None, precision: RigPrecision | None = None, **more: Any) -> Archive:
    values = [SpecimenValue(batch=b, specimen=s, value=v, u=0.002, n=25) for b, s, v in VALUES]
    batches = CompoundBatches(
        compound="X",
        specimen_scatter={"mu": scatter},
        specimen_values={"mu": values, "wear": values, "bite": values if more.get("bite") else []},
    )
    return Archive(
        compound="X", method_name="first", method=Method(), tests=(), friction=CompoundFriction(compound="X"),
        wear=CompoundWear(compound="X"), batches=batches,
        repeatability=Repeatability(compound="X", autocorrelation=0.3, block_sigma=0.002), precision=precision,
        target=more.get("target"), duties=(),
    )  # fmt: skip


def of(kind: str, value: float | None, compound: str | None = "X", df: float = 4.0) -> Of:
    parts = {"specimen": Component(value=value, low=0.002, high=0.03, df=df), "stop": Component(value=0.02, df=60),
             "occasion": Component(value=0.004, df=10)}  # fmt: skip
    return Of(
        quantity=kind,
        compound=compound,
        conditions="checks",
        specimens=5,
        batches=2,
        components=parts,
        autocorrelation=0.2,
    )


def test_by_the_batch_comparison_the_values_own_uncertainty_is_taken_out() -> None:
    found = archive(SpecimenScatter(value=0.01, low=0.005, high=0.04, df=1, between=0.0095)).scatter("mu")
    assert not isinstance(found, str)
    assert found.level == pytest.approx(0.45) and found.specimens == {"one": 2, "two": 1} and found.dof == 1
    own = found.specimen
    assert (own.sd, own.dof) == (0.0095, 1)
    assert own.low == pytest.approx(math.sqrt(0.005**2 - 0.002**2))
    assert own.high == pytest.approx(math.sqrt(0.04**2 - 0.002**2))
    assert found.stops.sd == pytest.approx(0.002 * 5) and found.stops.autocorrelation == 0.3
    assert found.stops.block_sd == pytest.approx(0.002 * 0.45)


def test_the_laboratorys_components_come_first_and_are_of_the_level() -> None:
    scatter = SpecimenScatter(value=0.01, low=0.005, high=0.04, df=1, between=0.0095)
    found = archive(scatter, RigPrecision(quantities=[of("mu", 0.01)])).scatter("mu")
    assert not isinstance(found, str)
    assert found.specimen.sd == pytest.approx(0.0045) and found.specimen.high == pytest.approx(0.03 * 0.45)
    assert found.stops.sd == pytest.approx(0.02 * 0.45) and found.stops.block_sd == pytest.approx(0.004 * 0.45)
    assert "precision.json" in scatter_words(found) and "one 2, two 1" in scatter_words(found)


def test_of_wear_the_components_are_of_the_logarithm() -> None:
    found = archive(precision=RigPrecision(quantities=[of("wear", 0.05)])).scatter("wear")
    assert not isinstance(found, str)
    assert found.specimen.sd == pytest.approx(0.05) and found.level == pytest.approx(math.log(0.45), abs=0.01)


def test_what_all_compounds_tell_better_is_named_and_not_taken() -> None:
    both = RigPrecision(quantities=[of("mu", 0.01, df=1), of("mu", 0.02, None, df=6)])
    found = archive(precision=both).scatter("mu")
    assert not isinstance(found, str)
    assert found.specimen.sd == pytest.approx(0.0045) and "over all compounds 0.02" in found.specimen.source


def test_a_component_that_no_test_tells_falls_back_to_the_comparison() -> None:
    scatter = SpecimenScatter(value=0.01, low=0.005, high=0.04, df=1, between=0.0095)
    found = archive(scatter, RigPrecision(quantities=[of("mu", None)])).scatter("mu")
    assert not isinstance(found, str) and "batches.json" in found.specimen.source


def test_what_the_archive_cannot_say_is_said_with_what_would() -> None:
    assert "second specimen" in archive(None).scatter("mu")
    assert "no specimen" in archive(None).scatter("bite")


def test_margins_are_the_targets() -> None:
    target = Target(compound="X", mu_batch_margin=0.03, wear_batch_ratio=(0.8, 1.25))
    assert archive(target=target).margin("mu") == (-0.03, 0.03)
    assert archive(target=target).margin("wear") == (math.log(0.8), math.log(1.25))
    assert archive().margin("bite") is None
    assert archive(target=Target(compound="X", bite_margin=0.012), bite=True).margin("bite") == (-0.012, 0.012)


def test_a_tests_span_is_the_laboratorys() -> None:
    pace = [Pace(rig="r", compound="X", purpose="check", stops=9, hours_per_stop=0.01),
            Pace(rig="r", compound="X", purpose=None, stops=90, hours_per_stop=0.01, hours_per_test=46.0)]  # fmt: skip
    assert archive(precision=RigPrecision(pace=pace)).hours_per_test == 46.0
    assert archive().hours_per_test is None
