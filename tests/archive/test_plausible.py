"""Facts of a card that few brakes have, each told with its key; usual ones left alone."""

import copy
import datetime

import pytest

from pipeline.archive.card import Card
from pipeline.archive.plausible import unusual
from tests.wear.makers import card_content

TODAY = datetime.date(2026, 3, 4)
CASES = [
    (("date",), "2062-03-02", "date"),
    (("date",), "2026-03-07", "date"),
    (("date",), "1926-03-02", "date"),
    (("brake", "efficiency"), "0.87", "brake.efficiency"),
    (("brake", "efficiency"), "1.2", "brake.efficiency"),
    (("brake", "threshold_pressure"), "4 bar", "brake.threshold_pressure"),
    (("brake", "effective_radius"), "142 mm", "brake.effective_radius"),
    (("brake", "effective_radius"), "126 mm", "brake.effective_radius"),
    (("brake", "pads"), "3", "brake.pads"),
    (("brake", "pad_area"), "520 cm^2", "brake.pad_area"),
    (("brake", "pistons_per_side"), ["20 mm"], "brake.pistons_per_side"),
    (("brake", "disc", "mass"), "17 kg", "brake.disc"),
    (("brake", "disc", "thickness"), "82 mm", "brake.disc"),
    (("brake", "disc", "density"), "17.8 g/cm^3", "brake.disc.density"),
    (("brake", "disc", "minimum_thickness"), "27.9 mm", "brake.disc.minimum_thickness"),
    (("recordings", "sensors"), {"torque": {"full_scale": "3000 N m", "accuracy": "20 %"}}, "sensors.torque.accuracy"),
]


def keys(content: dict) -> list[str]:
    return [key for key, _ in unusual(Card.model_validate(content), TODAY)]


def test_a_usual_card_has_nothing_unusual():
    content = card_content()
    assert keys(content) == []
    for value in ("0.9", "1"):
        assert keys(content | {"brake": content["brake"] | {"efficiency": value}}) == []
    assert keys(content | {"date": "2026-03-05"}) == []


@pytest.mark.parametrize(("path", "value", "key"), CASES)
def test_each_unusual_fact_is_told_with_its_key(path, value, key):
    content = copy.deepcopy(card_content())
    place = content
    for name in path[:-1]:
        place = place[name]
    place[path[-1]] = value
    assert key in keys(content)


def test_a_radius_alone_is_held_against_the_pads():
    """Without a ring nothing else of the card shows a centimetre written for a millimetre."""
    content = copy.deepcopy(card_content())
    del content["brake"]["friction_ring"]
    for value, told in (
        ("134 mm", []),
        ("134 cm", ["brake.effective_radius"]),
        ("13.4 mm", ["brake.effective_radius"]),
    ):
        content["brake"]["effective_radius"] = value
        assert [key for key in keys(content) if key == "brake.effective_radius"] == told
