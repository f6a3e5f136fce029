"""A seeded few of the fault study, a twentieth under the heavy mark: `python -m tests.studies.faults` is the whole of it."""

import pytest

from tests.studies.fault_kinds import FAULTS
from tests.studies.faults import false_findings, injected


def test_the_study_has_25_kinds_of_fault_at_two_sizes():
    assert len({fault.name for fault in FAULTS}) >= 25
    assert all(len(fault.sizes) == 2 and fault.sizes[0] != fault.sizes[1] for fault in FAULTS)


@pytest.mark.parametrize(
    ("share", "least"), [(1 / 50, 2), pytest.param(1 / 18, 3, marks=pytest.mark.heavy)], ids=["few", "a twentieth"]
)
def test_faults_are_found_and_followed(share, least):
    rows = injected(share, seed=100)  # the clean test of the case below
    assert len(rows) >= least
    assert [row for row in rows if not (row.detected and row.followed)] == []


def test_a_clean_test_has_no_finding_above_info():
    false, total, codes = false_findings(1)
    assert total == 40
    assert false == 0, codes
