"""The planned design's check: what it says before a test agrees with what the test's own fit would say."""

import numpy as np
import pytest

from pipeline.archive.card import Card
from pipeline.errors import InputError
from pipeline.inputs.model import parse
from pipeline.method.wear import Wear
from pipeline.wear.planned import check_design, words
from pipeline.wear.planned_stops import Assumed, planned_stops
from tests.wear.makers import card_content


def block(name, initial, stops=20, pressure=40, **further):
    return {"name": name, "purpose": "map", "kind": "snub", "stops": str(stops), "speed": ["1500 rpm", "700 rpm"],
            "pressure": f"{pressure} bar", "initial_temperature": f"{initial} degC"} | further  # fmt: skip


def card(blocks, **brake):
    content = card_content(blocks=blocks)
    content["brake"] |= brake
    return parse(content, Card, "test.yaml")


WIDE = [
    block(f"b{t}", t, pressure=p)
    for t, p in ((90, 20), (160, 50), (250, 15), (320, 60), (420, 25), (520, 50), (600, 20), (660, 45))
]


def test_a_wide_design_can_tell():
    found = check_design(card(WIDE), reading_u_um=1.0)
    oxidation = found.laws["oxidation"]
    assert oxidation.identified and oxidation.would_be_chosen == "oxidation"
    ea = oxidation.parameters["Ea"]
    assert ea.low < 150 < ea.high and ea.high - ea.low < 80
    assert oxidation.condition < 50
    assert len(found.intervals) == 8 and "can be told" in words(found)


def test_better_readings_narrow_the_foreseen_interval():
    wide, narrow = (check_design(card(WIDE), reading_u_um=u).laws["oxidation"].parameters["Ea"] for u in (3.0, 0.5))
    assert narrow.high - narrow.low < 0.8 * (wide.high - wide.low)


def test_one_temperature_cannot_tell():
    found = check_design(card([block(f"b{i}", 300) for i in range(6)]))
    oxidation = found.laws["oxidation"]
    assert not oxidation.identified and oxidation.why
    assert oxidation.condition is None or oxidation.condition > 100
    assert "cannot be told" in words(found)


def test_two_readings_cannot_tell():
    found = check_design(card(WIDE), read_after=["b660"])
    assert len(found.intervals) == 1 and not found.laws["oxidation"].identified


def test_planned_energies_and_times_by_hand():
    stops = planned_stops(card([block("b", 300, stops=2)]), Assumed(mu=0.4), Wear())
    w1, w2 = 1500 * np.pi / 30, 700 * np.pi / 30
    energy = 22 * (w1**2 - w2**2) / 2
    force = (40 - 0.4) * 1e5 * np.pi / 4 * (0.030**2 + 0.034**2 + 0.038**2)
    duration = 22 * (w1 - w2) / (2 * 0.4 * force * 0.134)
    assert stops.energy_mj == pytest.approx([energy / 1e6] * 2)
    assert stops.braking_s.sum(axis=1) == pytest.approx([duration] * 2, rel=1e-6)
    assert stops.power_w_mm2 == pytest.approx([energy / duration / 10400e-6 / 1e6] * 2)
    assert stops.force_distance_n_m == pytest.approx([energy / 0.8] * 2)


def test_drags_intervals_pauses_and_controls_are_planned():
    blocks = [
        block("drag", 200, kind="drag", speed="800 rpm", duration="10 s", stops=3),
        block("fade", 200, interval="35 s", stops=5),
        block("torque", 200, control="torque", torque="800 N m", pause_before="14 h", stops=2),
        block("decel", 200, control="deceleration", deceleration="3 m/s^2", stops=2),
    ]
    stops = planned_stops(card(blocks), Assumed(), Wear())
    assert len(stops) == 12 and np.isfinite(stops.energy_mj).all()
    assert stops.temperature_c[3:8].max() > 230  # a fade warms up
    assert stops.dwell_s[7].sum() > 13 * 3600


def test_what_the_card_lacks_is_said():
    with pytest.raises(InputError, match="heat_capacity"):
        check_design(card(WIDE, disc={"mass": "1.7 kg", "thickness": "28 mm"}))
    with pytest.raises(InputError, match="no such block"):
        check_design(card(WIDE), read_after=["elsewhere"])
    bare = block("b", 300)
    del bare["pressure"]
    with pytest.raises(InputError, match="no pressure"):
        check_design(card([bare]))
