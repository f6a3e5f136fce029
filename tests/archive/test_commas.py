"""Decimal commas and the trade's units in a card: the same card, or a message that says what to write."""

import pytest
import yaml

from pipeline.archive.card import load_card
from pipeline.errors import InputError
from tests.recordings.makers import card, write_card

PLAIN = {"mass": "1.75 kg", "thickness": "28.5 mm", "density": "1.78 g/cm^3", "heat_capacity": "500 J/(kg K)"}
WRITTEN = {"mass": "1,75 kg", "thickness": "28,5 mm", "density": "1,78 g/cm³", "heat_capacity": "500 J/kgK"}


def test_a_card_with_commas_and_trade_units_is_the_plain_card(tmp_path):
    plain, other = card(), card()
    plain["brake"] |= {"disc": PLAIN, "threshold_pressure": "0.4 bar", "efficiency": "0.97"}
    other["brake"] |= {"disc": WRITTEN, "threshold_pressure": "0,4 bar", "efficiency": "0,97", "pad_area": "52 cm²"}
    plain["recordings"]["sensors"] = {"torque": {"full_scale": "3000 N m", "accuracy": "0.2 %"}}
    other["recordings"]["sensors"] = {"torque": {"full_scale": "300 daNm", "accuracy": "0,2 %"}}
    other["inertia"] = "26,0 kgm²"
    cards = [load_card(write_card(tmp_path / name, each)) for name, each in (("a", plain), ("b", other))]
    assert cards[0].brake == cards[1].brake and cards[0].inertia == cards[1].inertia


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("{mass: 1.7 kg}", "{mass: 1,7 kg}", "inside { } a decimal comma stands in quotes"),
        ("format: delimited", "decimal: ,", "a comma that is a value; accepted: ',' in quotes"),
        ("{mass: 1.7 kg}", "{mass: '1,700 kg'}", "can mean 1.700 or 1700"),
    ],
)
def test_a_comma_where_it_cannot_stand_says_how_to_write_it(tmp_path, old, new, said):
    folder = write_card(tmp_path / "t", card())
    content = card()
    content["brake"]["disc"] = "@"
    text = yaml.safe_dump(content).replace("'@'", "{mass: 1.7 kg}")
    assert old in text
    (folder / "test.yaml").write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(InputError) as error:
        load_card(folder)
    assert said in str(error.value)


@pytest.mark.parametrize(
    ("unit", "said"), [("km/h", "needs rolling_radius"), ("1/s", "km/h"), ("bar", "a linear speed (km/h, m/s, mph)")]
)
def test_a_speed_that_cannot_be_the_shafts_says_what_is_missing(tmp_path, unit, said):
    content = card()
    content["recordings"]["channels"]["speed"]["unit"] = unit
    with pytest.raises(InputError) as error:
        load_card(write_card(tmp_path / "t", content))
    assert said in str(error.value) and "channels.speed" in str(error.value)
