"""A number is found by what a reader has of it: its name, its part, its value, its key; what is not known is answered by what is near."""

import pytest

from pipeline.errors import InputError
from pipeline.provenance.figures import asked
from pipeline.provenance.stops_behind import Scope, along, of_test, spans
from pipeline.results import write_parquet
from pipeline.results.sheet import PrintedNumber, PrintedSection, Sheet
from tests.makers import stops_frame


def number(label, value, key, file="compounds/m/friction.json", unit="degC"):
    return PrintedNumber(label=label, text=f"{value} °C", value=value, unit=unit, file=file, key=key)


SHEET = Sheet(
    compound="M",
    sections=[
        PrintedSection(title="Answers", numbers=[number("window, lower end", 231.0, "/window/low_c"), number("life", 9.0, "/life/0")]),
        PrintedSection(
            title="Friction",
            numbers=[number("window, lower end", 231.0, "/window/low_c"), number("window, upper end", 604.0, "/window/high_c")],
        ),
        PrintedSection(title="Duty", numbers=[number("life", 12.0, "/life/1"), number("life of the pad", 11.0, "/life/2")]),
    ],
)  # fmt: skip


@pytest.mark.parametrize(
    ("figure", "path"),
    [
        ("sections.1.numbers.1", "sections.1.numbers.1"),
        ("sections.1.numbers.1.high", "sections.1.numbers.1"),
        ("window, upper end", "sections.1.numbers.1"),
        ("WINDOW,  upper end", "sections.1.numbers.1"),
        ("Duty: life", "sections.2.numbers.0"),
        ("604.0 °C", "sections.1.numbers.1"),
        ("friction.window.high_c", "sections.1.numbers.1"),
        ("window.high_c", "sections.1.numbers.1"),
        ("window, lower end", "sections.0.numbers.0"),  # printed twice, read from one place
    ],
)
def test_a_number_is_found_by_path_name_part_value_and_key(figure, path):
    assert asked(SHEET, figure).path == path


def test_a_name_of_several_numbers_is_answered_by_all_of_them():
    with pytest.raises(InputError, match="more than one number") as error:
        asked(SHEET, "life")
    assert "sections.0.numbers.1 (Answers: life = 9.0 °C)" in str(error.value)
    assert "sections.2.numbers.0 (Duty: life = 12.0 °C)" in str(error.value)
    assert "of the pad" not in str(error.value)


@pytest.mark.parametrize(
    ("figure", "near"), [("windw, uper end", "Friction: window, upper end"), ("upper", "Friction: window, upper end")]
)
def test_what_is_not_known_is_answered_by_the_nearest(figure, near):
    with pytest.raises(InputError, match="is no number of the sheet; nearest: ") as error:
        asked(SHEET, figure)
    assert near in str(error.value)


def test_what_stands_along_a_key_narrows_the_stops():
    content = {
        "by_batch": [{"batch": "B-1", "tests": ["a", "b"], "window": {"low_c": 200.0}}],
        "components": {"disc": {"intervals": [{"from_stop": 4, "to_stop": 9, "wear_um": 2.0}]}},
        "blocks": [{"block": "check 1", "batch": "B-2", "mu": {"value": 0.4}}],
    }
    value, scope = along(content, "/by_batch/0/window/low_c")
    assert value == 200.0 and scope.batch == "B-1" and scope.tests == {"a", "b"}
    assert along(content, "/components/disc/intervals/0/wear_um")[1].between == (4, 9)
    value, scope = along(content, "/blocks/0/mu/value")
    assert value == 0.4 and scope.blocks == {"check 1"} and scope.batch == "B-2" and not scope.tests
    for missing in ("/by_batch/1", "/window/low_c", "/blocks/0/mu/value/x", "count of findings"):
        with pytest.raises(KeyError):
            along(content, missing)


def test_wear_between_two_readings_rests_on_the_stops_between_them(tmp_path):
    """A reading after stop 2 and one after stop 4: stops 3 and 4 were run between, stop 2 was before."""
    folder = tmp_path / "tests" / "a"
    folder.mkdir(parents=True)
    write_parquet(folder / "stops.parquet", stops_frame(6))
    words, rows = of_test(tmp_path, "a", "tests/a/wear.json", Scope(between=(2, 4)))
    assert words == "stops 3 to 4" and rows["stop"].to_list() == [3, 4]


def test_stops_are_told_in_runs():
    assert spans([7, 1, 2, 3, 9, 10]) == "1 to 3, 7, 9 to 10"
    assert spans([]) == ""
