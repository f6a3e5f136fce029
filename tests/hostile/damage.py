"""Damage to recordings: what copying, exporting, editing and a failing disk do to a file.

Each function takes the test's folder and a random generator and changes one recording, or all of them.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

Rng = np.random.Generator
CELLS = ("", "NaN", "nan", "inf", "-inf", "1e300", "-9e99", "x", "12,5", "=cmd|'/C calc'!A0", "<xss-marker>", "9" * 60, "0x1f",
         "1_000", "٣", "-9999", "#", '"', "\ufffd", "1e-320")  # fmt: skip


def recordings(folder: Path) -> list[Path]:
    return sorted(p for p in (folder / "recordings").iterdir() if p.is_file())


def one(folder: Path, rng: Rng) -> Path:
    files = recordings(folder)
    return files[rng.integers(len(files))]


def truncated(folder: Path, rng: Rng) -> None:
    path = one(folder, rng)
    path.write_bytes(path.read_bytes()[: int(rng.integers(0, path.stat().st_size))])


def bits_flipped(folder: Path, rng: Rng) -> None:
    path = one(folder, rng)
    data = bytearray(path.read_bytes())
    for at in rng.integers(0, len(data), int(rng.choice([1, 3, 20, 200]))):
        data[at] ^= 1 << int(rng.integers(8))
    path.write_bytes(bytes(data))


def bytes_overwritten(folder: Path, rng: Rng) -> None:
    path = one(folder, rng)
    data = bytearray(path.read_bytes())
    at, length = int(rng.integers(len(data))), int(rng.choice([4, 64, 512, 4096]))
    data[at : at + length] = rng.bytes(length) if rng.random() < 0.5 else bytes(length)
    path.write_bytes(bytes(data))


def emptied(folder: Path, rng: Rng) -> None:
    one(folder, rng).write_bytes(rng.choice([b"", b"\n", b" \n\n\n", b"\0" * 4096, b"\xff\xfe", b"\xef\xbb\xbf"]))


def replaced_by_noise(folder: Path, rng: Rng) -> None:
    one(folder, rng).write_bytes(rng.bytes(int(rng.integers(1, 20000))))


def _table(path: Path) -> tuple[list[str], list[list[str]]]:
    lines = path.read_text(encoding="utf-8").splitlines()
    return lines[0].split(","), [line.split(",") for line in lines[1:]]


def _write(path: Path, head: list[str], rows: list[list[str]]) -> None:
    path.write_text("\n".join(",".join(row) for row in [head, *rows]) + "\n", encoding="utf-8")


def _some(folder: Path, rng: Rng) -> list[Path]:
    return recordings(folder) if rng.random() < 0.3 else [one(folder, rng)]


def column_dropped(folder: Path, rng: Rng) -> None:
    at = int(rng.integers(5))
    for path in _some(folder, rng):
        head, rows = _table(path)
        _write(path, head[:at] + head[at + 1 :], [row[:at] + row[at + 1 :] for row in rows])


def columns_reordered(folder: Path, rng: Rng) -> None:
    order = rng.permutation(5)
    for path in _some(folder, rng):
        head, rows = _table(path)
        _write(path, [head[i] for i in order], [[row[i] for i in order] for row in rows])


def header_swapped(folder: Path, rng: Rng) -> None:
    """The names of two columns exchanged, not their values."""
    a, b = rng.choice(5, 2, replace=False)
    for path in _some(folder, rng):
        head, rows = _table(path)
        head[a], head[b] = head[b], head[a]
        _write(path, head, rows)


def header_lost(folder: Path, rng: Rng) -> None:
    path = one(folder, rng)
    head, rows = _table(path)
    lines = [] if rng.random() < 0.5 else [["x"] * len(head)]
    path.write_text("\n".join(",".join(row) for row in [*lines, *rows]), encoding="utf-8")


def cells_overwritten(folder: Path, rng: Rng) -> None:
    """Runs of cells of one column replaced by something that is no measurement."""
    path = one(folder, rng)
    head, rows = _table(path)
    column, cell = int(rng.integers(5)), str(rng.choice(CELLS))
    at, length = int(rng.integers(len(rows))), int(rng.choice([1, 3, 20, 100, len(rows)]))
    for row in rows[at : at + length]:
        row[column] = cell
    _write(path, head, rows)


def value_held(folder: Path, rng: Rng) -> None:
    """A channel that keeps its value from some sample on, as a recorder does when it loses a sensor."""
    path = one(folder, rng)
    head, rows = _table(path)
    column, at = int(rng.integers(1, 5)), int(rng.integers(len(rows)))
    length = int(rng.choice([10, 50, len(rows)]))
    for row in rows[at : at + length]:
        row[column] = rows[at][column]
    _write(path, head, rows)


def values_zeroed(folder: Path, rng: Rng) -> None:
    path = one(folder, rng)
    head, rows = _table(path)
    column, at = int(rng.integers(1, 5)), int(rng.integers(len(rows)))
    for row in rows[at : at + int(rng.choice([2, 10, 50, len(rows)]))]:
        row[column] = "0"
    _write(path, head, rows)


def rows_removed(folder: Path, rng: Rng) -> None:
    path = one(folder, rng)
    head, rows = _table(path)
    at, length = int(rng.integers(len(rows))), int(rng.choice([1, 10, 50, 150]))
    _write(path, head, rows[:at] + rows[at + length :])


def rows_repeated(folder: Path, rng: Rng) -> None:
    path = one(folder, rng)
    head, rows = _table(path)
    at, length = int(rng.integers(len(rows))), int(rng.choice([1, 10, 50, 150]))
    _write(path, head, rows[: at + length] + rows[at:])


def rows_disordered(folder: Path, rng: Rng) -> None:
    path = one(folder, rng)
    head, rows = _table(path)
    way = rng.integers(3)
    if way == 0:
        rows = rows[::-1]
    elif way == 1:
        rng.shuffle(rows)
    else:
        at, length = int(rng.integers(len(rows))), int(rng.choice([5, 50]))
        rows[at : at + length] = rows[at : at + length][::-1]
    _write(path, head, rows)


def clock_broken(folder: Path, rng: Rng) -> None:
    """Time negative, constant, jumping, in another unit, or without its decimals."""
    path = one(folder, rng)
    head, rows = _table(path)
    at, way = int(rng.integers(len(rows))), int(rng.integers(6))
    for i, row in enumerate(rows):
        value = float(row[0])
        row[0] = [
            f"{-value:.2f}",
            rows[0][0],
            f"{value + (3600 if i >= at else 0):.2f}",
            f"{value - (3600 if i >= at else 0):.2f}",
            f"{value * 1000:.0f}",
            f"{value:.0f}",
        ][way]
    _write(path, head, rows)


def decimal_commas(folder: Path, rng: Rng) -> None:
    for path in _some(folder, rng):
        text = path.read_text(encoding="utf-8")
        path.write_text(text.replace(".", ",") if rng.random() < 0.5 else text.replace(",", ";").replace(".", ","))


def foreign_encoding(folder: Path, rng: Rng) -> None:
    path = one(folder, rng)
    text = path.read_text(encoding="utf-8")
    encoding = str(rng.choice(["utf-16", "utf-32", "cp500", "latin-1"]))
    path.write_bytes(("°" * int(rng.integers(3)) + text).encode(encoding, "replace"))


def line_ends_changed(folder: Path, rng: Rng) -> None:
    path = one(folder, rng)
    ends = [b"\r\n", b"\r", b"\n\n", b"\n\r", b"\0\n", b";\n", b",\n", b" \n"]
    path.write_bytes(path.read_bytes().replace(b"\n", ends[rng.integers(len(ends))]))


def glued(folder: Path, rng: Rng) -> None:
    """Two recordings in one file, with the second header in the middle."""
    a, b = one(folder, rng), one(folder, rng)
    a.write_bytes(a.read_bytes() + b.read_bytes())


def spikes(folder: Path, rng: Rng) -> None:
    path = one(folder, rng)
    head, rows = _table(path)
    column = int(rng.integers(1, 5))
    for at in rng.integers(0, len(rows), int(rng.choice([1, 3, 10]))):
        rows[at][column] = f"{float(rows[at][column]) * rng.choice([-10, 3, 10, 1000]):.1f}"
    _write(path, head, rows)


ANY_FORMAT: tuple[Callable[[Path, Rng], None], ...] = (
    truncated, bits_flipped, bytes_overwritten, emptied, replaced_by_noise,
)  # fmt: skip
TEXT_ONLY: tuple[Callable[[Path, Rng], None], ...] = (
    column_dropped, columns_reordered, header_swapped, header_lost, cells_overwritten, value_held, values_zeroed, rows_removed,
    rows_repeated, rows_disordered, clock_broken, decimal_commas, foreign_encoding, line_ends_changed, glued, spikes,
)  # fmt: skip
