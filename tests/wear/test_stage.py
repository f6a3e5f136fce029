"""`stopsheet wear` on small tests with a known answer: what counts, what is said, what is null and why."""

import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest
import yaml

from pipeline.method import Method, settings_of
from pipeline.results import write_json, write_parquet
from pipeline.vocabulary import TRACES, conform, empty
from pipeline.wear import stage
from tests.makers import stops_frame
from tests.wear.makers import card_content

STOPS, BEDDING, A = 60, 20, 7.0  # um per MJ, both faces
ENERGY_KJ = 240.0
RING_MM2 = np.pi / 4 * (312**2 - 220**2)


def stops(**columns):
    purpose = ["bedding"] * BEDDING + ["map"] * (STOPS - BEDDING)
    block = ["bed-in"] * BEDDING + ["map 1"] * (STOPS - BEDDING)
    return stops_frame(STOPS, **{"purpose": purpose, "block": block, "energy_kj": ENERGY_KJ, **columns})


def traces(table):
    """Three seconds at falling speed and a little after, of every stop."""
    t = np.array([0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5])
    rows = [
        {"stop": s, "time_s": x, "speed_rpm": 1500 - 333 * min(x, 3.0), "torque_nm": 760.0 if x <= 3 else 0.0, "pressure_bar": 40.0 if x <= 3 else 0.0,
         "disc_temperature_c": 300.0 + 28 * min(x, 3.0), "mu": None}
        for s in table["stop"] for x in t
    ]  # fmt: skip
    return conform(pl.DataFrame(rows), TRACES)


def wear_csv(lost, component="disc", new=28.0):
    rows = ["after_stop,component,quantity,point,value,unit"]
    for after, um in lost.items():
        rows += [f"{after},{component},thickness,{p},{new + 0.002 * p - um / 1000:.5f},mm" for p in (1, 2, 3)]
    return "\n".join(rows) + "\n"


def energy_loss(after):
    return A * ENERGY_KJ / 1e3 * after


def run(tmp_path: Path, *, table=None, text=None, missing=(), unusable=None, card=None, with_traces=True):
    """(wear.json, wear_findings.json) of a test written to tmp_path."""
    folder, into = tmp_path / "archive" / "t-1", tmp_path / "results" / "m" / "tests" / "t-1"
    folder.mkdir(parents=True)
    (folder / "test.yaml").write_text(yaml.safe_dump(card or card_content()))
    if text is not None:
        (folder / "wear.csv").write_text(text, encoding="utf-8")
    table = stops() if table is None else table
    write_parquet(into / "stops.parquet", table)
    write_parquet(into / "traces.parquet", traces(table) if with_traces else empty(TRACES))
    write_json(into / "summary.json", {"test": "t-1", "unusable": unusable, "missing": list(missing)})
    stage.run(folder=folder, settings=settings_of(Method(), "wear"), into=into)
    return (json.loads((into / name).read_text()) for name in ("wear.json", "wear_findings.json"))


def codes(findings):
    return [f["code"] for f in findings["findings"]]


READ = {0: 0.0, 20: energy_loss(20), 40: energy_loss(40), 60: energy_loss(60)}


def test_rates_by_hand(tmp_path):
    wear, findings = run(tmp_path, text=wear_csv(READ))
    disc = wear["components"]["disc"]
    assert wear["test"] == "t-1" and wear["method"] == "m" and wear["stamp"]["stage"] == "wear"
    assert [(i["from_stop"], i["to_stop"], i["stops"]) for i in disc["intervals"]] == [
        (0, 20, 20),
        (20, 40, 20),
        (40, 60, 20),
    ]
    assert disc["intervals"][0]["wear_um"] == pytest.approx(33.6, abs=0.02)
    rates = disc["rates"]
    assert rates["stops"] == {"from_stop": 20, "to_stop": 60, "count": 40, "energy_mj": pytest.approx(9.6)}
    assert rates["um_per_stop"]["value"] == pytest.approx(1.68, rel=1e-3)
    assert rates["um_per_stop_per_face"]["value"] == pytest.approx(0.84, rel=1e-3)
    assert rates["mm3_per_mj"]["value"] == pytest.approx(A * 1e-3 * RING_MM2, rel=1e-3)
    force = (40 - 0.4) * 1e5 * np.pi / 4 * (0.030**2 + 0.034**2 + 0.038**2)
    one_face = 1.68e-3 / 2 * RING_MM2
    assert rates["mm3_per_n_m"]["value"] == pytest.approx(one_face / (force * 42.0), rel=0.01)
    assert rates["mg_per_stop"]["value"] == pytest.approx(1.68e-3 * RING_MM2 * 1.78, rel=1e-3)
    for key in ("um_per_stop", "mm3_per_mj"):
        assert rates[key]["low"] < rates[key]["value"] < rates[key]["high"]
    assert disc["chosen"] == "energy" and "wear_noise_assumed" not in codes(findings)
    a = next(m for m in disc["models"] if m["model"] == "energy")["parameters"]["a"]
    assert a["value"] == pytest.approx(A, rel=0.01) and a["unit"] == "um/MJ"


def test_a_pad_has_one_face_and_its_own_area(tmp_path):
    wear, _ = run(tmp_path, text=wear_csv(READ, "pad_inner", 24.0))
    pad = wear["components"]["pad_inner"]
    assert pad["faces"] == 1 and pad["rates"]["um_per_stop"] == pad["rates"]["um_per_stop_per_face"]
    assert pad["rates"]["mm3_per_mj"]["value"] == pytest.approx(A * 1e-3 * 5200, rel=1e-3)


def test_rejected_and_aborted_stops_count(tmp_path):
    status = ["rejected" if i % 3 == 0 else "ok" for i in range(STOPS)]
    wear, _ = run(tmp_path, table=stops(status=status, mu=None), text=wear_csv(READ))
    assert wear["components"]["disc"]["rates"]["mm3_per_mj"]["value"] == pytest.approx(A * 1e-3 * RING_MM2, rel=1e-3)


def test_missing_recordings_count_with_the_schedules_energy(tmp_path):
    number = np.arange(1, STOPS + 1)
    table = stops(run_number=np.where(number >= 30, number + 1, number))
    text = wear_csv({0: 0.0, 20: energy_loss(20), 61: energy_loss(61)})
    missing = [{"run_number": 30, "block": "map 1", "energy_kj": ENERGY_KJ, "from": "schedule"}]
    wear, findings = run(tmp_path, table=table, text=text, missing=missing)
    disc = wear["components"]["disc"]
    assert [i["stops"] for i in disc["intervals"]] == [20, 41]
    assert disc["intervals"][1]["energy_mj"] == pytest.approx(41 * ENERGY_KJ / 1e3)
    assert disc["rates"]["um_per_stop"]["value"] == pytest.approx(1.68, rel=2e-3)
    assert "wear_energy_filled" in codes(findings)


def test_an_unreadable_recording_counts_with_its_blocks_energy(tmp_path):
    table = stops(energy_kj=[ENERGY_KJ if i != 30 else None for i in range(STOPS)])
    wear, findings = run(tmp_path, table=table, text=wear_csv(READ))
    assert wear["components"]["disc"]["intervals"][1]["energy_mj"] == pytest.approx(20 * ENERGY_KJ / 1e3)
    (told,) = (one["message"] for one in findings["findings"] if one["code"] == "wear_energy_filled")
    assert told == "1 stop without a measured energy: that of the block or the schedule is counted"


def test_one_temperature_is_said_and_nothing_false_is_stated(tmp_path):
    wear, _ = run(tmp_path, text=wear_csv(READ))
    oxidation = next(m for m in wear["components"]["disc"]["models"] if m["model"] == "oxidation")
    assert not oxidation["identified"] and oxidation["why"]
    nothing = dict.fromkeys(("value", "low", "high", "why", "by_source", "dominated_by"))
    assert oxidation["parameters"]["Ea"] == nothing | {"unit": "kJ/mol"}
    assert oxidation["fixed"]["th0_k"] == 873.15


def test_unknown_dwell_makes_oxidation_effective(tmp_path):
    wear, _ = run(tmp_path, table=stops(idle_before_s=None), text=wear_csv(READ))
    oxidation = next(m for m in wear["components"]["disc"]["models"] if m["model"] == "oxidation")
    assert oxidation["effective"] and "time between stops is known for 0 %" in oxidation["why"]


def test_without_the_discs_thickness_the_law_is_in_indicated_temperature(tmp_path):
    card = card_content()
    del card["brake"]["disc"]["thickness"]
    wear, _ = run(tmp_path, text=wear_csv(READ), card=card)
    oxidation = next(m for m in wear["components"]["disc"]["models"] if m["model"] == "oxidation")
    assert oxidation["effective"] and "disc.thickness" in oxidation["why"]


def test_no_traces_is_enough_for_energy(tmp_path):
    wear, _ = run(tmp_path, text=wear_csv(READ), with_traces=False)
    assert wear["components"]["disc"]["chosen"] == "energy"


def test_one_bad_reading_costs_only_itself(tmp_path):
    text = wear_csv(READ).replace("40,disc,thickness,2,", "40,disc,thickness,2,9")
    wear, findings = run(tmp_path, text=text)
    assert codes(findings).count("wear_reading_impossible") == 1
    assert wear["components"]["disc"]["rates"]["um_per_stop"]["value"] == pytest.approx(1.68, rel=2e-3)


def test_a_component_not_read_every_time_spans_the_gap(tmp_path):
    text = wear_csv(READ) + "".join(
        wear_csv({0: 0.0, 20: 10.0, 60: 40.0}, "pad_inner", 24.0).splitlines(keepends=True)[1:]
    )
    wear, findings = run(tmp_path, text=text)
    assert [(i["from_stop"], i["to_stop"]) for i in wear["components"]["pad_inner"]["intervals"]] == [(0, 20), (20, 60)]
    assert "wear_reading_missing" in codes(findings)


@pytest.mark.parametrize("text", ["after_stop,komponente\n", wear_csv(READ).replace("mm", "bar"), "", "\x00\x01"])
def test_a_bad_file_gives_null_with_a_finding(tmp_path, text):
    wear, findings = run(tmp_path, text=text)
    assert wear["components"] is None and wear["why"]
    assert codes(findings) == ["wear_file_invalid"]


def test_a_named_file_that_is_not_there_is_said(tmp_path):
    wear, findings = run(tmp_path)
    assert wear["components"] is None and codes(findings) == ["wear_file_invalid"]


def test_no_wear_file_is_no_fault(tmp_path):
    wear, findings = run(tmp_path, card=card_content(wear=None))
    assert wear["components"] is None and wear["why"] == "the test card names no wear file"
    assert findings["findings"] == []


def test_an_unusable_test_says_why(tmp_path):
    wear, _ = run(tmp_path, unusable="no recording matches", text=wear_csv(READ))
    assert wear["unusable"] == "no recording matches" and wear["components"] is None


def test_a_reading_at_zero_only_gives_no_rate(tmp_path):
    wear, _ = run(tmp_path, text=wear_csv({0: 0.0}))
    assert wear["components"]["disc"]["rates"] is None and wear["components"]["disc"]["why"]


def test_bedding_in_the_only_interval_is_said(tmp_path):
    wear, _ = run(tmp_path, text=wear_csv({0: 0.0, 60: energy_loss(60)}))
    rates = wear["components"]["disc"]["rates"]
    assert rates["um_per_stop"]["value"] == pytest.approx(1.68, rel=2e-3) and "bedding" in rates["why"]


def test_wear_of_a_named_block_and_shares_add_up(tmp_path):
    wear, _ = run(tmp_path, text=wear_csv(READ))
    disc = wear["components"]["disc"]
    rows = {row["block"]: row for row in disc["blocks"]}
    assert rows["map 1"]["um_per_100_stops"]["value"] == pytest.approx(168, rel=0.01)
    assert disc["map_and_duty"]["um_per_stop_per_face"]["value"] == pytest.approx(0.84, rel=0.01)
    shared = sum(sum(row["wear_um"].values()) for row in disc["shares"])
    assert shared == pytest.approx(sum(i["predicted_um"] for i in disc["intervals"]), rel=1e-6)


@pytest.mark.parametrize("wild", [9999.0, -300.0])
def test_a_broken_thermocouple_does_not_oxidise_the_disc(tmp_path, wild):
    hot = [wild if i == 25 else 300.0 for i in range(STOPS)]
    wear, _ = run(tmp_path, table=stops(temperature_initial_c=hot), text=wear_csv(READ))
    energy = next(m for m in wear["components"]["disc"]["models"] if m["model"] == "energy")
    assert energy["range"]["surface_c"][1] < 700


@pytest.mark.parametrize("unit", ["cm", "in"])
def test_readings_nowhere_near_the_cards_part_are_left_out(tmp_path, unit):
    wear, findings = run(tmp_path, text=wear_csv(READ).replace("mm", unit))
    assert wear["components"]["disc"]["rates"] is None
    said = next(f["message"] for f in findings["findings"] if f["code"] == "wear_reading_impossible")
    assert "28 mm" in said and "unit" in said


def test_readings_that_no_brake_part_has_are_left_out_one_by_one(tmp_path):
    wear, findings = run(tmp_path, text=wear_csv(READ).replace("mm", "furlong"))
    assert wear["components"] is None and wear["why"] == "no wear reading is left"
    said = next(f["message"] for f in findings["findings"] if f["code"] == "wear_reading_impossible")
    assert "0.2 mm to 1 m" in said and "wrong unit" in said


NULLS = {
    "everything": dict.fromkeys(
        ("energy_kj", "duration_s", "power_density_w_mm2", "sliding_distance_m", "pressure_bar", "idle_before_s",
         "temperature_initial_c", "temperature_mean_c", "temperature_end_c", "temperature_peak_c")),
    "temperatures": dict.fromkeys(("temperature_initial_c", "temperature_mean_c", "temperature_end_c", "temperature_peak_c")),
    "pressure": {"pressure_bar": None},
    "blocks": {"block": None, "purpose": None},
    "run numbers": {"run_number": None},
    "nothing but zeros": {"energy_kj": 0.0, "duration_s": 0.0},
    "clock that runs back": {"idle_before_s": -5.0},
}  # fmt: skip


@pytest.mark.parametrize("with_traces", [pytest.param(True, marks=pytest.mark.heavy), False])
@pytest.mark.parametrize("what", NULLS)
def test_stops_without_what_a_law_needs_leave_the_readings_standing(tmp_path, what, with_traces):
    wear, _ = run(tmp_path, table=stops(**NULLS[what]), text=wear_csv(READ), with_traces=with_traces)
    disc = wear["components"]["disc"]
    assert disc["rates"]["um_per_stop"]["value"] == pytest.approx(1.68, rel=1e-3)
    if what in ("everything", "nothing but zeros"):
        assert disc["chosen"] is None and disc["chosen_why"]
        assert disc["rates"]["mm3_per_mj"] is None and disc["rates"]["why"]
    else:
        assert disc["chosen"] == "energy"
