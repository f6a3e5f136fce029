"""Two compounds compared by the workflow: which rules a comparison and a table of facts bring, and run again."""

from __future__ import annotations

import json

import pytest

from tests.workflow.makers import planned_rules, small_workspace, snakemake

pytestmark = pytest.mark.workflow
COMPARED = "compare_compounds: [[Marram 6, Marram 7], [Marram 6, Marram 9]]\nfacts: batches.csv\n"
FACTS = "compound,batch,density (g/cm3)\nMarram 6,M6-2406,1.76\nMarram 7,M7-2501,1.71\nMarram 7,M7-2501\n"


@pytest.fixture(scope="module")
def workspace(tmp_path_factory):
    """One test each of two compounds; not run."""
    config = small_workspace(tmp_path_factory.mktemp("two"), ["six", "seven"])
    card = config.parent / "archive" / "seven" / "test.yaml"
    card.write_text(card.read_text().replace("Marram 6", "Marram 7").replace("M6-2406", "M7-2501"))
    (config.parent / "batches.csv").write_text(FACTS)
    config.write_text(config.read_text() + COMPARED)
    return config


def test_a_comparison_is_planned_for_the_pairs_that_cards_name(workspace):
    planned = planned_rules(workspace)
    assert planned["comparison"] == 1 and planned["sheet"] == 2


@pytest.mark.heavy
def test_a_change_of_the_facts_runs_sheets_and_comparison_alone(workspace):
    done = snakemake(workspace)
    assert done.returncode == 0, done.stderr
    results = workspace.parent / "results" / "plain"
    found = json.loads((results / "comparisons/marram-6--marram-7/comparison.json").read_text())
    assert {row["verdict"] for row in found["rows"]} == {"undecided"}  # one specimen each
    assert [fact["facts"] for fact in found["facts"]] == [{"density (g/cm3)": "1.76"}, {"density (g/cm3)": "1.71"}]
    index = (results / "index.html").read_text()
    assert "comparisons/marram-6--marram-7/comparison.html" in index
    left_out = {row["file"]: row["why"] for row in json.loads((results / "archive.json").read_text())["left_out"]}
    assert "line 4: 2 cells" in left_out["batches.csv"] and "Marram 9" in left_out["config.yaml"]
    assert planned_rules(workspace) == {}
    (workspace.parent / "batches.csv").write_text(FACTS.replace("1.71", "1.73"))
    assert planned_rules(workspace) == {"sheet": 2, "comparison": 1, "all": 1, "total": 4}
    assert snakemake(workspace).returncode == 0
    assert "1.73" in (results / "comparisons/marram-6--marram-7/comparison.html").read_text()
