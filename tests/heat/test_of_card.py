"""One heat share and one conductivity for wear, duty and the law at the face: the card's, else the method's, else the default."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from pipeline.archive.card import Card, load_card
from pipeline.duty.brake_of_card import brake_of, disc_of
from pipeline.duty.cycle import Events, History
from pipeline.duty.rubbing import excess_of
from pipeline.errors import InputError
from pipeline.face.inputs import inputs_of
from pipeline.heat.of_card import (
    assumed_notes,
    assumed_words,
    conductivity_of,
    cooling_of,
    heat_share_of,
    thermocouple_of,
)
from pipeline.method import Method
from pipeline.method.wear import Wear
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.wear import CompoundWear
from pipeline.wear.of_stops import plate_of
from pipeline.wear.surface import Plate, Samples, modelled
from tests.archive.makers import CARD, card_folder
from tests.duty.test_of_batches import by_data, window

SENSORS = "    disc_temperature: {accuracy: 4 K}\n"


def card(base: Path, disc: str = "", sensors: str = "", thermocouple: str = SENSORS) -> Card:
    text = CARD.replace("heat_capacity: carbon}", f"heat_capacity: carbon{disc}}}")
    return load_card(card_folder(base, text.replace(SENSORS, thermocouple + sensors)))


def shares(of: Card, wear: Wear) -> tuple[float, float, float]:
    """What wear, duty and the law take."""
    plate, law = plate_of(of, wear), inputs_of(of, wear.conductivity, wear.heat_share)
    disc, _ = disc_of(of, Method().duty)
    assert isinstance(plate, Plate) and not isinstance(law, str) and disc is not None
    brake = brake_of(
        of, disc, CompoundFriction(compound="x"), CompoundWear(compound="x"), Method().duty, wear, "initial"
    )
    return plate.heat_share, brake.heat_share, law.share.value


def test_the_card_wins_over_the_method_and_that_over_the_default(tmp_path: Path) -> None:
    silent, stated = card(tmp_path / "a"), card(tmp_path / "b", ", heat_share: 88 %")
    assert shares(silent, Wear()) == (0.95,) * 3
    assert shares(silent, Wear(heat_share=0.9)) == (0.9,) * 3
    assert shares(stated, Wear(heat_share=0.9)) == (0.88,) * 3
    assert [heat_share_of(silent, h).source for h in (0.95, 0.9)] == ["default", "method"]
    assert heat_share_of(stated, 0.9).source == "card"


def test_wears_law_and_the_duty_have_one_face(tmp_path: Path) -> None:
    """The same braking in both: the face rises by the same above the same bulk; a card whose disc is heavier than its ring included."""
    of = card(tmp_path, ", heat_share: 0.9, conductivity: 28 W/(m K)")
    heavier = of.brake.disc.model_copy(update={"mass": 1.3 * (of.brake.disc.mass or 0.0)})
    of = of.model_copy(update={"brake": of.brake.model_copy(update={"disc": heavier})})
    plate, (disc, _) = plate_of(of, Wear()), disc_of(of, Method().duty)
    assert isinstance(plate, Plate) and disc is not None
    brake = brake_of(
        of, disc, CompoundFriction(compound="x"), CompoundWear(compound="x"), Method().duty, Wear(), "initial"
    )
    assert brake.plate is not None and {one.name for one in brake.inputs} == {
        "heat share", "conductivity", "thermocouple"
    }  # fmt: skip
    assert (brake.plate.conductivity, brake.plate.density) == (plate.conductivity, plate.density)
    start, energy, seconds, speeds = 600.0, 4e5, 3.0, (160.0, 60.0)
    events = Events(*(np.array([v]) for v in (energy, seconds, 20.0, *speeds, 30.0)))
    still = np.full((1, 7, 1), start)
    of_duty = excess_of(History(still[:, :6], still), events, brake.plate, brake.heat_share, [0])
    time = seconds * np.linspace(0, 1, 51)[None]
    speed = speeds[0] + (speeds[1] - speeds[0]) * time / seconds
    power = energy / seconds * speed / np.mean(speeds)
    samples = Samples(time, np.full_like(time, start), power, np.array([seconds]), np.array([start]))
    of_law = modelled(samples, np.array([20.0]), np.array([np.nan]), plate, None).excess
    assert of_law is not None and of_law.braking[0] == pytest.approx(of_duty[0, :51], abs=0.1)


def test_the_stated_accuracy_is_what_the_law_starts_from(tmp_path: Path) -> None:
    """Limits of 3 % of 0.9, absolute 0.027: u = 0.03 / sqrt(3); 10 % of the conductivity: 0.1 / sqrt(3)."""
    accuracy = "    heat_share: {accuracy: 3 %}\n    conductivity: {accuracy: 3 W/(m K)}\n"
    found = card(tmp_path, ", heat_share: 0.9, conductivity: 30 W/(m K)", accuracy)
    assert heat_share_of(found, 0.95).u == pytest.approx(0.03 / np.sqrt(3))
    assert conductivity_of(found, 20.0).u == pytest.approx(0.1 / np.sqrt(3))
    law = inputs_of(found, 20.0, 0.95)
    assert not isinstance(law, str)
    assert law.share.u == pytest.approx(np.hypot(0.03 / np.sqrt(3), 0.02)) and law.conductivity.u == pytest.approx(
        0.1 / np.sqrt(3)
    )


def test_no_accuracy_is_a_stated_default_and_never_zero(tmp_path: Path) -> None:
    bare = card(tmp_path / "a", ", heat_share: 0.9, conductivity: 30 W/(m K)")
    nought = card(tmp_path / "b", ", heat_share: 0.9", "    heat_share: {accuracy: 0 %}\n")
    assert (heat_share_of(bare, 0.95).u, conductivity_of(bare, 20.0).u) == (0.06, 0.15)
    assert heat_share_of(nought, 0.95).u == 0.06 and conductivity_of(nought, 20.0).u == 0.6


def test_a_window_that_the_data_end_on_one_side_keeps_the_interval_of_the_other(tmp_path: Path) -> None:
    """Without it nothing would be known of the other end either, and openings by the best estimate be called sure."""
    of = card(tmp_path)
    disc, _ = disc_of(of, Method().duty)
    given = CompoundFriction(compound="x", window=by_data(window(300.0, 600.0, 20.0), high=True))
    made = brake_of(of, disc, given, CompoundWear(compound="x"), Method().duty, Wear(), "initial")
    assert (made.window, made.window_inner, made.window_outer) == ((300, 600), (320, 600), (280, 600))
    silent = CompoundFriction(compound="x", window=by_data(window(300.0, 600.0), low=True, high=True))
    made = brake_of(of, disc, silent, CompoundWear(compound="x"), Method().duty, Wear(), "initial")
    assert made.window_inner == made.window_outer == made.window


def test_thermocouple_and_cooling_by_the_card_or_a_stated_default(tmp_path: Path) -> None:
    """Limits of 4 K and of 12 %, rectangular; 0.75 % of the reading counts at 500 degC."""
    bare = card(tmp_path / "a", thermocouple="")
    stated = card(tmp_path / "b", sensors="    cooling: {accuracy: 12 %}\n")
    relative = card(tmp_path / "c", thermocouple="    disc_temperature: {accuracy: 0.75 %}\n")
    assert (thermocouple_of(bare).u, cooling_of(bare).u) == (5.0, 0.10)
    assert thermocouple_of(bare).source == cooling_of(bare).source == "default"
    assert thermocouple_of(stated).u == pytest.approx(4 / np.sqrt(3)) and thermocouple_of(stated).source == "card"
    assert cooling_of(stated).u == pytest.approx(0.12 / np.sqrt(3)) and cooling_of(stated).source == "card"
    assert thermocouple_of(relative).u == pytest.approx(3.75 / np.sqrt(3))


def test_a_share_that_cannot_be_is_refused(tmp_path: Path) -> None:
    for k, wrong in enumerate(("110 %", "0", "5 %")):
        with pytest.raises(InputError, match="heat_share"):
            card(tmp_path / str(k), f", heat_share: {wrong}")


def test_what_is_assumed_is_said(tmp_path: Path) -> None:
    said = assumed_words(card(tmp_path / "a"), Wear())
    assert said is not None and "95 % of the friction heat is taken to go into the disc (the default)" in said
    assert "20 W/(m K) (the default)" in said
    said = assumed_words(card(tmp_path / "b", ", conductivity: 30 W/(m K)"), Wear(heat_share=0.9))
    assert said is not None and said.endswith("90 % of the friction heat is taken to go into the disc (the method's)")
    assert assumed_words(card(tmp_path / "c", ", conductivity: 30 W/(m K), heat_share: 1"), Wear()) is None


def test_wears_surface_warms_by_the_share(tmp_path: Path) -> None:
    """A share of 0.8 is the power of a stop times 0.8."""
    plate = plate_of(card(tmp_path, ", heat_share: 0.8"), Wear())
    assert isinstance(plate, Plate)
    time = np.linspace(0, 3, 60)[None, :]
    power = 60e3 * (1 - time / 4)
    whole = Plate(plate.ring_area, plate.thickness, plate.mass, plate.conductivity, plate.density, plate.material)

    def face(of: Plate, factor: float) -> np.ndarray:
        samples = Samples(time, np.full_like(time, 400.0), factor * power, np.array([3.0]), np.array([400.0]))
        return modelled(samples, np.array([60.0]), np.array([400.0]), of, None).braking[1]

    assert face(plate, 1.0) == pytest.approx(face(whole, 0.8)) and face(whole, 1.0).max() > face(plate, 1.0).max() + 20


def test_notes_name_the_tests_where_their_cards_differ(tmp_path: Path) -> None:
    silent, full = card(tmp_path / "a"), card(tmp_path / "b", ", conductivity: 30 W/(m K), heat_share: 1")
    assert assumed_notes({"t1": silent, "t2": silent}, Wear()) == [assumed_words(silent, Wear())]
    assert assumed_notes({"t1": silent, "t2": full}, Wear()) == [f"t1: {assumed_words(silent, Wear())}"]
    assert (
        assumed_notes({"t2": full}, Wear()) == []
        and assumed_notes({"t1": silent}, Wear(surface_temperature=False)) == []
    )
