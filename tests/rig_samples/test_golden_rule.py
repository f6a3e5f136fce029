"""The rule of the golden figures, on small made-up cases: no figure is renewed that nobody said would move."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.rig_samples.golden.renew import COMMAND, outdated, renew, verdict
from tests.rig_samples.golden.stages import STAGES, Written, entries, now, revisions_of
from tests.rig_samples.golden.tables import Figures, Table, moved, read, shown, text

CHANGES = """
| date | stage | what | on the samples |
|---|---|---|---|
| 2026-03-02 | wear, duty | a law with a pipe a\\|b | none |
| 2026-03-01 | stops | something | none |
| 2026-02-28 | weary | no stage of that name | none |
"""
FRICTION = STAGES["friction"]
BEFORE: Figures = {("first", "t1", "mu"): "0.42", ("first", "t1", "verdict"): "none"}
AFTER: Figures = {**BEFORE, ("first", "t1", "mu"): "0.43"}


def written(entries: int = 3, **raised: int) -> Written:
    return Written({name: raised.get(name, 1) for name in revisions_of(FRICTION)}, entries, "an entry")


GOLDEN = Table(written(), BEFORE)


def test_equal_figures_pass_and_so_do_those_within_the_tolerance() -> None:
    near: Figures = {**BEFORE, ("first", "t1", "mu"): "0.42003"}
    assert verdict(FRICTION, GOLDEN, BEFORE, written()) is None
    assert verdict(FRICTION, GOLDEN, near, written()) is None


@pytest.mark.parametrize("after", [
    {**BEFORE, ("first", "t1", "mu"): "0.421"},
    {**BEFORE, ("first", "t1", "verdict"): "glazing-like"},
    {**BEFORE, ("first", "t1", "mu"): "none"},
    {**BEFORE, ("first", "t1", "mu"): "0.42 0.40"},
    {("first", "t1", "mu"): "0.42"},
    {**BEFORE, ("first", "t2", "mu"): "0.42"},
])  # fmt: skip
def test_a_figure_that_moves_goes_or_comes_is_told(after: Figures) -> None:
    assert len(moved(BEFORE, after)) == 1
    said = verdict(FRICTION, GOLDEN, after, written())
    assert said is not None and "1 golden figures moved" in said


def test_moved_and_nothing_raised_names_both_things_to_do() -> None:
    said = verdict(FRICTION, GOLDEN, AFTER, written())
    assert said is not None
    assert "first t1 mu: 0.42 -> 0.43" in said
    assert "pipeline/method/friction.py" in said and "docs/changes.md" in said


def test_moved_with_one_of_the_two_asks_for_the_other() -> None:
    raised = verdict(FRICTION, GOLDEN, AFTER, written(friction=2))
    listed = verdict(FRICTION, GOLDEN, AFTER, written(entries=4))
    assert raised is not None and "raise REVISION" not in raised and "add an entry" in raised
    assert listed is not None and "raise REVISION" in listed and "add an entry" not in listed


@pytest.mark.parametrize("name", ["friction", "reduction", "channels", "samples"])
def test_moved_with_both_says_renew_also_where_a_stage_before_was_raised(name: str) -> None:
    said = verdict(FRICTION, GOLDEN, AFTER, written(entries=4, **{name: 2}))
    assert said is not None and "meant" in said and "not meant" not in said and said.endswith(COMMAND)


def test_a_lowered_revision_is_no_raised_one() -> None:
    said = verdict(FRICTION, GOLDEN, AFTER, written(entries=4, friction=0, reduction=2))
    assert said is not None and "the REVISION of friction was lowered" in said


def test_a_revision_raised_without_a_move_is_told_as_it_would_cover_the_next_one() -> None:
    assert outdated(FRICTION, GOLDEN, written()) is None
    said = verdict(FRICTION, GOLDEN, BEFORE, written(friction=2))
    assert said is not None and COMMAND in said


def test_no_table_yet_says_which_command_writes_it() -> None:
    said = verdict(FRICTION, None, BEFORE, written())
    assert said is not None and COMMAND in said


def test_a_table_is_read_as_it_was_written(tmp_path) -> None:
    path = tmp_path / "friction.csv"
    assert read(path) is None
    table = Table(replace(written(), newest="2026 friction: a, b | c"), {("m", "t, 1", "a figure"): "1 2 3"})
    path.write_text(text(table))
    assert read(path) == table


def test_figures_are_rounded_and_nulls_are_words() -> None:
    assert [shown(v) for v in (0.123456789, 12, None, float("nan"), "none", [1.0, None])] == [
        "0.12346", "12", "none", "none", "none", "1 none"]  # fmt: skip


def test_entries_are_counted_by_stage() -> None:
    assert entries(CHANGES, {"stops", "channels"}) == ["2026-03-01 stops: something"]
    assert entries(CHANGES, {"duty"}) == ["2026-03-02 wear, duty: a law with a pipe a\\|b"]
    assert now(FRICTION, CHANGES).entries == 1
    assert now(STAGES["duty"], CHANGES).entries == 2
    of_samples = CHANGES + "| 2026-03-03 | samples | other recordings | all |\n"
    assert now(FRICTION, of_samples).entries == 2 and now(STAGES["duty"], of_samples).entries == 3


def test_every_stage_says_all_that_its_results_rest_on() -> None:
    for stage in STAGES.values():
        for before in stage.after:
            assert set(STAGES[before].after) <= set(stage.after), (stage.name, before)


def state_of(tables: dict[str, Written]):
    return lambda stage: tables.get(stage.name, Written({n: 1 for n in revisions_of(stage)}, 3, "an entry"))


def fill(folder, figures: Figures) -> dict[str, Figures]:
    found = {name: figures for name in STAGES}
    assert renew(folder, found, write=True, tell=lambda _: None, state=state_of({})) == []
    return found


def test_renewing_writes_what_was_raised_and_leaves_the_rest(tmp_path) -> None:
    found = fill(tmp_path, BEFORE)
    before = {path.name: path.read_text() for path in tmp_path.iterdir()}
    raised = Written({**{n: 1 for n in revisions_of(STAGES["duty"])}, "duty": 2}, 4, "a new entry")
    told: list[str] = []
    refused = renew(tmp_path, found | {"duty": AFTER}, write=True, tell=told.append, state=state_of({"duty": raised}))
    after = {path.name: path.read_text() for path in tmp_path.iterdir()}
    assert refused == [] and told[-1] == "written: duty.csv"
    assert {name for name in after if after[name] != before[name]} == {"duty.csv"}
    assert read(tmp_path / "duty.csv") == Table(raised, AFTER)


def test_renewing_refuses_and_writes_nothing_where_one_stage_moved_unsaid(tmp_path) -> None:
    found = fill(tmp_path, BEFORE)
    before = {path.name: path.read_text() for path in tmp_path.iterdir()}
    raised = Written({**{n: 1 for n in revisions_of(STAGES["duty"])}, "duty": 2}, 4, "a new entry")
    told: list[str] = []
    moved_both = found | {"duty": AFTER, "wear": AFTER}
    refused = renew(tmp_path, moved_both, write=True, tell=told.append, state=state_of({"duty": raised}))
    assert refused == ["wear"] and "wear refused" in told[-1]
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == before


def test_without_write_nothing_is_written(tmp_path) -> None:
    told: list[str] = []
    renew(tmp_path, {name: BEFORE for name in STAGES}, write=False, tell=told.append, state=state_of({}))
    assert len(told) == len(STAGES) and list(tmp_path.iterdir()) == []
