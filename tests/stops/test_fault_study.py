"""A seeded part of the fault study: `python -m tests.studies.faults` is the whole of it."""

from tests.studies.fault_kinds import FAULTS
from tests.studies.faults import false_findings, injected


def test_the_study_has_25_kinds_of_fault_at_two_sizes():
    assert len({fault.name for fault in FAULTS}) >= 25
    assert all(len(fault.sizes) == 2 and fault.sizes[0] != fault.sizes[1] for fault in FAULTS)


def test_a_twentieth_of_the_faults_is_found_and_followed():
    rows = injected(1 / 18, seed=100)  # the clean test of the case below
    assert len(rows) >= 3
    assert [row for row in rows if not (row.detected and row.followed)] == []


def test_a_clean_test_has_no_finding_above_info():
    false, total, codes = false_findings(1)
    assert total == 40
    assert false == 0, codes
