"""findings.json: the keys of docs/contract.md, worst first, nothing twice, nothing of another test."""

from pipeline.report import merge, per_test_findings
from pipeline.results.findings import Findings, Found
from pipeline.results.model import read, write
from pipeline.results.record import Record
from pipeline.results.rigs import OfRig, Rigs

RAW = Found(code="spike", severity="suspect", stop=40, message="3 spikes")
KEYS = ["code", "severity", "stop", "file", "channel", "start_s", "end_s", "message", "evidence", "action"]


def test_keys_of_the_contract_and_order():
    note = Found(code="card", severity="info", message="note")
    merged = merge.merged("t", "m", [RAW, note, Found(code="broken", severity="rejected", stop=7, message="off")])
    assert [item.code for item in merged.findings] == ["broken", "spike", "card"]
    assert list(merged.findings[0].model_dump()) == KEYS
    assert merged.findings[0].evidence == {}
    assert (merged.test, merged.method) == ("t", "m")


def test_the_same_finding_stands_once():
    assert len(merge.merged("t", "m", [RAW, RAW]).findings) == 1


def test_what_holds_for_the_whole_test_stands_beside_what_strikes_a_stop():
    whole = Found(code="spike", severity="suspect", message="spikes everywhere")
    assert merge.merged("t", "m", [RAW, whole]).findings == [RAW, whole]


def test_findings_of_all_stages_and_of_the_tests_own_rig_alone(tmp_path):
    record, rigs, into = tmp_path / "t.json", tmp_path / "rigs.json", tmp_path / "tests" / "t"
    write(record, Record(test="t", findings=[Found(code="recording_cut", severity="suspect", message="cut")]))
    write(into / "stops_findings.json", Findings(test="t", findings=[RAW]))
    write(rigs, Rigs(findings=[OfRig(test=t, code="rig_shift", severity="suspect", message=t) for t in ("t", "u")]))
    per_test_findings.run(folder=tmp_path / "t", method="m", record=record, rigs=rigs, renamed="x", into=into)
    found = read(into / "findings.json", Findings).findings
    assert [item.code for item in found] == ["spike", "recording_cut", "rig_shift", "compound_renamed"]
    assert [item.message for item in found if item.code == "rig_shift"] == ["t"]


def test_an_unusable_test_has_a_finding_that_says_so():
    merged = merge.merged("t", "m", [RAW], unusable="test.yaml: inertia: missing")
    assert merged.findings[0].severity == "unusable"
    assert merged.findings[0].message == "test.yaml: inertia: missing"


def test_a_recording_that_cannot_be_read_is_told_once_with_its_stop():
    of_file = Found(code="recording_unreadable", severity="rejected", file="r/2.csv", message="r/2.csv: is empty")
    of_stop = of_file.model_copy(update={"stop": 2, "message": "stop 2: r/2.csv cannot be read: is empty"})
    other = of_file.model_copy(update={"file": "r/3.csv"})
    whole = Found(code="unit_slip", severity="suspect", message="torque")
    at_stop = whole.model_copy(update={"stop": 5, "file": "r/5.csv"})
    found = merge.merged("t", "m", [of_file, of_stop, other, whole, at_stop]).findings
    assert found == [of_stop, other, at_stop, whole]
