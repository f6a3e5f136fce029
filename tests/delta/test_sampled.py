"""Which tests settings are tried on: bounded by the work, one of each compound first, and on no result."""

from __future__ import annotations

import pytest

from pipeline.method import from_settings_of_two
from pipeline.results import write_text
from pipeline.workspace import sampled
from pipeline.workspace.reasons import Differs, reasons
from pipeline.workspace.run import load_run

TESTS = {
    "a0": "Marram 4",
    "a1": "Marram 4",
    "a2": "Marram 4",
    "a3": "Marram 4",
    "b1": "Marram 6",
    "b2": "Marram 6",
    "none": None,
}


def workspace(root, second):
    write_text(
        root / "config.yaml",
        "archive: archive\nresults: results\nmethods: [m/first.yaml, m/other.yaml]\ncompare: [[first, other]]\n",
    )
    write_text(root / "m/first.yaml", "")
    write_text(root / "m/other.yaml", second)
    for test, compound in TESTS.items():
        named = f"compound: {compound}\n" if compound else ""
        kept = "summary" if test == "a0" else "stop"
        write_text(root / "archive" / test / "test.yaml", f"schema: 1\n{named}recordings: {{holds: {kept}}}\n")
    return load_run(root / "config.yaml")


@pytest.mark.parametrize(
    ("second", "tests"),
    [
        ("reduction: {average: time, build_up: 50 %}", ["a1", "b1"]),
        ("reduction: {average: time, build_up: 50 %}\nbatches: {significance: 10 %}", ["a1", "b1"]),
        ("reduction: {average: time}", ["a1", "b1", "a2", "b2"]),
        ("reduction: {average: time, build_up: 50 %, least_window: 1 s}", ["a1"]),
        ("reduction: {average: time, build_up: 50 %, least_window: 1 s, radius: uniform_wear, drag_correction: false}", ["a1"]),
        ("", ["a1", "b1", "a2", "b2"]),
    ],
)  # fmt: skip
def test_the_sample_is_bounded_and_takes_each_compound_in_turn(tmp_path, second, tests):
    run = workspace(tmp_path, second)
    assert sampled.sampled(run, "first", "other") == tests


def test_what_the_sample_reads_are_its_channels_and_results(tmp_path):
    run = workspace(tmp_path, "reduction: {average: time, build_up: 50 %}")
    tests = sampled.sampled(run, "first", "other")
    channels = sampled.channels(run, tests)
    assert [path.rsplit("/", 1)[-1] for path in channels] == ["a1.parquet", "a1.json", "b1.parquet", "b1.json"]
    results = sampled.results(run, ("first", "other"), tests)
    assert sum(path.endswith("/stops.parquet") for path in results) == 4
    assert sum(path.endswith("/repeatability.json") for path in results) == 2
    assert not any("/a2/" in path for path in [*results, *channels])


def test_the_settings_of_both_methods_reach_the_stage_and_it_runs_again_for_either(tmp_path):
    run = workspace(tmp_path, "reduction: {average: time, build_up: 50 %}")
    text = run.settings_of_two("first", "other", "shares")
    first, second = from_settings_of_two(text)
    assert (first.reduction.average, second.reduction.average, second.reduction.build_up) == ("distance", "time", 0.5)
    assert run.settings_of_two("other", "first", "shares") != text
    changed = workspace(tmp_path / "again", "reduction: {average: time, build_up: 60 %}")
    now = changed.settings_of_two("first", "other", "shares")
    differs = Differs(before=[repr(text)], now=[repr(now)])
    assert reasons(differs) == ["setting changed: second reduction.build_up 0.5 to 0.6"]
    with pytest.raises(AttributeError):
        _ = first.batches  # a section that the stage is not given
