"""`stopsheet watch`: a test that is still running, taken in as its recordings appear, until its program has been run.

What is judged is reduced in memory from the recordings that are whole. The results themselves are those of `stopsheet run`:
brought up to date for the test at each look and each alarm while no recording is being written, and as a whole at the end.
"""

from __future__ import annotations

import contextlib
import io
import json
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.archive.scan import printable
from pipeline.cli import workspace
from pipeline.drift.series import Series
from pipeline.errors import InputError
from pipeline.inputs.quantities import to_si
from pipeline.method import Method
from pipeline.results import read_table
from pipeline.watching.judge import series_of
from pipeline.watching.running import Event, RunningTest
from pipeline.workspace.run import Run, load_run
from pipeline.workspace.targets import refuse_unknown

ALARMED = 4  # exit code: "stop and look" was said


@dataclass(frozen=True)
class Given:
    """What was asked for. every, settle and idle: times with their unit; idle: end when nothing came for so long."""

    config: Path
    only: str | None = None
    method: str | None = None
    every: str = "10 s"
    settle: str = "5 s"
    idle: str | None = None
    end_at_alarm: bool = False
    cores: int | None = None
    as_json: bool = False


@dataclass
class Hands:
    """The clock, the wait and the run that the loop works with."""

    now: Callable[[], float] = time.monotonic
    wait: Callable[[float], None] = time.sleep
    run: Callable[..., int] = workspace.run


def watch(given: Given, hands: Hands | None = None) -> int:
    """Watch to the program's end; 4 when "stop and look" was said, else the exit code of the whole run at the end."""
    hands = hands or Hands()
    every, settle = _time("--every", given.every), _time("--settle", given.settle)
    idle = None if given.idle is None else _time("--idle", given.idle)
    if not given.config.is_file():
        raise InputError(f"{given.config}: no such config file")
    loop = Loop(given, hands, settle)
    last = hands.now()
    while not loop.ended:
        if loop.round():
            last = hands.now()
        elif idle is not None and hands.now() - last >= idle:
            loop.say("end", f"nothing came for {given.idle}")
            break
        if not loop.ended:
            hands.wait(every)
    return loop.end()


def _time(option: str, text: str) -> float:
    try:
        found = to_si(text, "duration")
    except ValueError as error:
        raise InputError(f"{option} {text}: {error}") from None
    if not 0 < found < 1e7:
        raise InputError(f"{option} {text}: above 0 s and below 100 days")
    return found


@dataclass
class Loop:
    """The tests that are watched, and what is to be done for them."""

    given: Given
    hands: Hands
    settle_s: float
    tests: dict[str, RunningTest] = field(default_factory=dict)
    started: set[str] = field(default_factory=set)
    _folders: frozenset[str] = frozenset()

    @property
    def ended(self) -> bool:
        alarmed = self.given.end_at_alarm and any(test.alarmed for test in self.tests.values())
        return alarmed or (bool(self.started) and all(self.tests[name].at_end for name in self.started))

    def round(self) -> bool:
        """Look at every test once; whether anything came."""
        self._look_for_tests()
        came = False
        for name, test in self.tests.items():
            events, quiet = test.look_round(self.hands.now())
            for event in events:
                self._tell(event)
            if any(event.kind == "taken" for event in events):
                came = True
                self.started.add(name)
            if test.due and quiet and not self.ended:
                self._bring_up_to_date(name)
                test.due = False
        return came

    def end(self) -> int:
        """Bring everything up to date, as `stopsheet run` does, and give the exit code."""
        alarmed = any(test.alarmed for test in self.tests.values())
        if self.given.end_at_alarm and alarmed:
            for name in [name for name, test in self.tests.items() if test.due]:
                self._bring_up_to_date(name)
            return ALARMED
        load_run.cache_clear()
        with contextlib.redirect_stdout(sys.stderr if self.given.as_json else sys.stdout):
            code = self.hands.run(config=self.given.config, cores=self.given.cores)
        return ALARMED if alarmed and code in (0, 3) else code

    def say(self, kind: str, words: str) -> None:
        """One line to the standard output."""
        print(json.dumps({"event": kind, "words": words}) if self.given.as_json else printable(words), flush=True)

    def _tell(self, event: Event) -> None:
        if self.given.as_json:
            content = {"event": event.kind, "test": event.test, "after": event.after, "words": event.words}
            print(json.dumps(content | ({} if event.said is None else event.said._asdict())), flush=True)
        else:
            after = f" after stop {event.after}" if event.after and event.kind in ("look", "alarm") else ""
            print(printable(f"{event.test}{after}: {event.words}"), flush=True)

    def _look_for_tests(self) -> None:
        archive = self._archive()
        folders = frozenset(path.parent.name for path in archive.glob("*/test.yaml"))
        if folders == self._folders:
            return
        first, self._folders = not self.tests, folders
        loaded = self._loaded()
        method = self._method(loaded)
        refuse_unknown(loaded, self.given.only)
        for name in loaded.tests if self.given.only is None else [self.given.only]:
            if name not in self.tests:
                rig = loaded.rig(method[0], name)
                test = RunningTest(
                    archive / name,
                    method[1],
                    self.settle_s,
                    _others(loaded, name, method[0]),
                    Path(rig) if rig else None,
                )
                if first and self.given.only is None:
                    test.seen(self.hands.now())
                self.tests[name] = test

    def _archive(self) -> Path:
        return self._loaded(fresh=False).archive

    def _loaded(self, *, fresh: bool = True) -> Run:
        if fresh:
            load_run.cache_clear()
        return load_run(self.given.config)

    def _method(self, loaded: Run) -> tuple[str, Method]:
        named = dict(loaded.read_methods)
        if self.given.method is None and len(named) > 1:
            raise InputError(f"--method: the config names several methods; give one of {', '.join(named)}")
        name = self.given.method or next(iter(named))
        if name not in named:
            raise InputError(f"--method {name}: no such method; the config names {', '.join(named)}")
        return name, named[name]

    def _bring_up_to_date(self, name: str) -> None:
        """The test's results by the usual run, whose end is not printed: the test is not at its end."""
        load_run.cache_clear()
        try:
            with contextlib.redirect_stdout(io.StringIO()):
                code = self.hands.run(config=self.given.config, cores=self.given.cores, only=name)
        except InputError as error:
            self.say("results", f"{name}: results not brought up to date: {error}")
            return
        if code not in (0, 3):
            self.say("results", f"{name}: results not brought up to date: see run.log among the results")


def _others(loaded: Run, name: str, method: str) -> Callable[[], Mapping[str, Series]]:
    """What the other tests of the compound tell of the scatter, by their stops as the last run left them."""
    compound = loaded.found.tests[name]
    others = [
        test for test, of in loaded.found.tests.items() if of == compound and compound is not None and test != name
    ]
    tests = Path(loaded.results) / method / "tests"

    def known() -> dict[str, Series]:
        places = {test: tests / test / "stops.parquet" for test in others}
        tables = {test: read_table(place) for test, place in places.items() if place.is_file()}
        return series_of(tables, dict(loaded.read_methods)[method])

    return known
