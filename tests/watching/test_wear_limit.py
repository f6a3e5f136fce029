"""What is left of a part by its readings so far: where it is thinnest, without readings that cannot be, soaks apart."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from pipeline.archive.card import Dwell, load_card
from pipeline.method import Method
from pipeline.stops.schedule import expanded
from pipeline.watching.wear_limit import outlooks, wear_so_far
from pipeline.wear.forecast import scheduled_mj
from pipeline.wear.readings import read_wear
from tests.conftest import REPO

CARD = load_card(REPO / "rig_samples" / "archive" / "m4-2403-a")  # the disc: 28 mm new, 24 mm at least
RUN = 60
STOPS = pl.DataFrame(
    {
        "stop": range(1, RUN + 1),
        "run_number": range(1, RUN + 1),
        "schedule_row": range(RUN),
        "purpose": ["bedding"] * 20 + ["duty"] * 40,
        "energy_kj": [300.0] * RUN,
        "kinetic_energy_kj": [320.0] * RUN,
        "mu": [0.4] * RUN,
    }
)
USUAL = {0: (28.0, 28.0), 20: (27.9, 27.9), 40: (27.8, 27.8), 60: (27.7, 27.7)}


def table(readings, *, quantity="thickness", unit="mm", component="disc", dwells=None):
    """wear.csv of {after stop: values at points 1, 2}."""
    rows = ["after_stop,component,quantity,point,value,unit,after_dwell"]
    for number, (after, values) in enumerate(readings):
        soaks = "" if dwells is None else dwells[number]
        rows += [f"{after},{component},{quantity},{n},{v},{unit},{soaks}" for n, v in enumerate(values, 1)]
    return "\n".join(rows) + "\n"


def without_duration(card):
    blocks = [one.model_copy(update={"duration": None}) if one.kind == "drag" else one for one in card.blocks]
    return card.model_copy(update={"blocks": tuple(blocks)})


def judged(text, tmp_path, card=CARD):
    (tmp_path / "wear.csv").write_text(text)
    return outlooks(read_wear(tmp_path / "wear.csv")[0], card, STOPS, Method().wear)


def left_mm(text, tmp_path, card=CARD):
    ((_, after, found),), without = judged(text, tmp_path, card)
    assert without == [] and after == RUN
    return found.left_um / 1e3


def test_what_is_left_is_left_at_the_thinnest_point(tmp_path):
    assert left_mm(table(USUAL.items()), tmp_path) == pytest.approx(3.7)
    worn_at_one = USUAL | {40: (27.8, 27.0), 60: (27.7, 26.2)}
    assert left_mm(table(worn_at_one.items()), tmp_path) == pytest.approx(2.2)


def test_a_last_reading_that_cannot_be_true_is_no_part_at_its_minimum(tmp_path):
    slipped = USUAL | {60: (27.7, 2.77)}
    assert left_mm(table(slipped.items()), tmp_path) == pytest.approx(3.7)


def test_readings_in_a_wrong_unit_say_nothing(tmp_path):
    tenths = {after: (a / 10, b / 10) for after, (a, b) in USUAL.items()}
    assert judged(table(tenths.items()), tmp_path) == ([], [])


def test_what_a_soak_takes_away_is_no_rate_of_the_stops_before_it(tmp_path):
    soaked = CARD.model_copy(
        update={"dwells": (Dwell.model_validate({"after_stop": 40, "temperature": "650 degC", "duration": "2 h"}),)}
    )
    readings = [(0, (28.0, 28.0)), (20, (27.9, 27.9)), (40, (27.8, 27.8)), (40, (27.2, 27.2)), (60, (27.1, 27.1))]
    ((_, _, found),), _ = judged(table(readings, dwells=["", "", 0, 1, ""]), tmp_path, soaked)
    plain = [(after, (a, b)) for after, (a, b) in USUAL.items()]
    ((_, _, dry),), _ = judged(table(plain), tmp_path)
    assert found.left_um == pytest.approx(dry.left_um - 600.0)
    assert found.left_um - found.end_um == pytest.approx(dry.left_um - dry.end_um)


@pytest.mark.parametrize(
    ("card", "text", "why"),
    [
        (
            CARD.model_copy(update={"brake": CARD.brake.model_copy(update={"disc": CARD.brake.disc.model_copy(update={"minimum_thickness": None})})}),
            table(USUAL.items()),
            "the disc lasts is not known: the card states no thickness and minimum_thickness",
        ),
        (without_duration(CARD), table(USUAL.items()), "a drag is ahead, and the card tells no duration"),
        (CARD, table([(0, (28.0, 28.0)), (20, (27.9, 27.9))]), "no rate but that of bedding"),
        (CARD, table([(20, (1700.0,)), (60, (1690.0,))], quantity="mass", unit="g"), "not weighed before the first stop"),
    ],
)  # fmt: skip
def test_a_part_of_which_nothing_can_be_said_is_named_and_no_yes(tmp_path, card, text, why):
    found, without = judged(text, tmp_path, card)
    assert found == [] and len(without) == 1 and why in without[0]


def test_a_part_at_its_minimum_is_said_whatever_is_ahead(tmp_path):
    gone = USUAL | {60: (27.7, 23.9)}
    readings = {at: (a, 24.5 if at else b) for at, (a, b) in USUAL.items()} | {60: gone[60]}
    ((_, _, found),), without = judged(table(readings.items()), tmp_path, without_duration(CARD))
    assert found.lasts == "no" and found.left_um == pytest.approx(-100.0) and without == []


def test_the_work_of_a_drag_ahead_is_its_torque_over_its_way():
    """12 bar less 0.4 on pistons of 28, 32 and 36 mm, efficiency 0.97, at 126 mm and mu 0.4, 6 s at 700 rpm; twice."""
    after = next(i for i, one in enumerate(expanded(CARD)) if one.kind == "drag")
    force = 0.97 * 11.6e5 * np.pi / 4 * (0.028**2 + 0.032**2 + 0.036**2)
    drags = 2 * (2 * 0.4 * force * 0.126) * (700 * np.pi / 30) * 6.0 / 1e6
    total = scheduled_mj(CARD, after, 0.4) - scheduled_mj(CARD, after + 2, 0.4)
    assert total == pytest.approx(drags, rel=1e-3)
    assert scheduled_mj(CARD, after + 2, None) is not None and scheduled_mj(CARD, after, None) is None


def test_a_wear_file_that_is_half_written_is_told_and_no_fault(tmp_path):
    (tmp_path / "wear.csv").write_text("after_stop,component\n0,disc")
    card = CARD.model_copy(update={"wear": "wear.csv"})
    found, without = wear_so_far(tmp_path, card, STOPS, Method().wear)
    assert found == [] and "wear.csv" in without[0]
