"""The form of a stage's results: moved by keys, types and columns, not by prose."""

from __future__ import annotations

import pytest

from pipeline.results import forms
from pipeline.results.catalogue import FILES, written_by
from pipeline.results.model import Interval, OfTest, given
from pipeline.stages import STAGES


class Before(OfTest):
    """A file."""

    mu: Interval | None = given("mean of the curve", default=None)


def test_other_words_are_the_same_form():
    class After(OfTest):
        """A file, told differently."""

        mu: Interval | None = given("the curve's mean", "1", default=None)

    After.__name__ = "Before"
    assert forms.of([After]) == forms.of([Before])


@pytest.mark.parametrize(
    "changed",
    [
        {"mu": (Interval | None, given("mean", default=None)), "why": (str | None, given("why", default=None))},
        {"mean": (Interval | None, given("mean", default=None))},
        {"mu": (float | None, given("mean", default=None))},
        {"mu": (Interval, given("mean"))},
    ],
    ids=["added", "renamed", "of another type", "required"],
)
def test_another_key_or_type_is_another_form(changed):
    from pydantic import create_model

    assert forms.of([create_model("Before", __base__=OfTest, **changed)]) != forms.of([Before])


def test_a_key_that_is_called_as_prose_counts():
    class After(Before):
        title: str | None = given("title", default=None)

    After.__name__ = "Before"
    assert forms.of([After]) != forms.of([Before])


def test_a_column_is_part_of_the_form():
    assert forms.of([], {"stops.parquet": [("mu", "float", "1")]}) != forms.of([], {"stops.parquet": []})


def test_every_file_of_the_catalogue_is_written_by_one_stage():
    written = [file for stage in STAGES for file in written_by(stage)]
    assert sorted(file.name for file in written) == sorted(file.name for file in FILES)


def test_a_changed_model_moves_the_form_of_its_stage_alone(monkeypatch):
    before = {stage: forms.form(stage) for stage in STAGES}
    real = written_by

    def with_another_friction(stage):
        return [f if f.name != "friction" else type(f)(f.name, f.place, Before) for f in real(stage)]

    monkeypatch.setattr(forms, "written_by", with_another_friction)
    assert [stage for stage in STAGES if forms.form(stage) != before[stage]] == ["friction"]
