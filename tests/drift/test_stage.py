"""The stage's files: whole, in the form of docs/contract.md, also for tests that cannot be used."""

import polars as pl
import pytest

from pipeline.drift import repeatability, stage
from pipeline.errors import InputError
from pipeline.method import Method, settings_of
from pipeline.report.by_hand_words import drift_would_be
from pipeline.results import read_table, write_json, write_parquet
from pipeline.results.drift import TestDrift
from pipeline.results.model import read
from pipeline.results.repeatability import Repeatability
from pipeline.vocabulary import STOPS, empty
from tests.drift.makers import Truth, made, short_program

SETTINGS = settings_of(Method(), "drift")


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    root = tmp_path_factory.mktemp("results") / "first"
    frames = {"healthy": made(Truth(program=short_program()), 1).stops, "glazed": made(Truth(glaze_loss=0.10), 2).stops}
    for test, frame in frames.items():
        write_parquet(root / "tests" / test / "stops.parquet", frame)
        write_parquet(root / "tests" / test / "excluded.parquet", empty(STOPS))
        write_json(root / "tests" / test / "summary.json", {"test": test, "unusable": None})
    for name in ("stops", "excluded"):
        write_parquet(root / "tests" / "broken" / f"{name}.parquet", empty(STOPS))
    write_json(root / "tests" / "broken" / "summary.json", {"test": "broken", "unusable": "test.yaml: no such key"})
    repeatability.run(
        compound="Marram 4", archive=root, tests=[*frames, "broken"], results=root, settings=SETTINGS,
        into=root / "compounds" / "marram-4",
    )  # fmt: skip
    return root


def drift_of(results, test):
    into = results / "tests" / test
    stage.run(
        folder=results / test,
        settings=SETTINGS,
        repeatability=results / "compounds/marram-4/repeatability.json",
        into=into,
    )
    return read(into / "drift.json", TestDrift)


def test_repeatability_finds_the_scatter(results):
    content = read(results / "compounds/marram-4/repeatability.json", Repeatability)
    assert (content.compound, content.method) == ("Marram 4", "first")
    assert content.sigma == pytest.approx(0.018, rel=0.25)
    assert abs(content.autocorrelation - 0.25) < 0.3
    assert content.tests == 2 and content.stops == 31 + 59


def test_healthy_and_glazed(results):
    healthy, glazed = drift_of(results, "healthy"), drift_of(results, "glazed")
    assert (healthy.verdict, healthy.onset_stop, healthy.mu_loss) == ("none", None, None)
    assert healthy.onset_reason
    assert (glazed.verdict, glazed.recovered, glazed.test, glazed.method) == ("glazing-like", True, "glazed", "first")
    assert glazed.onset_low <= glazed.onset_stop <= glazed.onset_high
    assert glazed.mu_loss_share == pytest.approx(0.10, abs=0.03)
    assert glazed.mu_loss == pytest.approx(0.47 * glazed.mu_loss_share, rel=0.1)
    text = (results / "tests" / "glazed" / "drift.json").read_text()
    assert "NaN" not in text and "Infinity" not in text


def test_what_was_excluded_by_hand_cannot_hide_a_fall(results):
    """The low checks of a glazed test taken out: what the verdict would be with them stands beside it."""
    glazed = drift_of(results, "glazed")
    frame = read_table(results / "tests" / "glazed" / "stops.parquet")
    low = (pl.col("stop") >= glazed.onset_low) & (pl.col("purpose") == "check")
    used = frame.with_columns(
        pl.when(low).then(pl.lit("rejected")).otherwise(pl.col("status")).alias("status"),
        pl.when(~low).then(pl.col("mu")).alias("mu"),
    )
    into = results / "tests" / "by_hand"
    write_parquet(into / "stops.parquet", used)
    write_parquet(into / "excluded.parquet", frame.filter(low))
    write_json(into / "summary.json", {"test": "by_hand", "unusable": None})
    found = drift_of(results, "by_hand")
    assert (glazed.excluded, glazed.verdict) == (None, "glazing-like") and found.verdict != "glazing-like"
    with_them = found.excluded
    assert with_them.stops == frame.filter(low)["stop"].to_list() and with_them.verdict == "glazing-like"
    assert (with_them.onset_stop, with_them.mu_loss) == (glazed.onset_stop, glazed.mu_loss)
    (said,) = drift_would_be(found)
    assert f"would be glazing-like, first affected stop {glazed.onset_stop}" in said


def test_unusable_test_says_why(results):
    content = drift_of(results, "broken")
    assert content.unusable == content.evidence.why == "test.yaml: no such key"
    assert content.verdict == "undetermined" and content.onset_stop is None


def test_a_file_of_an_earlier_version_is_named_with_its_key(tmp_path):
    write_json(tmp_path / "drift.json", {"test": "a", "verdict": "glazing-like", "onset": 12})
    with pytest.raises(InputError, match=r"drift\.json: onset: .*run again"):
        read(tmp_path / "drift.json", TestDrift)


def test_charts_are_equally_long(results):
    charts = drift_of(results, "glazed").charts.model_dump()
    for panel in ("residual", "cusum", "ewma", "use", "energy_ratio", "exposure"):
        lengths = {len(v) for v in charts[panel].values() if isinstance(v, list)}
        assert len(lengths) == 1, panel


def test_summary_rows_without_channels_are_undetermined(results):
    frame = made(Truth(program=short_program()), 4).stops
    bare = frame.with_columns(*(pl.lit(None, pl.Float64).alias(c) for c in (
        "energy_ratio", "pressure_rest_bar", "idle_before_s", "power_density_w_mm2", "temperature_mean_c", "temperature_initial_c"
    )))  # fmt: skip
    into = results / "tests" / "bare"
    write_parquet(into / "stops.parquet", bare)
    write_parquet(into / "excluded.parquet", empty(STOPS))
    write_json(into / "summary.json", {"test": "a", "unusable": None})
    stage.run(folder=results / "bare", settings=SETTINGS, repeatability=None, into=into)
    assert read(into / "drift.json", TestDrift).verdict in ("none", "undetermined")
