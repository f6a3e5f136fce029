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
import traceback
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

from pipeline import faults
from pipeline.archive.scan import printable
from pipeline.cli import workspace
from pipeline.drift.series import Series
from pipeline.errors import InputError
from pipeline.inputs.quantities import to_si
from pipeline.method import Method
from pipeline.results import read_table
from pipeline.stops.copies import copies, counted_no_more
from pipeline.watching.judge import series_of
from pipeline.watching.running import Event, RunningTest
from pipeline.workspace.run import Run, load_run
from pipeline.workspace.targets import refuse_unknown

ALARMED = 4  # exit code: "stop and look" was said
STOPPED_BY_SIGNAL = 128  # exit codes from here on
LOG = "watch.fault.txt"  # below the results: details of a fault of ours


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
    """Watch to the program's end; 4 when "stop and look" was said, else the exit code of the whole run at the end, whose
    interrupt stays one."""
    hands = hands or Hands()
    every, settle = _time("--every", given.every), _time("--settle", given.settle)
    idle = None if given.idle is None else _time("--idle", given.idle)
    with contextlib.redirect_stdout(sys.stderr if given.as_json else sys.stdout):
        given = replace(given, config=workspace.given_config(given.config))
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
    _folders: frozenset[str] | None = None
    _said: set[str] = field(default_factory=set)
    _results: Path = Path()
    _uncorrected: dict[str, str] = field(default_factory=dict)  # why calibrations are not applied to a test

    @property
    def ended(self) -> bool:
        return self._stopped or (bool(self.started) and all(self.tests[name].at_end for name in self.started))

    @property
    def _alarmed(self) -> bool:
        return any(test.alarmed for test in self.tests.values())

    @property
    def _stopped(self) -> bool:
        return self.given.end_at_alarm and self._alarmed

    def round(self) -> bool:
        """Look at every test once, up to an alarm that ends the watch; whether anything came."""
        try:
            self._look_for_tests()
        except InputError as error:
            if not self.tests:
                raise
            self._once("waits", f"not yet: {error}")
        came = False
        for name, test in self.tests.items():
            events, quiet = self._looked_at(name, test)
            for event in events:
                self._tell(event)
            if any(event.kind == "taken" for event in events):
                came = True
                self.started.add(name)
                if self._uncorrected[name]:
                    words = "torque and pressure are as read, as the rig's file is left out"
                    self._once("note", f"{name}: note: {words}: {self._uncorrected[name]}")
            if self._stopped:
                break
            if test.due and quiet and not self.ended:
                self._bring_up_to_date(name)
                test.due = False
        return came

    def _looked_at(self, name: str, test: RunningTest) -> tuple[list[Event], bool]:
        """What is new of a test. A fault of ours or of the machine must not end the watch: a rig is running, and other tests are watched."""
        try:
            return test.look_round(self.hands.now())
        except Exception as error:
            said = faults.words_of(error, test.folder)
            if said is None:
                with contextlib.suppress(OSError):  # a full disk: the words are said all the same
                    self._results.mkdir(parents=True, exist_ok=True)
                    details = traceback.format_exc()
                    (self._results / LOG).write_text(details, encoding="utf-8", errors="backslashreplace")
                said = (
                    f"fault of ours: {type(error).__name__}; {LOG} among the results has the details, please report it"
                )
            self._once("waits", f"{name}: not watched: {said}")
            return [], False

    def end(self) -> int:
        """Bring everything up to date, as `stopsheet run` does, and give the exit code. Where an alarm ends the watch this is left to
        the user: whoever waits for the exit code stops a rig.
        """
        if self._stopped:
            self.say(
                "end", f"stopped looking; the results are brought up to date by: stopsheet run {self.given.config}"
            )
            return ALARMED
        load_run.cache_clear()
        try:
            with contextlib.redirect_stdout(sys.stderr if self.given.as_json else sys.stdout):
                code = self.hands.run(config=self.given.config, cores=self.given.cores)
        except (InputError, OSError) as error:
            if not self._alarmed:
                raise
            self.say("results", f"results not brought up to date: {error}")
            return ALARMED
        return ALARMED if self._alarmed and code < STOPPED_BY_SIGNAL else code

    def _once(self, kind: str, words: str) -> None:
        if words not in self._said:
            self._said.add(words)
            self.say(kind, words)

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
        if self.given.only in self.tests:
            return
        archive = self._loaded(fresh=False).archive
        folders = frozenset(path.parent.name for path in archive.glob("*/test.yaml"))
        if folders == self._folders:
            return
        loaded = self._loaded()
        method = self._method(loaded)
        refuse_unknown(loaded, self.given.only)
        first, self._folders, self._results = not self.tests, folders, Path(loaded.results)
        for name in loaded.tests if self.given.only is None else [self.given.only]:
            if name not in self.tests:
                rig = loaded.rig(method[0], name)
                test = RunningTest(
                    archive / name,
                    method[1],
                    self.settle_s,
                    _others(partial(self._as_now, loaded), name, method[0]),
                    Path(rig) if rig else None,
                )
                if first and self.given.only is None:
                    test.seen(self.hands.now())
                self.tests[name], self._uncorrected[name] = test, loaded.uncorrected(method[0], name)

    def _as_now(self, before: Run) -> Run:
        """The workspace, or as it was where it cannot be read for the moment."""
        try:
            return self._loaded()
        except InputError:
            return before

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
        except (InputError, OSError) as error:  # such as a full disk: the rig runs on, and so does the watch
            self.say("results", f"{name}: results not brought up to date: {error}")
            return
        if code not in (0, 3):
            self.say("results", f"{name}: results not brought up to date: see run.log among the results")


def _others(found: Callable[[], Run], name: str, method: str) -> Callable[[], Mapping[str, Series]]:
    """What the other tests of the compound tell of the scatter, by their stops as the last run left them.

    found: the workspace as it is when it is asked: a card that was half written when the test was first seen names its
    compound later.
    """

    def known() -> dict[str, Series]:
        loaded = found()
        compound = loaded.found.tests.get(name)
        others = [test for test, of in loaded.found.tests.items() if of == compound is not None and test != name]
        tests = Path(loaded.results) / method / "tests"
        places = {test: tests / test / "stops.parquet" for test in others}
        tables = {test: read_table(place) for test, place in places.items() if place.is_file()}
        once = counted_no_more(copies(tables))  # as the stage `repeatability` does
        tables = {test: table for test, table in tables.items() if test not in once}
        return series_of(tables, dict(loaded.read_methods)[method])

    return known
