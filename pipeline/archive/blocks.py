"""Planned blocks as YAML, ready for a card's `blocks:`; reading them back gives the same blocks."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pipeline.archive.block import Block
from pipeline.constants import ZERO_C

SCALES = (("pressure", 1e5, 0.0, "bar"), ("torque", 1.0, 0.0, "N m"), ("deceleration", 1.0, 0.0, "m/s^2"),
          ("initial_temperature", 1.0, ZERO_C, "degC"), ("pause_before", 1.0, 0.0, "s"), ("duration", 1.0, 0.0, "s"),
          ("interval", 1.0, 0.0, "s"))  # fmt: skip


def as_yaml(blocks: Sequence[Block]) -> str:
    """`blocks:` with the blocks as a card lists them."""
    import yaml

    return yaml.safe_dump({"blocks": [_one(b) for b in blocks]}, sort_keys=False, allow_unicode=True, width=1000)


def _one(block: Block) -> dict[str, Any]:
    found: dict[str, Any] = {"name": block.name, "purpose": block.purpose, "kind": block.kind, "stops": block.stops}
    found["speed"] = list(block.speed) if len(block.speed) > 1 else block.speed[0]
    if block.control != "pressure":
        found["control"] = block.control
    for name, scale, zero, unit in SCALES:
        value = getattr(block, name)
        if value is not None:
            found[name] = f"{round((value - zero) / scale, 6):g} {unit}"
    return found


def named_once(blocks: Sequence[Block]) -> list[Block]:
    """The blocks with a number after a name that stands there already: a card's blocks are told apart by their names."""
    seen: dict[str, int] = {}
    found = []
    for block in blocks:
        seen[block.name] = seen.get(block.name, 0) + 1
        name = block.name if seen[block.name] == 1 else f"{block.name} ({seen[block.name]})"
        found.append(block.model_copy(update={"name": name}))
    return found
