"""A fiftieth of the study of wear laws, with seeds of its own; a twentieth under the heavy mark."""

import numpy as np
import pytest

from tests.studies.wear_laws import coverage, page, right_share, study


@pytest.fixture(scope="module", params=[0.02, pytest.param(0.05, marks=pytest.mark.heavy)])
def found(request):
    return study(request.param, 7)


def test_the_true_law_is_chosen(found):
    assert right_share(found.laws) >= 0.8
    assert {j.law for j in found.laws} == {"energy", "distance", "power", "oxidation", "two_regime"}


def test_intervals_hold_the_truth(found):
    assert coverage(found.laws) >= 0.8


def test_designs_that_cannot_tell_say_so(found):
    assert all(all(row) for rows in found.cannot.values() for row in rows)


def test_activation_energy_on_the_demo_program(found):
    assert len(found.demo) in (2, 5) and all(j.identified for j in found.demo)
    assert sum(j.covered["Ea"] for j in found.demo) >= len(found.demo) - 1
    assert 5 < np.median([j.width["Ea"] for j in found.demo]) < 60


def test_page_says_its_command_and_counts(found):
    text = page(found)
    assert "python -m tests.studies.wear_laws --write" in text and f"{len(found.laws)} programs" in text
