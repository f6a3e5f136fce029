"""The samples' tests fed to a watch as files: the glazing one recording by recording where it glazes, the sound ones from look to look.

Each test sees the tests of its compound that were run before it, and its wear readings as they were taken.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Sequence
from functools import lru_cache
from itertools import accumulate
from pathlib import Path
from typing import NamedTuple

import polars as pl

from pipeline.archive.card import load_card
from pipeline.drift.looks import planned_looks
from pipeline.drift.series import Series
from pipeline.notebook import reduction, test
from pipeline.watching.judge import series_of
from pipeline.watching.running import Event, RunningTest

ROOT = Path(__file__).parents[2]
ARCHIVE, METHOD = ROOT / "rig_samples" / "archive", ROOT / "rig_samples" / "methods" / "revised.yaml"
GLAZING = "m4-2405-c"
SETTLE_S = 5.0
ONE_BY_ONE = (98, 111)  # stops of the glazing test: first, and the one after the last


class Fed(NamedTuple):
    """What was said of a test, and how many recordings it has."""

    test: str
    recordings: int
    events: list[Event]


def earlier(name: str) -> dict[str, Series]:
    """What the compound's tests that were run before a test tell of the scatter."""
    own, found = load_card(ARCHIVE / name), {}
    for folder in sorted(ARCHIVE.iterdir()):
        card = load_card(folder)
        if card.compound == own.compound and card.date < own.date:
            found[folder.name] = _stops(folder)
    return series_of(found, reduction.read_method(METHOD))


@lru_cache
def _stops(folder: Path) -> pl.DataFrame:
    return reduction.reduce(test.read_test(folder), METHOD).stops


def fed(name: str, others: dict[str, Series], at: Sequence[int]) -> Fed:
    """A test's recordings copied to where a watch looks, up to each of the numbers of `at` in turn."""
    recordings = sorted((ARCHIVE / name / "recordings").iterdir())
    with tempfile.TemporaryDirectory(prefix="stopsheet-") as room:
        folder = Path(room) / name
        (folder / "recordings").mkdir(parents=True)
        shutil.copy(ARCHIVE / name / "test.yaml", folder)
        watch = RunningTest(folder, reduction.read_method(METHOD), SETTLE_S, lambda: others)
        events: list[Event] = []
        for turn, so_far in enumerate(at):
            for path in recordings[at[turn - 1] if turn else 0 : so_far]:
                shutil.copy(path, folder / "recordings")
            _readings(name, folder, so_far)
            events += watch.look_round(60.0 * turn)[0] + watch.look_round(60.0 * turn + SETTLE_S)[0]
        assert watch.at_end
    return Fed(name, len(recordings), events)


def ends(name: str) -> list[int]:
    """After how many stops each block of a test's program ends."""
    return list(accumulate(block.stops for block in load_card(ARCHIVE / name).blocks))


def _readings(name: str, folder: Path, after: int) -> None:
    """The wear readings taken by then; written where that changes them."""
    lines = (ARCHIVE / name / "wear.csv").read_text(encoding="utf-8").splitlines()
    text = "\n".join([lines[0], *(line for line in lines[1:] if int(line.split(",")[0]) <= after)]) + "\n"
    path = folder / "wear.csv"
    if not path.is_file() or path.read_text(encoding="utf-8") != text:
        path.write_text(text, encoding="utf-8")


def section() -> str:
    """The part of the page on the samples."""
    names = [folder.name for folder in sorted(ARCHIVE.iterdir()) if folder.name != GLAZING]
    glazing = fed(GLAZING, earlier(GLAZING), sorted({*ends(GLAZING), *range(*ONE_BY_ONE)}))
    sound = []
    for name in names:
        looks = [look.after for look in planned_looks(load_card(ARCHIVE / name).blocks)]
        sound.append(fed(name, earlier(name), sorted({*looks, ends(name)[-1]})))
    alarms = sum(any(event.kind == "alarm" for event in one.events) for one in sound)
    lines = [
        "## The samples, through files",
        "",
        f"`{GLAZING}` takes on a film from its gentle use on (stop 78 of {glazing.recordings}). Its recordings were fed one by one from stop "
        f"{ONE_BY_ONE[0]} to {ONE_BY_ONE[1] - 1}, before and after that a block at a time, wear readings as they were taken; of its compound "
        "only the tests run before it are known.",
        "",
        "| after stop | what was said |",
        "|---|---|",
    ]
    lines += [
        f"| {event.after} | {event.words.replace('|', '/')} |" for event in glazing.events if event.kind != "taken"
    ]
    lines += [
        "",
        f"The other {len(sound)} tests, which are sound, fed from look to look: {alarms} of them alarmed, "
        f"{sum(event.kind == 'note' for one in sound for event in one.events)} notes.",
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    print(section())
