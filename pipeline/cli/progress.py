"""How far a run is: what is planned, at work, done and failed, and the time left.

The time left is the work left over the cores: each stage that is not done counts with the mean of those of its name that
ended in this run, else with that of the last run, else with the mean of all that ended.
"""

from __future__ import annotations

import contextlib
import json
import time
from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

from pipeline.results import write_json
from pipeline.stages import STAGES
from pipeline.workspace.telling import Event, Job

LOOKING = "looking at what has changed"
KEPT = ".durations.json"  # below the results: mean seconds of each stage in earlier runs


class Progress:
    """What was heard of the jobs of one run. `clock` gives seconds.

    cores: 0 on a cluster, where a stage's time is its job's with the queue before it: no time left follows from it, and
    none is kept.
    """

    def __init__(
        self, cores: int = 1, earlier: Mapping[str, float] | None = None, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.jobs: dict[int, Job] = {}
        self.took: dict[int, float] = {}  # seconds of those that are done, in the order of their ends
        self.failed: list[int] = []
        self.ready = False
        self.cores, self._earlier, self._clock = cores, dict(earlier or {}), clock
        self._begun: dict[int, float] = {}
        self._start = clock()
        self._before = 0  # numbers that jobs of earlier plans of this run have

    def plan_anew(self) -> None:
        """A further plan of the same run follows: what is done stays, what is not will be told again."""
        self.jobs = {number: job for number, job in self.jobs.items() if number in self.took}
        self.failed, self._begun, self.ready = [], {}, False
        self._before = max(self.jobs, default=-1) + 1

    def hear(self, event: Event) -> None:
        now, job = self._clock(), event.number + self._before
        if event.job is not None:
            number = event.job.number + self._before
            self.jobs[number] = replace(event.job, number=number)
        elif event.kind == "ready":
            self.ready = True
        elif job in self.jobs and event.kind == "begun":
            self._begun[job] = now
            self._not_failed(job)
        elif job in self.jobs and event.kind == "done":
            self.took[job] = now - self._begun.pop(job, now)
            self._not_failed(job)
        elif job in self.jobs and event.kind == "failed":
            self._begun.pop(job, None)
            self.failed += [job] if job not in self.failed else []

    def _not_failed(self, job: int) -> None:
        """One that failed may be tried again."""
        self.failed = [one for one in self.failed if one != job]

    def done(self, stage: str) -> int:
        """How many jobs of a stage are done."""
        return sum(self.jobs[number].stage == stage for number in self.took)

    @property
    def planned(self) -> list[Job]:
        """All jobs, by stage in the order of the data's way."""
        place = {name: number for number, name in enumerate(STAGES)}
        return sorted(self.jobs.values(), key=lambda job: (place.get(job.stage, 99), job.method, job.subject))

    @property
    def ran(self) -> list[tuple[Job, float]]:
        """Jobs that are done with their seconds, as they ended."""
        return [(self.jobs[number], seconds) for number, seconds in self.took.items()]

    @property
    def not_run(self) -> list[Job]:
        """Jobs that were planned and neither done nor failed."""
        return [job for job in self.planned if job.number not in self.took and job.number not in self.failed]

    @property
    def seconds(self) -> float:
        return self._clock() - self._start

    def means(self) -> dict[str, float]:
        """Mean seconds of each stage: of this run, of the last where it did not run now."""
        found = defaultdict(list)
        for number, seconds in self.took.items():
            found[self.jobs[number].stage].append(seconds)
        return {**self._earlier, **{stage: sum(seconds) / len(seconds) for stage, seconds in found.items()}}

    def left_s(self) -> float | None:
        """Seconds left; None where nothing tells."""
        known = self.means()
        if not known or not self.ready or not self.cores:
            return None
        other, now = sum(known.values()) / len(known), self._clock()
        wanted = [known.get(job.stage, other) for job in self.not_run if job.number not in self._begun]
        at_work = [
            max(known.get(self.jobs[number].stage, other) - (now - at), 0.0) for number, at in self._begun.items()
        ]
        return max([sum(wanted + at_work) / self.cores, *at_work])

    def line(self) -> str:
        """One line on how far the run is."""
        if not self.ready:
            return LOOKING
        now, total = self._clock(), len(self.jobs)
        parts = [f"{len(self.took)} of {total} done"]
        if self._begun:
            latest = next(reversed(self._begun))
            more = f" and {len(self._begun) - 1} more" if len(self._begun) > 1 else ""
            parts.append(f"{self.jobs[latest].words}{more}, {now - self._begun[latest]:.0f} s")
        parts += [f"{len(self.failed)} failed"] if self.failed else []
        left = self.left_s()
        parts += [f"about {duration(left)} left"] if left else []
        return "  ".join(parts)


def duration(seconds: float) -> str:
    """A time as people say it, in steps that an estimate can bear."""
    if seconds < 55:
        return f"{max(5 * round(seconds / 5), 5)} s"
    minutes = max(round(seconds / 60), 1)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60} min"


def earlier(results: Path) -> dict[str, float]:
    """Mean seconds of each stage as earlier runs left them; empty where none did."""
    try:
        content = json.loads((results / KEPT).read_text(encoding="utf-8"))
        return {stage: float(seconds) for stage, seconds in content.items()}
    except (OSError, ValueError, TypeError, AttributeError):
        return {}


def keep(results: Path, progress: Progress) -> None:
    """Leave the means for the next run. A full disk costs the estimate alone."""
    if progress.took and progress.cores:
        with contextlib.suppress(OSError):
            write_json(results / KEPT, progress.means())
