"""Brakings counted before a run: recording by recording, whatever the thresholds follow from."""

import weakref
from pathlib import Path

import polars as pl
import pytest

from pipeline.archive.card import load_card
from pipeline.errors import Complaint
from pipeline.method.segmentation import Segmentation
from pipeline.recordings.places import places
from pipeline.workspace import counted
from pipeline.workspace.check_of_test import _damaged
from pipeline.workspace.counted_against import complaints
from tests.hostile.base import write_base


@pytest.fixture
def test_of_eleven(tmp_path):
    folder = write_base(tmp_path, "parquet", "t")
    card = load_card(folder)
    return folder, card, places(sorted((folder / "recordings").iterdir()), folder, card.recordings)


def test_one_recording_is_in_memory_at_a_time(test_of_eleven, monkeypatch):
    seen, alive = [], []
    known = counted.looks_in

    def looks_in(number, series, rest):
        seen.append(weakref.ref(series[0].base))
        alive.append(sum(one() is not None for one in seen))
        return known(number, series, rest)

    monkeypatch.setattr(counted, "looks_in", looks_in)
    result = counted.counted(*test_of_eleven, Segmentation())
    assert len(seen) == 11 and set(result.by_recording.values()) == {1}
    assert max(alive) == 1


def test_thresholds_that_follow_from_all_recordings_hold_for_each(test_of_eleven):
    """Pressures a hundredth of what they are: none passes the method's threshold, and the brakings are seen all the same."""
    folder, card, chosen = test_of_eleven
    channels = card.recordings.channels
    tiny = channels["pressure"].model_copy(update={"unit": "mbar"})
    recordings = card.recordings.model_copy(update={"channels": {**channels, "pressure": tiny}})
    result = counted.counted(folder, card.model_copy(update={"recordings": recordings}), chosen, Segmentation())
    assert set(result.by_recording.values()) == {1} and len(result.looks) == 11
    assert result.failed == [] and not result.cut


def test_too_few_rows_and_a_time_that_falls_are_said_as_what_they_are(test_of_eleven):
    folder, card, chosen = test_of_eleven
    whole = pl.read_parquet(chosen[2].path)
    whole.head(2).write_parquet(chosen[1].path)
    whole.reverse().write_parquet(chosen[2].path)
    result = counted.counted(folder, card, chosen, Segmentation())
    ((name, why),) = result.failed
    assert name.endswith(chosen[1].path.name) and "has 2 usable rows; accepted: 3 or more; export" in str(why)
    assert [one.endswith(chosen[2].path.name) for one in result.backwards] == [True]
    said = [str(one) for one in complaints(card, result, 11)]
    assert sum("time runs backwards in recordings/" in one for one in said) == 1
    assert not any("no braking in" in one for one in said)


def test_text_among_numbers_is_said_where_a_run_would_find_it_suspect(tmp_path):
    folder = write_base(tmp_path, "delimited", "t")
    card = load_card(folder)
    chosen = places(sorted((folder / "recordings").iterdir()), folder, card.recordings)
    assert counted.counted(folder, card, chosen, Segmentation()).damaged == []
    head, *rows = chosen[3].path.read_text().splitlines()
    few, many = len(rows) // 200, len(rows) // 20
    for spoiled in (few, many):
        split = [row.split(card.recordings.delimiter) for row in rows]
        for cells in split[:spoiled]:
            cells[2] = "noise"
        lines = (card.recordings.delimiter.join(cells) for cells in split)
        chosen[3].path.write_text("\n".join([head, *lines]) + "\n")
        damaged = counted.counted(folder, card, chosen, Segmentation()).damaged
        assert len(damaged) == (spoiled == many)
    ((name, said),) = damaged
    assert name.endswith(chosen[3].path.name) and f"{many} of {len(rows)} values are no numbers" in str(said)
    assert "'noise'" in str(said)


def test_damage_of_many_recordings_is_told_of_the_first_few_and_counted():
    one = Complaint(
        "", "torque: 20 of 598 values are no numbers and are left out", "numbers in most rows", "export it again"
    )
    result = counted.Counted(damaged=[(f"recordings/s{k}.csv", one) for k in range(5)])
    shown = _damaged(Path("t"), result)
    assert [problem.where for problem in shown] == [*(f"t/recordings/s{k}.csv" for k in range(3)), "t"]
    assert "2 more like these" in shown[-1].complaint.found and all(problem.level == "odd" for problem in shown)
    assert len(_damaged(Path("t"), counted.Counted(damaged=result.damaged[:3]))) == 3
