"""findings.json: the keys of docs/contract.md, worst first, nothing twice, nothing of another test."""

from pipeline.report import merge

RAW = {"code": "spike", "severity": "suspect", "stop": 40, "message": "3 spikes"}


def test_keys_of_the_contract_and_order():
    stages = [
        {"findings": [RAW, {"code": "card", "severity": "info", "message": "note"}]},
        {"findings": [{"code": "broken", "severity": "rejected", "stop": 7}]},
    ]
    merged = merge.merged("t", "m", stages)
    assert [item["code"] for item in merged["findings"]] == ["broken", "spike", "card"]
    assert all(tuple(item)[: len(merge.KEYS)] == merge.KEYS for item in merged["findings"])
    assert merged["findings"][0]["evidence"] == {}
    assert merged["test"] == "t"
    assert merged["method"] == "m"


def test_the_same_finding_stands_once():
    assert len(merge.merged("t", "m", [{"findings": [RAW]}, [RAW]])["findings"]) == 1


def test_rig_findings_of_other_tests_are_left_out():
    rigs = {"findings": [{**RAW, "test": "other"}, {**RAW, "test": "t", "code": "rig_shift"}]}
    assert [item["code"] for item in merge.merged("t", "m", [rigs])["findings"]] == ["rig_shift"]


def test_an_unusable_test_has_a_finding_that_says_so():
    merged = merge.merged("t", "m", [{"findings": [RAW]}], unusable="test.yaml: inertia: missing")
    assert merged["findings"][0]["severity"] == "unusable"
    assert merged["findings"][0]["message"] == "test.yaml: inertia: missing"
