"""One braking in plain characters: a panel a channel over one time axis."""

from __future__ import annotations

import numpy as np

WIDTH, HEIGHT = 64, 5
BEFORE, AFTER = 0.35, 0.5  # of the braking's duration, shown before and after it


def window(time: np.ndarray, start: float, duration: float) -> slice:
    """The rows of a recording around a braking."""
    first = int(np.searchsorted(time, start - max(BEFORE * duration, 0.5)))
    last = int(np.searchsorted(time, start + duration + max(AFTER * duration, 0.5)))
    return slice(first, max(last, first + 2))


def drawn(time: np.ndarray, panels: list[tuple[str, np.ndarray]]) -> list[str]:
    """Lines of text. time (n,) s; panels: title and values (n,)."""
    lines: list[str] = []
    known = time[np.isfinite(time)]
    if known.size < 2 or known[-1] <= known[0]:
        return lines
    for title, values in panels:
        lines += _panel(time, title, values)
    left, right = f"{known[0]:.1f} s", f"{known[-1]:.1f} s"
    return [*lines, " " * 11 + left + right.rjust(WIDTH - len(left))] if lines else []


def _panel(time: np.ndarray, title: str, values: np.ndarray) -> list[str]:
    finite = np.isfinite(values) & np.isfinite(time)
    if not finite.any():
        return []
    t, v = time[finite], values[finite]
    low, high = float(v.min()), float(v.max())
    grid = [[" "] * WIDTH for _ in range(HEIGHT)]
    span, length = high - low or 1.0, float(time[np.isfinite(time)][-1] - time[np.isfinite(time)][0]) or 1.0
    start = float(time[np.isfinite(time)][0])
    for x in range(WIDTH):
        inside = (t >= start + length * x / WIDTH) & (t <= start + length * (x + 1) / WIDTH)
        if inside.any():
            rows = ((v[inside] - low) / span * (HEIGHT - 1)).round().astype(int)
            for row in range(int(rows.min()), int(rows.max()) + 1):
                grid[HEIGHT - 1 - row][x] = "*"
    labels = [f"{high:.4g}", *[""] * (HEIGHT - 2), f"{low:.4g}"]
    return [title, *(f"{label:>9} |{''.join(row).rstrip()}" for label, row in zip(labels, grid, strict=True))]
