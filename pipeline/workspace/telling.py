"""What the workflow engine tells `stopsheet run` beside its words: what it is going to do and why, what begins and ends.

One line each among the engine's words, with a mark that no text of ours holds. The Snakefile writes them, the command
reads them; without `TELL` in the environment none is written.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal

from pipeline.workspace.reasons import Differs, reasons

TELL, ONLY, CUT = "STOPSHEET_TELL", "STOPSHEET_ONLY", "STOPSHEET_CUT"
PART = "STOPSHEET_PART"  # file with the part of the archive that is planned; empty for all
PLANNED = ".planned.json"  # below the results: that file
FIRST, THEN = (
    "first",
    "then",
)  # the two parts of a run: up to what is cut out of the whole archive's files, and the rest
MARK = "\x1estopsheet "
LONGEST = 3500  # bytes; a longer line could be cut by another process of the run
SUBJECTS = {
    "test": "{test}",
    "compound": "{compound}",
    "rig": "rig {rig}",
    "one": "{one} and {other}",
    "a": "{a} to {b}",
}


@dataclass(frozen=True)
class Job:
    """A stage of one test, compound, rig, or of all of a method. method: empty for what no method decides."""

    number: int
    stage: str
    subject: str
    method: str
    why: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        return " ".join(filter(None, (self.stage, self.subject, f"({self.method})" if self.method else "")))


@dataclass(frozen=True)
class Event:
    """Something that happened to jobs. `planned` carries the job, `ready` says that all are told."""

    kind: Literal["planned", "ready", "begun", "done", "failed"]
    number: int = 0
    job: Job | None = None


def job(number: int, stage: str, wildcards: Mapping[str, str], differs: Differs) -> Job:
    """A job in words of ours. Of a stage of the whole archive the subject is empty."""
    subject = next((words.format(**wildcards) for key, words in SUBJECTS.items() if key in wildcards), "")
    return Job(number, stage, subject, wildcards.get("method", ""), tuple(reasons(differs)))


def line(event: Event) -> str:
    """The event as one line; of one that is too long the reasons are cut."""
    content = asdict(event)
    text = MARK + json.dumps(content)
    if len(text) > LONGEST and event.job is not None:
        content["job"]["why"] = [why[:200] for why in event.job.why[:5]]
        text = MARK + json.dumps(content)
    return text


def heard(text: str) -> Event | None:
    """The event in a line; None where the line is none, or of no stage: a cluster's job of several has a name for a number."""
    if not text.startswith(MARK):
        return None
    try:
        content = json.loads(text.removeprefix(MARK))
        told = content.pop("job")
        if not isinstance(content["number"], int):
            return None
        return Event(**content, job=Job(**{**told, "why": tuple(told["why"])}) if told else None)
    except (ValueError, TypeError, KeyError):
        return None


def wanted() -> bool:
    return bool(os.environ.get(TELL))


def only() -> str | None:
    """The one test that is to be brought up to date, with what shows it; None for all."""
    return os.environ.get(ONLY) or None


def to_be_cut() -> bool:
    """Whether nothing is wanted but what is cut out of the whole archive's files, and what that rests on."""
    return os.environ.get(CUT) == FIRST


def cut_already() -> bool:
    """Whether that is up to date, as far as it can be known before the run."""
    return os.environ.get(CUT) == THEN


def part() -> Path | None:
    """File with the part of the archive that is to be planned; None for all."""
    place = os.environ.get(PART)
    return Path(place) if place else None
