"""One specimen in two folders, through the stages that look across tests: counted once, both folders named."""

import json
import shutil

import polars as pl
import pytest
import yaml

from pipeline.compound import stage
from pipeline.method import Method, settings_of
from pipeline.rigs import stage as rigs_stage
from tests.compound.makers import SETTINGS, compound


def copied(root, test, name, **card):
    """The test's folders again under another name; `card` changes what its card says."""
    shutil.copytree(root / "archive" / test, root / "archive" / name)
    content = yaml.safe_load((root / "archive" / name / "test.yaml").read_text())
    (root / "archive" / name / "test.yaml").write_text(yaml.safe_dump(content | card))
    shutil.copytree(root / "results" / "m" / "tests" / test, root / "results" / "m" / "tests" / name)


def across(root, paths) -> dict:
    """rigs.json and the compound's files."""
    rigs_stage.run(archive=paths["archive"], results=paths["results"], rigs=[], settings=settings_of(Method(), "rigs"),
                   into=paths["rigs"].parent)  # fmt: skip
    tests = sorted(p.name for p in paths["archive"].iterdir())
    stage.run(compound="Marram 4", archive=paths["archive"], tests=tests, results=paths["results"], rigs=paths["rigs"],
              target=paths["target"], duties=[], settings=SETTINGS, into=paths["into"])  # fmt: skip
    read = {name: json.loads((paths["into"] / f"{name}.json").read_text()) for name in ("friction", "wear", "batches")}
    return read | {"rigs": json.loads(paths["rigs"].read_text())}


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    root = tmp_path_factory.mktemp("once")
    paths = compound(root, {"b1": [1.0], "b2": [0.88]})
    for batch in ("b1", "b2"):
        copied(root, f"{batch}-a", f"{batch}-copy", specimen="B")
    other = root / "archive" / "b2-a" / "test.yaml"
    brake = yaml.safe_load(other.read_text())["brake"]
    content = yaml.safe_load(other.read_text())
    content["brake"] = brake | {"pistons_per_side": ["28 mm", "36 mm", "36 mm"]}
    other.write_text(yaml.safe_dump(content))
    return across(root, paths)


def test_a_copied_specimen_is_no_second_one(found):
    """Two folders of one specimen each gave an interval of no width and the answer `different`."""
    pair = found["batches"]["pairs"][0]
    assert [batch["specimens"] for batch in found["batches"]["batches"]] == [1, 1]
    assert pair["mu_verdict"] == "undecided"
    assert pair["mu_difference"]["low"] is None and pair["mu_difference"]["why"]
    assert "b1-copy and b1-a hold the same recordings" in pair["caveat"]


def test_both_folders_are_told(found):
    told = {f["test"]: f for f in found["rigs"]["findings"] if f["code"] == "test_copied"}
    assert set(told) == {"b1-a", "b1-copy", "b2-a", "b2-copy"}
    assert "counted once, as b1-a" in told["b1-a"]["message"] and "specimen B and A" in told["b1-copy"]["message"]
    for name in ("friction", "wear", "batches"):
        assert set(found[name]["tests_left_out"]) == {"b1-copy", "b2-copy"}


def test_cards_that_differ_stand_in_every_file(found):
    pair = found["batches"]["pairs"][0]
    assert "pistons per side: 28/36/36 mm (b2-a)" in pair["caveat"].replace("30/34/38 mm (b1-a), ", "")
    for name in ("friction", "wear", "batches"):
        (item,) = found[name]["card_differences"]
        assert item["field"] == "pistons_per_side" and item["enters"] == ["mu"]
    assert any("pistons per side" in note for note in found["wear"]["notes"])
    assert any("pistons per side" in note for note in found["batches"]["notes"])


def test_a_copy_under_another_batch_decides_nothing(tmp_path):
    paths = compound(tmp_path, {"b1": [1.0, 1.004], "b2": [0.82, 0.823]})
    copied(tmp_path, "b2-a", "b3-a", batch="b3")
    result = across(tmp_path, paths)
    (pair,) = result["batches"]["pairs"]
    assert (pair["a"], pair["b"], pair["mu_verdict"]) == ("b1", "b2", "undecided")
    assert "their cards name different batches" in pair["mu_why"]
    stops = pl.read_parquet(paths["results"] / "tests" / "b3-a" / "stops.parquet")
    assert len(stops) == 76  # nothing of the copy's own results is lost
