"""Hostile test.yaml and wear.csv: what a person mistypes, and what one would send to break in."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import yaml

Rng = np.random.Generator
TEXTS = ("<xss-marker>", '"><xss-marker x="', "</script><xss-marker>", "=cmd|'/C calc'!A0", "@SUM(1)", "../../outside/x", "/etc/passwd",
         "\u202e\u0000", "a" * 5000, "{{ 7*7 }}", "${x}", "`id`", "$(id)", "%s%s%n", "null", "NO", "2406", "\N{FIRE} 4", "..", ".", " ",
         "-", "'", "\\", "{compound}")  # fmt: skip
VALUES: tuple[Any, ...] = (
    None, True, -1, 0, 1e308, "nan", ".inf", "1e999 mm", "0 mm", "-5 mm", "12", "5 K", "1 mm^9999", "1 " + "mm*" * 200 + "mm",
    "9" * 400 + " mm", [], {}, [[]] * 3, {"a": {"b": {"c": 1}}}, "5 bar; rm -rf /", "1e-400 kg", "1 m**m", "5 °C", "٣ mm",
)  # fmt: skip
DOCUMENTS = (
    "", "~", "[]", "a: b: c", "\t- x", "{", "!!python/object/apply:os.system ['touch escaped']", "!!python/name:os.system",
    "a: &a [1]\nb: [*a, *a]\n", "a: &a {b: *a}\n", "x: !!binary aGVsbG8=\n", "? [a]\n: 1\n", "schema: 1\nschema: 1\n",
    "<<: {a: 1}\n", "- " * 3000, "[" * 5000, "{a: " * 2000, "--- 1\n--- 2\n", "%YAML 9.9\n---\na: 1\n", "a: |\n" + " x\n" * 50000,
    "\ufeff\ufeffschema: 1", "schema: 1\n\0", "!!set {a}", "!!timestamp 2001-01-01", "a: !<tag:x> 1", "*a", "&a",
)  # fmt: skip


def _paths(content: Any, so_far: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every place in the card."""
    pairs = content.items() if isinstance(content, dict) else enumerate(content) if isinstance(content, list) else ()
    return [path for key, value in pairs for path in [(*so_far, key), *_paths(value, (*so_far, key))]]


def _holder(content: Any, path: tuple[Any, ...]) -> Any:
    for key in path[:-1]:
        content = content[key]
    return content


def plain(path: Path) -> Path:
    """The path, where an earlier mutation has left a plain file; OSError otherwise (a pipe or device would never end)."""
    if not path.is_file():
        raise OSError(f"{path.name} is no plain file any more")
    return path


def _changed(folder: Path, change: Any) -> None:
    content = yaml.safe_load(plain(folder / "test.yaml").read_text())
    change(content)
    (folder / "test.yaml").write_text(yaml.safe_dump(content, sort_keys=False, allow_unicode=True), encoding="utf-8")


def value_replaced(folder: Path, rng: Rng) -> None:
    def change(content: Any) -> None:
        paths = _paths(content)
        path = paths[rng.integers(len(paths))]
        _holder(content, path)[path[-1]] = VALUES[rng.integers(len(VALUES))]

    _changed(folder, change)


def text_replaced(folder: Path, rng: Rng) -> None:
    def change(content: Any) -> None:
        text = TEXTS[rng.integers(len(TEXTS))]
        places = [("compound",), ("batch",), ("specimen",), ("rig",), ("procedure",), ("notes",), ("wear",), ("date",),
                  ("recordings", "files"), ("blocks", 0, "name"), ("recordings", "channels", "torque", "column")]  # fmt: skip
        path = places[rng.integers(len(places))]
        _holder(content, path)[path[-1]] = text

    _changed(folder, change)


def key_removed(folder: Path, rng: Rng) -> None:
    def change(content: Any) -> None:
        paths = _paths(content)
        path = paths[rng.integers(len(paths))]
        del _holder(content, path)[path[-1]]

    _changed(folder, change)


def key_added(folder: Path, rng: Rng) -> None:
    def change(content: Any) -> None:
        holders = [
            content,
            content["brake"],
            content["recordings"],
            content["recordings"]["channels"],
            content["blocks"][0],
        ]
        holder = holders[rng.integers(len(holders))]
        value: Any = {
            "column": str(rng.choice(["p", "T1", "none"])),
            "unit": str(rng.choice(["", "bar", "dB", "degC", "x^9"])),
        }
        holder[str(rng.choice([*TEXTS, "recording", "pressure_2", "compnd", "hub_temperature"]))] = value

    _changed(folder, change)


def document_replaced(folder: Path, rng: Rng) -> None:
    (folder / "test.yaml").write_text(
        DOCUMENTS[rng.integers(len(DOCUMENTS))], encoding="utf-8", errors="surrogateescape"
    )


def document_damaged(folder: Path, rng: Rng) -> None:
    path = plain(folder / "test.yaml")
    data = bytearray(path.read_bytes())
    for at in rng.integers(0, len(data), int(rng.choice([1, 5, 50]))):
        data[at] = int(rng.integers(256))
    path.write_bytes(bytes(data[: None if rng.random() < 0.7 else int(rng.integers(len(data)))]))


def wear_damaged(folder: Path, rng: Rng) -> None:
    path = plain(folder / "wear.csv")
    data = bytearray(path.read_bytes())
    for at in rng.integers(0, len(data), int(rng.choice([1, 5, 50]))):
        data[at] = int(rng.integers(256))
    path.write_bytes(bytes(data[: None if rng.random() < 0.7 else int(rng.integers(len(data)))]))


def wear_cell_replaced(folder: Path, rng: Rng) -> None:
    path = plain(folder / "wear.csv")
    rows = [line.split(",") for line in path.read_text().splitlines()]
    cells = (
        "",
        "nan",
        "inf",
        "-1",
        "1e300",
        "=cmd|'/C calc'!A0",
        "<xss-marker>",
        "x",
        "0",
        "99999",
        '"',
        "24,013",
        "disk",
    )
    for _ in range(int(rng.choice([1, 10]))):
        row = rows[rng.integers(len(rows))]
        row[rng.integers(len(row))] = str(rng.choice(cells))
    path.write_text("\n".join(",".join(row) for row in rows) + "\n")


CARD = (value_replaced, text_replaced, key_removed, key_added, document_replaced, document_damaged)
WEAR = (wear_damaged, wear_cell_replaced)
