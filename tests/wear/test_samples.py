"""Wear of the demo archive against the truth its simulator kept."""

import json

import polars as pl
import pytest

from tests.conftest import SAMPLES

CHARACTERISED = ("m4-2403-a", "m4-2403-b", "m4-2405-a", "m4-2405-b", "m4-2407-a", "m4-2407-b", "m6-2406-a", "m6-2406-b")


@pytest.fixture(scope="module")
def wear(sample_results):
    root = sample_results.root / "revised" / "tests"
    return {folder.name: json.loads((folder / "wear.json").read_text()) for folder in sorted(root.iterdir())}


def material(test):
    return json.loads((SAMPLES / "truth" / f"{test}.json").read_text())["material"]


def chosen(component):
    return next(m for m in component["models"] if m["model"] == component["chosen"])


def test_oxidation_is_chosen_for_discs_and_energy_for_pads(wear):
    assert {test: wear[test]["components"]["disc"]["chosen"] for test in CHARACTERISED} == dict.fromkeys(
        CHARACTERISED, "oxidation"
    )
    pads = [wear[t]["components"][pad]["chosen"] for t in CHARACTERISED for pad in ("pad_inner", "pad_outer")]
    assert pads.count("energy") >= len(pads) - 1


@pytest.mark.parametrize(
    ("name", "true", "held"),
    [
        ("a", lambda m: m["disc_wear_um_mj"], 7),
        ("B", lambda m: m["oxidation_um_s"], 7),
        ("Ea", lambda m: m["oxidation_energy_j_mol"] / 1e3, 7),
    ],
)
def test_intervals_of_the_discs_law_hold_the_truth(wear, name, true, held):
    inside, off = 0, []
    for test in CHARACTERISED:
        parameter = chosen(wear[test]["components"]["disc"])["parameters"][name]
        value = true(material(test))
        inside += parameter["low"] <= value <= parameter["high"]
        off.append(abs(parameter["value"] / value - 1))
    assert inside >= held
    assert max(off) < {"a": 0.03, "B": 0.35, "Ea": 0.12}[name]


@pytest.mark.parametrize("test", CHARACTERISED)
def test_rates_and_intervals_agree_with_the_true_losses(wear, test):
    lost = pl.read_csv(SAMPLES / "truth" / f"{test}.wear.csv").sort("after_stop")
    for part, slack in (("disc", 4.0), ("pad_inner", 4.5), ("pad_outer", 4.5)):
        component = wear[test]["components"][part]
        true = dict(lost.select("after_stop", f"{part}_um").iter_rows()) | {0: 0.0}
        assert len(component["intervals"]) >= 5
        for interval in component["intervals"]:
            expected = true[interval["to_stop"]] - true[interval["from_stop"]]
            assert abs(interval["wear_um"] - expected) < 4.5 * interval["wear_u_um"]
            assert abs(interval["predicted_um"] - expected) < slack + 0.05 * expected
        rates = component["rates"]
        total = true[rates["stops"]["to_stop"]] - true[rates["stops"]["from_stop"]]
        assert rates["um_per_stop"]["value"] == pytest.approx(total / rates["stops"]["count"], rel=0.02)


@pytest.mark.parametrize("test", CHARACTERISED)
def test_mass_over_thickness_shows_the_inner_oxidation_and_only_it(wear, test):
    lost = pl.read_csv(SAMPLES / "truth" / f"{test}.wear.csv").sort("after_stop").row(-1, named=True)
    expected = 1 + material(test)["internal_oxidation"] * lost["disc_oxidation_um"] / lost["disc_um"]
    ratio = wear[test]["components"]["disc"]["mass_to_thickness"]
    assert ratio["value"] == pytest.approx(expected, abs=0.015)
    for pad in ("pad_inner", "pad_outer"):
        ratio = wear[test]["components"][pad]["mass_to_thickness"]
        assert ratio["low"] - 0.01 < 1 < ratio["high"] + 0.01


def test_the_compound_says_its_law_and_each_specimens_factor(sample_results):
    found = json.loads((sample_results.root / "revised" / "compounds" / "marram-4" / "wear.json").read_text())
    assert set(found["components"]) == {"disc", "pad_inner", "pad_outer"}
    for component in found["components"].values():
        assert component["intervals"] and all(row["wear_g"] > 0 for row in component["intervals"])
    disc = found["components"]["disc"]
    assert disc["chosen"] == "oxidation" and len(disc["specimens"]) == 7
    factor = {s["test"]: s["factor"]["value"] for s in disc["specimens"]}
    odd = [v for t, v in factor.items() if t.startswith("m4-2407")]
    assert min(odd) > max(v for t, v in factor.items() if not t.startswith("m4-2407"))
    ea = chosen(disc)["parameters"]["Ea"]
    assert ea["low"] < 150 < ea["high"] and ea["high"] - ea["low"] < 40


def test_no_false_findings(sample_results):
    for test in CHARACTERISED:
        path = sample_results.root / "revised" / "tests" / test / "wear_findings.json"
        assert json.loads(path.read_text())["findings"] == []
