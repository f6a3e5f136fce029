"""Stops that the engineer takes out by hand: `exclude` of test.yaml.

A judgement from beside the machine (a pad that lifted, a hose that was moved) stands in no channel. It is taken as it
is and kept traceable: which stops, why, by whom, when.
"""

from __future__ import annotations

import datetime
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, PositiveInt, field_validator

from pipeline.errors import Unfit
from pipeline.inputs.model import Model
from pipeline.inputs.scalars import Text, as_number

LONGEST = 2000
AHEAD = datetime.timedelta(days=1)  # where the laboratory's day has begun and this machine's has not


def as_prose(value: Any) -> str:
    """Free text of one paragraph; ValueError where it is empty, no text, or longer than a page."""
    if isinstance(value, dict | list):
        raise Unfit("is a list or a mapping", "plain text", "write one sentence")
    text = " ".join(str("" if value is None else value).split())
    if not text:
        raise Unfit("is empty", "plain text", "write why these stops are not to be used")
    if len(text) > LONGEST:
        raise Unfit(f"has {len(text)} characters", f"at most {LONGEST}", "shorten it")
    return text


class Exclusion(Model):
    """Stops by their number as run (`stop` of the results), and why they are not used."""

    stops: Annotated[
        tuple[Annotated[PositiveInt, BeforeValidator(as_number)], ...], Field(min_length=1, max_length=100000)
    ]
    reason: Annotated[str, BeforeValidator(as_prose)]
    by: Text | None = None
    date: datetime.date | None = None

    @field_validator("date")
    @classmethod
    def _not_ahead(cls, value: datetime.date | None) -> datetime.date | None:
        if value is not None and value > datetime.date.today() + AHEAD:
            raise Unfit(f"{value} lies in the future", "today or earlier", "correct the date")
        return value


def refuse_twice(exclusions: tuple[Exclusion, ...]) -> None:
    """Raises ValueError where a stop is named twice: two reasons for it cannot both be counted."""
    seen: dict[int, int] = {}
    for entry, exclusion in enumerate(exclusions):
        for stop in exclusion.stops:
            if stop in seen:
                raise Unfit(
                    f"stop {stop} is named twice (entries {seen[stop] + 1} and {entry + 1})",
                    "each stop once",
                    "leave it out of one of them",
                    at=("exclude", entry, "stops"),
                )
            seen[stop] = entry
