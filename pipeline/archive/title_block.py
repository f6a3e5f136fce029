"""What nobody can read from recordings and a sheet carries all the same: sheets/<compound>.yaml.

Number of the report, issue, date of issue, who prepared and reviewed it, a text for the customer, the amendments so far,
and the language of the title block's words. Each key but the compound is optional: what is not stated stays a blank line
to write on, never a guess.
"""

from __future__ import annotations

import datetime
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BeforeValidator, model_validator

from pipeline.errors import Unfit
from pipeline.inputs.model import Model
from pipeline.inputs.scalars import Text

Language = Literal["en", "de", "fr", "it", "es"]
LONGEST_TEXT = 8000  # characters of the text for the customer


def _paragraphs(value: Any) -> str:
    accepted = f"1 to {LONGEST_TEXT} printable characters, in one line or several (`text: |`)"
    if isinstance(value, dict | list):
        raise Unfit("is a list or a mapping, and must be plain text", accepted, "write the text")
    text = "" if value is None else str(value).strip()
    if not text:
        raise Unfit("is empty", accepted, "write the text, or remove the key")
    if len(text) > LONGEST_TEXT:
        raise Unfit(f"has {len(text)} characters", accepted, "shorten it")
    if any(ord(one) < 32 and one not in "\n\t" for one in text):
        raise Unfit("has characters that cannot be printed", accepted, "remove them")
    return text


class Amendment(Model):
    """One issue of the sheet and what changed in it."""

    issue: Text
    date: datetime.date
    what: Text


class TitleBlockFile(Model):
    stand_in: ClassVar = {"compound": "-", "amendments": [{"issue": "1", "date": "2000-01-01", "what": "-"}]}
    compound: Text
    report_number: Text | None = None
    issue: Text | None = None
    date: datetime.date | None = None  # of issue
    prepared: Text | None = None
    reviewed: Text | None = None
    text: Annotated[str, BeforeValidator(_paragraphs)] | None = None
    language: Language = "en"  # of the title block's own words
    amendments: tuple[Amendment, ...] = ()

    @model_validator(mode="after")
    def _in_order(self) -> TitleBlockFile:
        """Each issue once, in the order of their dates, none after the date of issue."""
        for number, (before, one) in enumerate(zip(self.amendments, self.amendments[1:], strict=False), 1):
            if one.date < before.date:
                raise Unfit(
                    f"{one.date} lies before {before.date}, the date of the amendment above it",
                    "the oldest first",
                    "correct the date or the order",
                    at=("amendments", number, "date"),
                )
        seen: dict[str, int] = {}
        for number, one in enumerate(self.amendments):
            if one.issue in seen:
                raise Unfit(
                    f"issue {one.issue!r} stands twice",
                    "each issue once",
                    "give each amendment its own issue",
                    at=("amendments", number, "issue"),
                )
            seen[one.issue] = number
            if self.date is not None and one.date > self.date:
                raise Unfit(
                    f"{one.date} lies after {self.date}, the date of issue",
                    "a date up to that of the issue",
                    "correct one of the two",
                    at=("amendments", number, "date"),
                    beside=[("date",)],
                )
        return self
