"""The machine fails during a run: a full disk, no permission, files that vanish or change, wrong clocks. Does anything stick?

    python -m tests.studies.broken_system [--write] [--only NAME]

Each case takes a small workspace of simulated tests, breaks the machine, gives `stopsheet run`, mends the machine, and gives
the same command again. Well: the second run ends with 0, and every result is there and equal, byte for byte, to that of a run
that nothing disturbed. The page also gives what the first run ended with and said.

A full disk is a small file system in memory mounted on the results folder, whose size is then raised; a user without
permission is one whose rights over other users' files are taken away (both need root; else the case is skipped and says so).
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

from tests.studies import kills, small_runs

TESTS = 2
# kB; the last are just too small for the whole results (see `full`)
SHARES = (0.02, 0.08, 0.2, 0.35, 0.5, 0.65, 0.8, 0.95)
ORDINARY = ["setpriv", "--bounding-set=-dac_override,-dac_read_search", "--inh-caps=-dac_override,-dac_read_search"]


class Outcome(NamedTuple):
    """What a case came to. first, then: exit codes; said: lines of the first run; wrong: results that differ."""

    name: str
    first: int
    said: tuple[str, ...]
    then: int
    wrong: tuple[str, ...]

    @property
    def well(self) -> bool:
        return self.then == 0 and not self.wrong


class Skipped(Exception):
    """The machine does not let the case be made; in words."""


Case = Callable[[Path], tuple[int, list[str]]]  # breaks, runs, mends; (exit code, lines) of the run


def recordings(config: Path) -> list[Path]:
    return sorted((config.parent / "archive" / "t-1" / "recordings").iterdir())


@contextmanager
def small_disk(folder: Path, kilobytes: int) -> Iterator[None]:
    """A file system of that size on the folder; afterwards its content is on the ordinary disk."""
    folder.mkdir(exist_ok=True)
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "none", str(folder)],
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise Skipped(f"no file system can be mounted here ({done.stderr.strip()})")
    kept = folder.with_name("kept")
    try:
        yield
        shutil.copytree(folder, kept, symlinks=True)
    finally:
        subprocess.run(["umount", str(folder)], check=True)
    folder.rmdir()
    kept.rename(folder)


def full(share: float, needed_kb: int) -> Case:
    def case(config: Path) -> tuple[int, list[str]]:
        with small_disk(config.parent / "results", max(int(share * needed_kb), 8)):
            return small_runs.run(config)

    return case


def forbidden(place: Callable[[Path], Path], mode: int = 0) -> Case:
    """The run of a user who may not read or write a place."""

    def case(config: Path) -> tuple[int, list[str]]:
        if os.getuid() == 0 and not shutil.which("setpriv"):
            raise Skipped("root may read everything, and there is no setpriv to run as another")
        path = place(config)
        kept = path.stat().st_mode
        path.chmod(mode)
        try:
            return small_runs.run(config, before=ORDINARY if os.getuid() == 0 else [])
        finally:
            path.chmod(kept)

    return case


def during(stage: str, change: Callable[[Path], Callable[[], None] | None]) -> Case:
    """`change` the archive at the moment a stage starts to work; what it returns puts things back after the run."""

    def case(config: Path) -> tuple[int, list[str]]:
        run = small_runs.start(config)
        while run.poll() is None and not any(f" {stage} " in words for words in small_runs.processes(config).values()):
            time.sleep(0.005)
        back = change(config)
        outcome = small_runs.ended(run)
        if back is not None:
            back()
        return outcome

    return case


def away(place: Callable[[Path], Path]) -> Callable[[Path], Callable[[], None]]:
    """A file that vanishes and comes back as it was, times and all."""

    def change(config: Path) -> Callable[[], None]:
        path = place(config)
        hidden = config.parent / "hidden"
        path.rename(hidden)
        return lambda: hidden.rename(path) and None

    return change


def other(config: Path) -> Callable[[], None]:
    """A recording with other bytes of equal size and time, and back again in the same way."""
    path = recordings(config)[0]
    info, content = path.stat(), path.read_bytes()

    def put(new: bytes) -> None:
        path.write_bytes(new)
        os.utime(path, ns=(info.st_atime_ns, info.st_mtime_ns))

    put(content.replace(b"1", b"2"))
    return lambda: put(content)


def edited_before(config: Path) -> tuple[int, list[str]]:
    """A run over an edited recording; afterwards the right one, of equal size and time, takes its place."""
    back = other(config)
    outcome = small_runs.run(config)
    back()
    return outcome


def dated(seconds: float, place: str) -> Case:
    """All files of a place dated in the future or the past, as a wrong clock leaves them; then an edit that must be seen."""

    def case(config: Path) -> tuple[int, list[str]]:
        small_runs.set_method(config.parent, "edited")
        small_runs.run(config)
        then = time.time() + seconds
        for path in (config.parent / place).rglob("*"):
            os.utime(path, (then, then))
        small_runs.set_method(config.parent, "as it was")
        return small_runs.run(config)

    return case


def cases(config: Path, needed_kb: int) -> dict[str, Case]:
    """All cases by their names."""

    def test(name: str) -> Callable[[Path], Path]:
        return lambda config: config.parent / "archive" / "t-1" / name

    def recording(config: Path) -> Path:
        return recordings(config)[3]

    def results(config: Path) -> Path:
        (config.parent / "results").mkdir(exist_ok=True)
        return config.parent / "results"

    day = 86_400.0
    disks = {f"disk full at {share:.0%} of the results' size": full(share, needed_kb) for share in SHARES}
    return {
        **disks,
        "no permission: a recording": forbidden(recording),
        "no permission: the folder of recordings": forbidden(test("recordings")),
        "no permission: test.yaml": forbidden(test("test.yaml")),
        "no permission: wear.csv": forbidden(test("wear.csv")),
        "no permission: the results": forbidden(results, 0o555),
        "a recording vanishes while it is read, and is back": during("channels", away(recording)),
        "test.yaml vanishes while recordings are read, and is back": during("channels", away(test("test.yaml"))),
        "test.yaml vanishes while wear is read, and is back": during("wear", away(test("test.yaml"))),
        "wear.csv vanishes while stops are reduced, and is back": during("stops", away(test("wear.csv"))),
        "a recording changes while it is read, size and time kept": during("channels", other),
        "a recording changed between the runs, size and time kept": edited_before,
        "results dated a day ahead, then the method edited": dated(day, "results"),
        "results dated a year back, then the method edited": dated(-365 * day, "results"),
        "archive dated a day ahead": dated(day, "archive"),
        "archive dated in 1980": dated(315_532_800.0 - time.time(), "archive"),
    }


def study(only: str = "") -> Iterator[Outcome | tuple[str, str]]:
    """Outcome of every case whose name holds `only`; (name, why) of one that cannot be made here."""
    with tempfile.TemporaryDirectory(prefix="broken-") as room:
        config = small_runs.workspace(Path(room), TESTS)
        wanted, _ = small_runs.undisturbed(config, "as it was")
        size = sum(path.stat().st_size for path in (config.parent / "results").rglob("*") if path.is_file())
        for name, case in cases(config, size // 1000).items():
            if only in name:
                small_runs.forget(config)
                small_runs.set_method(config.parent, "as it was")
                try:
                    code, said = case(config)
                except Skipped as why:
                    yield name, str(why)
                    continue
                then, _ = small_runs.run(config)
                wrong = kills.differing(small_runs.results(config), wanted)
                said = [line.replace(f"{config.parent}{os.sep}", "") for line in said]
                yield Outcome(name, code, tuple(said), then, wrong)


def page(outcomes: list[Outcome | tuple[str, str]]) -> str:
    made = [one for one in outcomes if isinstance(one, Outcome)]
    rows = [
        f"| {one.name} | {one.first} | {' / '.join(one.said) or 'nothing'} | {one.then} | {'yes' if one.well else 'NO'} |"
        if isinstance(one, Outcome)
        else f"| {one[0]} | | skipped: {one[1]} | | |"
        for one in outcomes
    ]
    return "\n".join(
        [
            "<!-- generated by `python -m tests.studies.broken_system --write`; do not edit -->",
            "# The machine fails during a run",
            "",
            f"{len(made)} faults of the machine in a run over {TESTS} simulated tests. Then the cause is taken away and the same",
            "command given again. Well: it ends with 0 and every result is there and equal, byte for byte, to that of a run that",
            f"nothing disturbed: {sum(one.well for one in made)} of {len(made)}. Paths are relative to the workspace.",
            "",
            "| fault | first run ends with | and says | second ends with | well |",
            "|---|---|---|---|---|",
            *rows,
            "",
        ]
    )


def main() -> None:
    options = argparse.ArgumentParser(description="the machine fails during a run")
    options.add_argument("--write", action="store_true", help="renew docs/broken_system_study.md")
    options.add_argument("--only", default="", help="cases whose name holds this")
    chosen = options.parse_args()
    outcomes = []
    for one in study(chosen.only):
        print(one, flush=True)
        outcomes.append(one)
    if chosen.write:
        Path("docs/broken_system_study.md").write_text(page(outcomes), encoding="utf-8")


if __name__ == "__main__":
    main()
