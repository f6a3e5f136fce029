"""Calibrations of the rig: torque and pressure corrected by what was found, in the budget, told; the recording's truth back."""

from types import SimpleNamespace

import numpy as np
import pytest

from pipeline.report.document import Table
from pipeline.report.sections.identity import calibration_table
from pipeline.report.source import Cited
from pipeline.results.summary import TestSummary
from tests.stops import test_from_summary as old
from tests.stops.makers import Application, Rig, reduce, write_test

APPS = [Application(pressure=p, block=f"map {p}") for p in (15, 30, 50)]
EVENT = "date: 2026-02-20, what: calibration"


def rig_file(folder, figures):
    path = folder / "north.yaml"
    path.write_text(f"rig: north\nevents: [{{{EVENT}, {figures}}}]\n")
    return path


def test_a_known_gain_is_taken_off_and_its_uncertainty_counted(tmp_path):
    """A torque sensor that reads 1.2 % and a pressure sensor that reads 0.8 % too much, as the calibration found."""
    write_test(tmp_path, APPS, Rig(torque_gain=1.012, pressure_gain=1.008))
    write_test(tmp_path, APPS, Rig(), name="true")
    rig = rig_file(tmp_path, "torque_gain: {value: 1.012, u: 0.3 %}, pressure_gain: {value: 1.008, u: 0.002}")
    bare, found = reduce(tmp_path), reduce(tmp_path, rig=rig)
    true = reduce(tmp_path, "true")
    assert np.abs(bare.stops["mu"] / true.stops["mu"] - 1).min() > 0.003
    for column, within in (("mu", 2e-4), ("torque_nm", 2e-4), ("pressure_bar", 2e-4), ("energy_ratio", 2e-4)):
        assert found.stops[column].to_list() == pytest.approx(true.stops[column].to_list(), rel=within), column
    added = np.hypot(0.003 / 1.012, 0.002 / 1.008)
    before, after = (r.summary["mu_u_common_relative"] for r in (true, found))
    assert after == pytest.approx(np.hypot(before, added), rel=1e-4)
    rows = {row["source"]: row for row in found.summary["budget"]}
    assert rows["torque_gain, calibration of 2026-02-20"]["relative_u"] == pytest.approx(0.003 / 1.012)
    assert [c["quantity"] for c in found.summary["calibrations"]] == ["torque_gain", "pressure_gain"]
    told = [f for f in found.findings if f["code"] == "calibration_applied"]
    assert [f["severity"] for f in told] == ["info", "info"]
    assert told[0]["message"] == (
        "torque readings divided by 1.012 (u 0.003): found on 2026-02-20, in effect from 2026-02-20"
    )
    assert found.stops["status"].to_list() == ["ok"] * 3
    assert not list((tmp_path / "results").rglob("*.part"))


def test_a_method_that_applies_none_gives_the_numbers_as_recorded(tmp_path):
    write_test(tmp_path, APPS[:2], Rig())
    rig = rig_file(tmp_path, "torque_gain: {value: 1.012, u: 0.002}")
    bare, found = reduce(tmp_path), reduce(tmp_path, rig=rig, conditioning={"calibrations": False})
    assert found.stops.equals(bare.stops) and found.summary["calibrations"] == []
    assert found.summary["budget"] == bare.summary["budget"] and found.findings == bare.findings


def test_a_zero_moves_the_readings_at_rest_and_no_mu_that_has_them(tmp_path):
    write_test(tmp_path, APPS[:2], Rig(pressure_offset=0.3e5))
    rig = rig_file(tmp_path, "pressure_zero: 0.3 bar, u: 0.05 bar")
    bare, found = reduce(tmp_path), reduce(tmp_path, rig=rig)
    assert bare.stops["pressure_rest_bar"].to_list() == pytest.approx([0.3, 0.3], abs=0.03)
    assert found.stops["pressure_rest_bar"].to_list() == pytest.approx([0.0, 0.0], abs=0.03)
    assert found.stops["mu"].to_list() == pytest.approx(bare.stops["mu"].to_list(), rel=1e-4)
    (row,) = (r for r in found.summary["budget"] if r["source"].startswith("pressure_zero"))
    assert row["relative_u"] is None and "taken off after it" in row["why"]


def test_a_rig_file_that_is_left_out_is_told_in_its_tests(tmp_path):
    write_test(tmp_path, APPS[:1], Rig())
    bare, found = reduce(tmp_path), reduce(tmp_path, uncorrected="north.yaml: torque_gain: is 0")
    assert found.stops.equals(bare.stops)
    (told,) = (f for f in found.findings if f not in bare.findings)
    assert (told["code"], told["severity"], told["stop"]) == ("calibration_not_applied", "suspect", None)
    assert told["message"].endswith("north.yaml: torque_gain: is 0")


def test_a_table_of_reduced_rows_is_not_corrected_and_says_so(tmp_path):
    bare = old.kept(tmp_path, old.rows())
    found = reduce(tmp_path, rig=rig_file(tmp_path, "torque_gain: {value: 1.012, u: 0.002}"))
    assert found.stops.equals(bare.stops) and found.summary["calibrations"] == []
    (told,) = (f for f in found.findings if f["code"] == "calibration_not_applied")
    assert told["message"].startswith(
        "only reduced rows were kept, so these are not corrected: torque readings divided"
    )


def test_the_sheet_lists_the_corrections_with_the_file_they_stand_in():
    row = {"quantity": "pressure_zero", "value": 0.3, "u": None, "unit": "bar", "found": "2026-02-20",
           "since": "2026-02-01", "later": ["sensor 2026-03-01"]}  # fmt: skip
    summary = Cited("tests/a/summary.json", TestSummary(test="a", calibrations=[row]))
    (table,) = calibration_table(SimpleNamespace(usable=[SimpleNamespace(test="a", summary=summary)]))
    assert isinstance(table, Table)
    ((test, what, value, u, found, since, later),) = table.rows
    assert (test, what, found, since, later) == ("a", "pressure zero", "2026-02-20", "2026-02-01", "sensor 2026-03-01")
    assert (value.value, value.unit, value.key) == (0.3, "bar", "/calibrations/0/value")
    assert u.value is None and u.why == "none stated: counted as 0"
    none = SimpleNamespace(usable=[SimpleNamespace(test="a", summary=Cited("x", TestSummary(test="a")))])
    assert calibration_table(none) == []
