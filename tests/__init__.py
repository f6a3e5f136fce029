"""Tests, studies and benchmarks. Each of their commands works with one thread of linear algebra, as the stages do: set before numpy loads."""

import pipeline  # noqa: F401
