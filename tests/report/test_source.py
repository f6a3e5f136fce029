"""Numbers picked from typed results keep value, unit, file and pointer; a null keeps its reason."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.errors import InputError
from pipeline.report.source import Cited
from pipeline.results.model import Interval, OfTest, Result, given, read, write


class Span(Result):
    low_c: float | None = given("lower end", "degC", default=None)
    width: Interval = given("width", "K", default_factory=Interval)
    why: str | None = given("why null", default=None)


class Sample(OfTest):
    window: Span | None = given("window", default=None)
    window_reason: str | None = given("why there is none", default=None)
    rates: dict[str, Interval] = given("rates by component", "um", default_factory=dict)
    points: list[Span] = given("points", default_factory=list)


@pytest.fixture
def cited() -> Cited[Sample]:
    result = Sample(
        test="t",
        window=Span(low_c=281.25, width=Interval(value=20.0, low=18.0, high=22.0)),
        rates={"a/b": Interval(value=1.5, low=1.4, high=1.6)},
        points=[Span(), Span(low_c=None, why="no stop there")],
    )
    return Cited("tests/t/sample.json", result)


def test_a_number_keeps_its_unit_file_and_pointer(cited: Cited[Sample]) -> None:
    window = cited.part(lambda s: s.window)
    assert window is not None
    number = window.number("lower end", lambda w: w.low_c)
    assert (number.value, number.unit, number.key) == (281.25, "°C", "/window/low_c")
    assert number.file == "tests/t/sample.json"


def test_an_interval_brings_its_ends_and_a_factor_scales_all(cited: Cited[Sample]) -> None:
    window = cited.part(lambda s: s.window)
    assert window is not None
    number = window.number("width", lambda w: w.width, factor=2.0, unit="K")
    assert (number.value, number.low, number.high, number.key) == (40.0, 36.0, 44.0, "/window/width/value")


def test_pointers_escape_names_and_count_entries(cited: Cited[Sample]) -> None:
    assert cited.named(lambda s: s.rates)["a/b"].number("rate", lambda r: r.value).key == "/rates/a~1b/value"
    assert cited.number("rate", lambda s: s.rates["a/b"]).key == "/rates/a~1b/value"
    assert [part.pointer for part in cited.each(lambda s: s.points)] == ["/points/0", "/points/1"]


def _of_disc(sample: Sample) -> Interval | None:
    if "disc" not in sample.rates:
        return None
    return sample.rates["disc"]


def test_below_an_absent_part_a_number_keeps_pointer_unit_and_reason() -> None:
    empty = Cited("sample.json", Sample(test="t", window_reason="no target"))
    number = empty.number("lower end", lambda s: s.window.low_c if s.window else None)
    assert (number.value, number.unit, number.key, number.why) == (None, "°C", "/window/low_c", "no target")
    number = empty.number("rate", _of_disc, why="no disc")
    assert (number.value, number.key, number.why) == (None, "/rates/disc", "no disc")


def test_an_interval_from_neighbouring_fields_rounds_the_value(cited: Cited[Sample]) -> None:
    number = cited.number(
        "lower end",
        lambda s: s.window.low_c if s.window else None,
        ends=lambda s: (s.window.width.low, s.window.width.high) if s.window else (None, None),
    )
    assert (number.low, number.high, number.key) == (18.0, 22.0, "/window/low_c")


def test_a_null_brings_the_nearest_reason(cited: Cited[Sample]) -> None:
    number = cited.each(lambda s: s.points)[1].number("lower end", lambda p: p.low_c)
    assert (number.value, number.why) == (None, "no stop there")
    empty = Cited("sample.json", Sample(test="t", window_reason="no target"))
    assert empty.reason(lambda s: s.window) == "no target"
    unusable = Cited("sample.json", Sample(test="t", unusable="no recording"))
    assert unusable.reason(lambda s: s.window) == "no recording"


def test_written_and_read_back_is_equal_and_nan_is_null(tmp_path: Path, cited: Cited[Sample]) -> None:
    path = tmp_path / "sample.json"
    write(path, cited.result)
    assert read(path, Sample) == cited.result
    assert Span(low_c=float("nan")).low_c is None


def test_a_file_of_another_shape_is_named_with_its_key(tmp_path: Path) -> None:
    path = tmp_path / "sample.json"
    path.write_text('{"test": "t", "windw": null}')
    with pytest.raises(InputError, match=r"sample\.json: windw: .*run again"):
        read(path, Sample)
