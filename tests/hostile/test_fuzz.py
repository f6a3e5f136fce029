"""A seeded few of the study of broken and hostile archives, of delimited text, and a fortieth of it under the heavy mark."""

import pytest

from tests.studies.fuzz import fuzzed, ground, summary

COUNT, PARTS = 50, 4
FEW = (0, 2, 3, 6, 7, 11)  # seeds of delimited archives: rows, columns, the clock, values, an empty file and the card


@pytest.fixture(scope="module")
def every_form():
    with ground() as found:
        yield found


@pytest.fixture(scope="module")
def sound():
    with ground(("delimited",), beside=False) as found:
        yield found


def test_no_archive_of_a_few_ends_in_a_traceback_an_escape_or_a_silent_number(sound):
    none_in([fuzzed(seed, sound, whole=seed == 3, beside=False) for seed in FEW])


@pytest.mark.heavy
@pytest.mark.parametrize("part", range(PARTS))
def test_no_archive_ends_in_a_traceback_an_escape_or_a_silent_number(every_form, part):
    none_in(
        [
            fuzzed(seed, every_form, whole=seed % 20 == 0, beside=seed in (20, 40))
            for seed in range(part * COUNT // PARTS, (part + 1) * COUNT // PARTS)
        ]
    )


def none_in(outcomes):
    failures = [(o.seed, o.form, o.mutations, o.tracebacks, o.escapes, o.silent) for o in outcomes]
    assert [f for f in failures if any(f[3:])] == []
    # The mutations do bite: most leave a finding or a stop that is not ok, some leave nothing of the test.
    result = summary(outcomes)
    assert result["flagged"] >= 0.6 * len(outcomes)
    assert result["unusable"] >= 1


def test_a_clock_that_breaks_just_behind_the_braking_is_told(sound):
    """Rows in reverse right after the release: the braking's end lies between two samples a second apart."""
    outcome = fuzzed(5235, sound, whole=False, beside=False)
    assert outcome.mutations == ["rows_disordered", "rows_disordered"]
    assert (outcome.tracebacks, outcome.escapes, outcome.silent) == ([], [], [])


@pytest.mark.heavy
def test_a_mutation_that_cannot_read_what_an_earlier_one_made_is_void(every_form):
    """The second mutation reads a card that the first has replaced by one that nests ten thousand deep."""
    outcome = fuzzed(700228, every_form, whole=False, beside=False)
    assert any(name.endswith("(void)") for name in outcome.mutations)
    assert (outcome.tracebacks, outcome.escapes, outcome.silent) == ([], [], [])


def test_the_study_sees_what_it_looks_for(sound, monkeypatch):
    """A stage that fails, one that writes elsewhere and one that misreads are each counted."""
    from pipeline.stops import stage
    from tests.hostile import damage

    monkeypatch.setattr("tests.studies.fuzz.mutations", lambda form, rng: [damage.columns_reordered])
    monkeypatch.setattr("tests.hostile.base.FORMATS", ("delimited",) * 4)
    assert not any((lambda o: (o.tracebacks, o.escapes, o.silent))(fuzzed(1, sound, whole=False, beside=False)))
    real = stage.run

    def failing(**_):
        raise ZeroDivisionError

    monkeypatch.setattr(stage, "run", failing)
    assert "ZeroDivisionError" in fuzzed(1, sound, whole=False, beside=False).tracebacks[0]

    def writing(*, folder, **rest):
        (folder.parent / "made").write_text("x")
        real(folder=folder, **rest)

    monkeypatch.setattr(stage, "run", writing)
    assert fuzzed(1, sound, whole=False, beside=False).escapes

    def misreading(*, into, **rest):
        import polars as pl

        real(into=into, **rest)
        stops = pl.read_parquet(into / "stops.parquet")
        stops.with_columns(mu=pl.col("mu") + 0.03).write_parquet(into / "stops.parquet")

    monkeypatch.setattr(stage, "run", misreading)
    assert fuzzed(1, sound, whole=False, beside=False).silent
