"""`stopsheet predict`: what it prints, what it refuses, and how wrong calls end."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from pipeline.cli import predict as command
from pipeline.cli import run
from pipeline.face.asked import Wanted, stop_of
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.face import FaceBatchStop, FaceBrake, FaceChoice, FaceLaw
from pipeline.results.model import renewed, write
from tests.face.test_law import world


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Results of one compound with a law, another without, under one method."""
    place = tmp_path_factory.mktemp("results")
    law = world()[3].result
    assert law.model is not None
    brake = FaceBrake.model_validate(law.model.brake.model_dump() | {"rolling_radius": 0.32})
    with_wheel = renewed(law, model=renewed(law.model, brake=brake))
    for folder, name, own in (("face-1", "Face 1", with_wheel), ("bare", "Bare", FaceLaw(why="no ring"))):
        into = place / "one" / "compounds" / folder
        into.mkdir(parents=True)
        write(into / "friction.json", CompoundFriction(compound=name, method="one", face_law=own))
    return place


def call(results: Path, *more: str, compound: str = "Face 1", temperature: str = "250 degC") -> int:
    of = world()[0].compound
    rpm = of.reference.speed_rpm
    return run(
        ["predict", str(results), compound, "--from", f"{rpm:.0f} rpm", "--to", f"{rpm / 3:.0f} rpm", "--temperature", temperature, *more]
    )  # fmt: skip


def test_a_stop_at_a_pressure_is_printed_with_intervals(results: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert call(results, "--pressure", f"{world()[0].compound.reference.pressure_bar:.1f} bar") == 0
    said = capsys.readouterr().out
    for words in ("Face 1, method one", "µ, mean over the stop", "distance:", " m (", "m/s² (", "95 % intervals"):
        assert words in said


def test_each_reservation_is_told_once_and_batches_not_tested_are_named(tmp_path: Path) -> None:
    """What keeps the law from the windows stands in the choice's reason and among the law's notes alike."""
    law = world()[3].result
    assert law.model is not None
    note, own = "the search for the heat inputs did not settle", "another note"
    choice = FaceChoice(used="map", rule="r", margin=0.1, least_p=0.05, why=f"the law is better; but {note}")
    found = CompoundFriction(
        compound="Face 1", method="one", face_law=renewed(law, notes=[note, own], disagreements=[], choice=choice)
    )
    of = world()[0].compound.reference
    wanted = Wanted(f"{of.speed_rpm:.0f} rpm", f"{of.speed_rpm / 3:.0f} rpm", "250 degC", f"{of.pressure_bar:.1f} bar")
    stop = stop_of(found, wanted, command.FLAGS)
    said = [row for row in command.words(found, stop).splitlines() if row.startswith("reservation: ")]
    assert sum(note in row for row in said) == 1 and f"reservation: {own}" in said
    elsewhere = "reservation: a batch that was not tested may lie elsewhere"
    assert elsewhere not in said  # one specimen was tested: the words of `single` say so
    one = FaceBatchStop(
        batch="B",
        mu=stop.mu,
        torque_nm=stop.torque_nm,
        time_s=stop.time_s,
        distance_m=stop.distance_m,
        deceleration_mps2=stop.mu,
    )
    assert elsewhere in command.words(found, renewed(stop, batches=[one])).splitlines()


def test_pressure_for_a_deceleration_gives_that_deceleration(results: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bar = world()[0].compound.reference.pressure_bar
    assert call(results, "--pressure", f"{bar:.2f} bar", "--json") == 0
    given = json.loads(capsys.readouterr().out)
    slowing = given["deceleration_mps2"]["value"]
    assert call(results, "--deceleration", f"{slowing:.4f} m/s^2", "--json") == 0
    found = json.loads(capsys.readouterr().out)
    assert found["pressure_bar"]["value"] == pytest.approx(bar, rel=2e-3)
    assert found["deceleration_mps2"]["value"] == pytest.approx(slowing, rel=1e-3)
    v = np.array([given["speed_start_rpm"], given["speed_end_rpm"]]) * np.pi / 30 * 0.32
    assert (v[0] ** 2 - v[1] ** 2) / 2 / found["distance_m"]["value"] == pytest.approx(slowing, rel=1e-3)
    assert found["pressure_bar"]["low"] < bar < found["pressure_bar"]["high"]


def test_what_was_wanted_is_printed_as_wanted_beside_what_the_pressure_gives(
    results: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert call(results, "--deceleration", "11 m/s^2") == 0
    said = capsys.readouterr().out
    lines = {line.split(":")[0].strip(): line for line in said.splitlines()}
    assert "11.00 m/s², as wanted (" in lines["mean deceleration"] and "as wanted" not in lines["mean torque"]
    assert "; single: " in lines["mean deceleration"] and "; single: " in lines["line pressure"]
    # one specimen was tested: nothing is said of others
    for words in (
        "single stops of the specimen tested",
        "no measurement of the disc",
        "first stop after a pause",
        "hottest face, by the model",
    ):
        assert words in said


def test_outside_what_was_tested_is_refused_with_3(results: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert call(results, "--pressure", "300 bar") == 3
    said = capsys.readouterr().out
    assert "not given, outside what was tested: pressure 300.0 bar is" in said and "above the data" in said


def test_a_pressure_that_presses_nothing_is_refused(results: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert call(results, "--pressure", "0.001 bar") == 3
    said = capsys.readouterr().out
    assert "pressure 0.0 bar is" in said and "below the data" in said


def test_a_stop_that_ends_inside_the_build_up_is_refused(results: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bar = world()[0].compound.reference.pressure_bar
    assert call(results, "--pressure", f"{bar:.2f} bar", "--inertia", "0.05 kg m^2") == 3
    assert "before the pressure has built up" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("first", "last", "temperature", "said"),
    [
        ("1000 rpm", "500 rpm", "-300 degC", "absolute zero"),
        ("1000 rpm", "-5 rpm", "250 degC", "--to: '-5 rpm' is a negative speed"),
        ("-1000 rpm", "500 rpm", "250 degC", "--from: '-1000 rpm' is a negative speed"),
        ("1000 parsec", "500 rpm", "250 degC", "rpm"),
    ],
)
def test_what_cannot_be_is_a_wrong_call(
    results: Path, first: str, last: str, temperature: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["predict", str(results), "Face 1", f"--from={first}", f"--to={last}", f"--temperature={temperature}"]
    assert run([*words, "--pressure", "30 bar"]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert said in line


@pytest.mark.parametrize(
    ("more", "compound", "said"),
    [
        (["--pressure", "30 bar", "--torque", "500 N m"], "Face 1", "give one of"),
        ([], "Face 1", "give one of"),
        (["--pressure", "30"], "Face 1", "--pressure: "),
        (["--pressure", "-3 bar"], "Face 1", "above zero"),
        (["--pressure", "30 bar", "--inertia", "4 kg"], "Face 1", "--inertia: "),
        (["--pressure", "30 bar", "--method", "two"], "Face 1", "no method 'two'; there are one"),
        (["--pressure", "30 bar"], "Face 2", "no compound 'Face 2'"),
        (["--pressure", "30 bar"], "Bare", "Bare: no law at the face: no ring"),
        (["--pressure", "30"], "Bare", "--pressure: "),
        (["--deceleration", "3 m"], "Bare", "--deceleration: "),
    ],
)
def test_a_wrong_call_is_one_line(
    results: Path, more: list[str], compound: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert call(results, *more, compound=compound) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("stopsheet: ") and said in line


def test_folder_names_are_taken_too(results: Path) -> None:
    assert call(results, "--pressure", f"{world()[0].compound.reference.pressure_bar:.1f} bar", compound="face-1") == 0
