"""The document keeps every number's file and key, and lists every number of a section."""

from pipeline.report.document import Items, Number, Section, Table, Text, numbers_of, printed


def test_a_share_shown_as_per_cent_names_its_factor():
    number = Number("share", 95.3, "%", "f.json", "/share", decimals=0, factor=100.0)
    assert number.text == "95\u00a0%"
    assert number.printed().factor == 100.0


def test_a_null_is_printed_with_its_reason():
    number = Number("speed", None, "", "f.json", "/speed", why="speed and energy change together")
    assert number.text == "not given: speed and energy change together"
    assert number.printed().why == "speed and energy change together"


def test_every_number_of_a_section_is_listed():
    a, b, c = (Number(name, 1.0, "", "f.json", f"/{name}") for name in "abc")
    section = Section(
        "S",
        [Text("{x} of {name}", {"x": a, "name": "user {text}"}), Items([("B", b)]), Table("T", ["h"], [[c], ["word"]])],
    )
    assert [number.label for number in numbers_of(section)] == ["a", "b", "c"]
    assert printed([section])[0].text == ["1.000 of user {text}"]
