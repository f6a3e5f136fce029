"""What every stage's settings share: frozen, unknown keys refused, a default and a description for each."""

from __future__ import annotations

import json
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from pipeline.archive.card import Number, Truth, _number
from pipeline.archive.model import Model
from pipeline.archive.quantities import Dimension, to_si

__all__ = ["Count", "Number", "Probability", "Settings", "Truth", "canonical"]


class Settings(Model):
    """One stage's settings; SI inside, units in the file."""


def _probability(value: Any) -> float:
    share = to_si(value if isinstance(value, int | float) else str(value), "share")
    if not 0 < share < 1:
        raise ValueError(f"{value!r} must lie between 0 and 100 %")
    return share


Probability = Annotated[float, BeforeValidator(_probability), Dimension("share")]
Count = Annotated[int, BeforeValidator(_number), Field(ge=0)]


def canonical(content: Any) -> str:
    """One string for equal settings: sorted keys, normalised numbers (5.0 and 5 are the same)."""

    def normal(value: Any) -> Any:
        if isinstance(value, dict):
            return {k: normal(v) for k, v in value.items()}
        if isinstance(value, list | tuple):
            return [normal(v) for v in value]
        if isinstance(value, float) and value == int(value) and abs(value) < 1e15:
            return int(value)
        return value

    return json.dumps(normal(content), sort_keys=True, separators=(",", ":"), ensure_ascii=True)
