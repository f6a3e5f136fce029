"""`import stopsheet`: what `import pipeline` offers, under the name of the distribution.

The build puts this file beside the package as `stopsheet.py` (pyproject.toml).
"""

from __future__ import annotations

from typing import Any

import pipeline

__all__ = list(pipeline.__all__)


def __getattr__(name: str) -> Any:
    return getattr(pipeline, name)


def __dir__() -> list[str]:
    return dir(pipeline)
