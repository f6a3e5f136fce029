"""What every stage's settings share: frozen, unknown keys refused, a default and a description for each."""

from __future__ import annotations

import json
from typing import Any

from pipeline.inputs.model import Model
from pipeline.inputs.quantities import Dimension

# Of a setting, whatever it is for; a share above one is one that was written without its %.
LIMITS = {
    "share": ("0", "1"),
    "duration": ("0 s", "10000 h"),
    "frequency": ("0.01 Hz", "100 kHz"),
    "pressure": ("0 bar", "2000 bar"),
    "temperature": ("-60 degC", "2000 degC"),
    "temperature_difference": ("0 K", "2000 K"),
    "angular_speed": ("0 rpm", "100000 rpm"),
    "length": ("0 mm", "1 m"),
}


class Settings(Model):
    """One stage's settings; SI inside, units in the file."""

    @classmethod
    def limits_of(cls, name: str, kind: Dimension | None) -> tuple[str, str] | None:
        return cls.bounds.get(name) or (LIMITS.get(kind.name) if kind is not None else None)


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
