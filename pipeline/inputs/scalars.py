"""Plain values as a person writes them in a file: names, numbers, truths, counts, probabilities."""

from __future__ import annotations

import re
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from pipeline.errors import Unfit
from pipeline.inputs.quantities import Dimension, to_si, with_point


def as_text(value: Any) -> str:
    """The text of a name, stripped; ValueError where it is empty, too long or not printable."""
    if value is None:
        raise Unfit("is empty", "1 to 200 printable characters", "write a name")
    if isinstance(value, dict | list):
        raise Unfit("is a list or a mapping, and must be plain text", "1 to 200 printable characters", "write a name")
    text = str(value).strip()
    if not text or len(text) > 200 or any(ord(c) < 32 for c in text):
        raise Unfit(
            f"{text[:60]!r} has {len(text)} characters, or one that cannot be printed",
            "1 to 200 printable characters",
            "write a name",
        )
    return text


def as_number(value: Any) -> Any:
    """The value where it can be a number, a text with its decimal comma made a point; ValueError for another text."""
    if not isinstance(value, str):
        return value
    if not re.match(r"^[-+]?(\d+[.,]?\d*|[.,]\d+)([eE][-+]?\d+)?$", value.strip(), re.ASCII):
        raise Unfit(f"{value[:60]!r} is not a number", "a number such as 12 or 0.5", "write the number alone")
    return with_point(value)


def as_truth(value: Any) -> Any:
    """True or False for the words that mean it, anything but a text as it is; ValueError for another word."""
    if isinstance(value, str):
        lowered = value.strip().lower()
        if lowered in ("true", "yes", "on"):
            return True
        if lowered in ("false", "no", "off"):
            return False
        raise Unfit(f"{value[:60]!r} is not true or false", "true or false", "write one of them")
    return value


def as_fraction(value: Any) -> float:
    """A share between 0 and 1, both left out, from a number or `95 %`; ValueError otherwise."""
    share = to_si(value if isinstance(value, int | float) else str(value), "share")
    if not 0 < share < 1:
        raise Unfit(
            f"{value!r} must lie between 0 and 100 %",
            "0 to 100 %, or 0 to 1",
            "write the share with %, or as a fraction",
        )
    return share


Text = Annotated[str, BeforeValidator(as_text)]
Number = Annotated[float, BeforeValidator(as_number)]
Truth = Annotated[bool, BeforeValidator(as_truth)]
Fraction = Annotated[float, BeforeValidator(as_fraction), Dimension("share")]
Probability = Fraction  # where the fraction is a chance
Count = Annotated[int, BeforeValidator(as_number), Field(ge=0)]
