"""The test card: values in SI, identifiers as text, every mistake answered in one line with file and key."""

import math

import pytest

from pipeline.archive.card import load_card, sensor_limit
from pipeline.errors import InputError
from tests.archive.makers import CARD, card_folder


def test_values_are_si_and_identifiers_stay_text(tmp_path):
    card = load_card(card_folder(tmp_path))
    assert (card.batch, card.specimen) == ("2406", "NO")
    assert card.brake.piston_area == pytest.approx(math.pi / 4 * (0.030**2 + 0.034**2 + 0.038**2))
    assert card.brake.friction_area == pytest.approx(2 * 52e-4)
    assert card.brake.swept_area == pytest.approx(math.pi / 4 * (0.312**2 - 0.220**2))
    assert card.blocks[0].speed_start == pytest.approx(1500 * math.pi / 30)
    assert card.blocks[1].speed_start == pytest.approx(100 / 3.6 / 0.330)
    assert card.blocks[1].speed_end == 0
    assert card.blocks[2].speed_start == card.blocks[2].speed_end == pytest.approx(800 * math.pi / 30)
    assert card.blocks[0].initial_temperature == pytest.approx(523.15)


def test_sensor_limits_of_full_scale_of_value_and_absolute(tmp_path):
    card = load_card(card_folder(tmp_path))
    assert sensor_limit(card, "torque", "torque").absolute == pytest.approx(6.0)
    assert sensor_limit(card, "piston_area", "area").relative == pytest.approx(0.005)
    assert sensor_limit(card, "effective_radius", "length").absolute == pytest.approx(0.0005)
    assert sensor_limit(card, "disc_temperature", "temperature").absolute == pytest.approx(4.0)
    assert sensor_limit(card, "pressure", "pressure") is None


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("pad_area: 52 cm^2", "pad_aera: 52 cm^2", "pad_aera: unknown key; nearest known key: pad_area"),
        ("inertia: 22 kg m^2", "inertia: 22", "inertia"),
        ("unit: bar", "unit: barr", "channels.pressure"),
        ("kind: snub", "kind: snob", "'snob' is not known; accepted: stop, snub, drag; write snub"),
        ("2026-03-02", "2026-13-02", "date"),
        ("schema: 1", "schema: 2", "schema"),
        ("speed: 100 km/h", "speed: banana", "blocks.entry 2.speed"),
        ("speed: 100 km/h", "speed: []", "blocks.entry 2.speed: 0 speeds"),
        ("speed: 100 km/h", "speed: [100 km/h, 50 km/h, 20 km/h]", "blocks.entry 2.speed: 3 speeds"),
        ("rolling_radius: 330 mm\n", "", "rolling_radius"),
        ("rig: north", "rig: &a north", "aliases"),
        ("compound: Marram 4", "compound: Marram 4\ncompound: x", "given twice"),
        ("recordings/*.csv", "../*.csv", "inside the test's folder"),
        ("recordings/*.csv", "/etc/*", "inside the test's folder"),
        ("purpose: bedding", "purpose: !!python/object:os.system x", "tag"),
        ("pads: 2", "pads: two", "pads"),
        (
            "[30 mm, 34 mm, 38 mm]",
            "[30 mm, 34 mm, 38 m]",
            "38000 mm is outside what there can be; accepted: 3 mm to 500 mm",
        ),
        ("stops: 4", "stops: -4", "stops"),
        ("inertia: 22 kg m^2", "inertia: 22 kg m^2\ninertia_mechanical: 30 kg m^2", "inertia_mechanical"),
        ("outer_diameter: 312 mm", "outer_diameter: 200 mm", "outer_diameter"),
        ("    torque: {column: Mb, unit: N m}\n", "", "torque"),
    ],
)
def test_a_mistake_is_one_line_that_names_the_key(tmp_path, old, new, said):
    assert old in CARD
    with pytest.raises(InputError) as caught:
        load_card(card_folder(tmp_path, CARD.replace(old, new, 1)))
    message = str(caught.value)
    assert message.startswith("test.yaml")
    assert said in message
    assert "\n" not in message


@pytest.mark.parametrize("content", [b"", b"\xff\xfe\x00", b"[1, 2", b"- a\n- b\n", b"a: " * 40, b"x: " + b"[" * 400])
def test_what_is_no_card_is_an_input_error(tmp_path, content):
    folder = card_folder(tmp_path)
    (folder / "test.yaml").write_bytes(content)
    with pytest.raises(InputError, match=r"test\.yaml"):
        load_card(folder)


def test_a_missing_card_is_an_input_error(tmp_path):
    with pytest.raises(InputError, match="is not there"):
        load_card(tmp_path)
