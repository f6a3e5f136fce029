"""The samples' tests fed to a watch as files: the glazing one recording by recording, the sound ones block by block.

Each test sees the tests of its compound that were run before it, and its wear readings as they were taken.
"""

from __future__ import annotations

import shutil
import tempfile
from itertools import accumulate
from pathlib import Path
from typing import NamedTuple

from pipeline.archive.card import load_card
from pipeline.drift.series import Series
from pipeline.notebook import reduction, test
from pipeline.watching.judge import series_of
from pipeline.watching.running import Event, RunningTest

ROOT = Path(__file__).parents[2]
ARCHIVE, METHOD = ROOT / "rig_samples" / "archive", ROOT / "rig_samples" / "methods" / "revised.yaml"
GLAZING = "m4-2405-c"
SETTLE_S = 5.0


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
            found[folder.name] = reduction.reduce(test.read_test(folder), METHOD).stops
    return series_of(found, reduction.read_method(METHOD))


def fed(name: str, others: dict[str, Series], *, one_by_one: bool) -> Fed:
    """A test's recordings copied to where a watch looks, one by one or a block at a time."""
    recordings = sorted((ARCHIVE / name / "recordings").iterdir())
    with tempfile.TemporaryDirectory(prefix="stopsheet-") as room:
        folder = Path(room) / name
        (folder / "recordings").mkdir(parents=True)
        shutil.copy(ARCHIVE / name / "test.yaml", folder)
        watch = RunningTest(folder, reduction.read_method(METHOD), SETTLE_S, lambda: others)
        events: list[Event] = []
        at_s, so_far = 0.0, 0
        for size in [1] * len(recordings) if one_by_one else [block.stops for block in load_card(folder).blocks]:
            for path in recordings[so_far : so_far + size]:
                shutil.copy(path, folder / "recordings")
            so_far += size
            _readings(name, folder, so_far)
            events += watch.look_round(at_s)[0] + watch.look_round(at_s + SETTLE_S)[0]
            at_s += 60.0
        assert watch.at_end
    return Fed(name, len(recordings), events)


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
    glazing = fed(GLAZING, earlier(GLAZING), one_by_one=True)
    sound = [fed(name, earlier(name), one_by_one=False) for name in names]
    alarms = sum(any(event.kind == "alarm" for event in one.events) for one in sound)
    ends = list(accumulate(block.stops for block in load_card(ARCHIVE / GLAZING).blocks))
    lines = [
        "## The samples, through files",
        "",
        f"`{GLAZING}`, which takes on a film from its gentle use on (stop 78), was fed recording by recording: {glazing.recordings} "
        f"recordings, {len(ends)} blocks. Of its compound only the tests run before it are known.",
        "",
        "| after stop | what was said |",
        "|---|---|",
    ]
    lines += [
        f"| {event.after} | {event.words.replace('|', '/')} |" for event in glazing.events if event.kind != "taken"
    ]
    lines += [
        "",
        f"The other {len(sound)} tests, which are sound, fed block by block: {alarms} of them alarmed, "
        f"{sum(event.kind == 'note' for one in sound for event in one.events)} notes.",
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    print(section())
