"""The engine writes a rule's params down without a library for tables."""

from __future__ import annotations

from types import ModuleType


def plain_params(engine_notes: ModuleType) -> None:
    """Let the engine take params for what they are here, texts, numbers and lists.

    Where pandas is installed it loads that in every plan, to see of each whether it is a table; of one that is none it writes down the
    same either way. engine_notes: the engine's module of its memory.
    """
    for kind in vars(engine_notes).values():
        if isinstance(kind, type) and hasattr(kind, "_serialize_param_builtin"):
            kind._serialize_param = kind._serialize_param_builtin  # type: ignore[attr-defined]
