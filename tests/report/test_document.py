"""The document keeps every number's file and key, and every null's reason."""

from pipeline.report.document import Items, Number, Section, Source, Table, Text, as_json, numbers_of

FILE = Source("tests/a/friction.json", {
    "window": {"low_c": 231.4, "mu_mean": 0.4432, "mu_low": 0.436, "mu_high": 0.451}, "curve": [{"mu": 0.4}],
    "sensitivity": {"speed": None, "why": {"speed": "speed and energy change together"}}, "rate": {"value": None, "why": "no readings"},
    "fade": None, "fade_reason": "no fade block", "share": 0.953,
})  # fmt: skip


def test_a_number_is_read_with_its_key():
    number = FILE.number("lower end", "/window/low_c", "°C", decimals=0)
    assert (number.text, number.file, number.key) == ("231\u00a0°C", "tests/a/friction.json", "/window/low_c")


def test_an_interval_from_siblings_rounds_the_value():
    assert FILE.between("mean", "/window/mu_mean", "mu_low", "mu_high").text == "0.443 (0.436 to 0.451)"


def test_a_share_shown_as_per_cent_names_its_factor():
    number = FILE.number("share", "/share", "%", factor=100.0, decimals=0)
    assert number.text == "95\u00a0%"
    assert number.as_dict()["factor"] == 100.0


def test_nulls_say_why():
    assert FILE.number("speed", "/sensitivity/speed").text == "not given: speed and energy change together"
    assert FILE.number("rate", "/rate").text == "not given: no readings"
    assert FILE.number("index", "/fade/index").text == "not given: no fade block"
    assert FILE.number("nothing", "/nowhere").text == "not given: tests/a/friction.json gives no reason"


def test_every_number_of_a_section_is_listed():
    a, b, c = (Number(name, 1.0, "", "f.json", f"/{name}") for name in "abc")
    section = Section(
        "S",
        [Text("{x} of {name}", {"x": a, "name": "user {text}"}), Items([("B", b)]), Table("T", ["h"], [[c], ["word"]])],
    )
    assert [number.label for number in numbers_of(section)] == ["a", "b", "c"]
    assert as_json([section])[0]["text"] == ["1.000 of user {text}"]
