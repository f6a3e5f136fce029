"""What every stage's settings share: frozen, unknown keys refused, a default and a description for each."""

from __future__ import annotations

import json
from typing import Any

from pipeline.inputs.model import Model


class Settings(Model):
    """One stage's settings; SI inside, units in the file."""


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
