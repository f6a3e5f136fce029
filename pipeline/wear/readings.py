"""wear.csv as a table of readings in SI, with everything wrong in it said.

A name that is not known (column, component, quantity, unit) makes the whole file unusable: `InputError`. A single
reading that cannot be true (no number, outside all reason) is left out with a finding, and nothing else is lost.

Cells stand apart by commas, or by semicolons or tabs: then a comma in a value is a decimal comma, as where the list
separator is a semicolon (common practice of spreadsheets). One file has one decimal mark.
"""

from __future__ import annotations

import csv
import difflib
import io
import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline.errors import Complaint, InputError, Unfit
from pipeline.findings import Finding, finding
from pipeline.inputs.plain_files import plain_bytes
from pipeline.inputs.quantities import to_si

REQUIRED = ("after_stop", "component", "quantity", "value", "unit")
OPTIONAL = ("point", "state", "after_dwell")
QUANTITIES = {"thickness": "length", "mass": "mass"}
PARTS = {
    "thickness": (2e-4, 1.0, "0.2 mm to 1 m"),
    "mass": (1e-5, 1e3, "10 mg to 1 t"),
}  # SI, common practice and wide: a card may not state the new part
STATES = ("dry", "as_found")
COMPONENT = re.compile(r"^(disc|pad_(inner|outer)(_[0-9]{1,2})?)$", re.ASCII)
MAX_BYTES = 20_000_000
SCHEMA = {
    "line": pl.Int64,
    "after_stop": pl.Int64,
    "component": pl.String,
    "quantity": pl.String,
    "point": pl.String,
    "state": pl.String,
    "value": pl.Float64,
    "resolution": pl.Float64,
}


def read_wear(path: Path, *, inside: Path | None = None) -> tuple[pl.DataFrame, list[Finding]]:
    """Readings (SCHEMA and after_dwell, null where not said; value and resolution in m or kg; state null where not said) and findings.

    Raises InputError in one line when the file cannot be used as a whole, or is a link out of the folder `inside`.
    """
    rows, delimiter = _rows(path, inside)
    header = [name.strip() for name in rows[0][1]]
    _check_header(header, path.name, rows[0][0])
    decimal = _decimal(rows, header, delimiter, path.name)
    readings, findings = [], []
    for line, cells in rows[1:]:
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(header):
            raise InputError(
                Complaint(
                    path.name,
                    f"{len(cells)} cells, the header has {len(header)}",
                    f"{len(header)} cells",
                    "mend the line; a text that holds the separator stands in quotes",
                    line,
                )
            )
        row = {name: cell.strip() for name, cell in zip(header, cells, strict=True)}
        _check_names(row, path.name, line)
        if decimal == ",":
            row["value"] = row["value"].replace(",", ".")
        reading, problem = _reading(row, line)
        if problem:
            findings.append(_left_out(path.name, line, row, problem))
        else:
            readings.append(reading)
    table = pl.DataFrame(readings, schema=SCHEMA | {"after_dwell": pl.Int64}, orient="row")
    kept, impossible = _possible(table, path.name)
    return kept, findings + impossible


def _rows(path: Path, inside: Path | None) -> tuple[list[tuple[int, list[str]]], str]:
    """Rows with their line numbers, comments left out, and what stands between the cells."""
    try:
        text = plain_bytes(path, MAX_BYTES, inside=inside).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        words = f"not UTF-8 text (byte {error.start})"
        raise InputError(Complaint(path.name, words, "UTF-8", "save it as UTF-8", line)) from error
    first = next((row for row in text.splitlines() if row.strip() and not row.lstrip().startswith("#")), "")
    delimiter = next((mark for mark in (",", ";", "\t") if mark in first), ",")
    reader = csv.reader(io.StringIO(text), delimiter=delimiter)
    try:
        rows = [(reader.line_num, cells) for cells in reader if cells and not cells[0].lstrip().startswith("#")]
    except csv.Error as error:
        words = f"not readable as a table ({error})"
        raise InputError(
            Complaint(path.name, words, "cells between commas", "mend the line's quotes", reader.line_num)
        ) from error
    if not rows:
        raise InputError(
            Complaint(path.name, "is empty", f"a header: {', '.join(REQUIRED)}", "write the header and the readings", 1)
        )
    return rows, delimiter


def _decimal(rows: list[tuple[int, list[str]]], header: list[str], delimiter: str, name: str) -> str:
    """The decimal mark of a file's values. Raises InputError where both stand in it: one of them sets thousands apart."""
    at = header.index("value")
    values = [(line, cells[at]) for line, cells in rows[1:] if len(cells) > at]
    commas = [line for line, value in values if "," in value]
    points = [line for line, value in values if "." in value]
    if delimiter == "," or not commas:
        return "."
    if points:
        words = f"values with a decimal comma (line {commas[0]}) and with a point (line {points[0]})"
        mend = "write all of them with the same mark and no mark for thousands"
        raise InputError(Complaint(name, words, "one decimal mark a file", mend, commas[0]))
    return ","


def _check_header(header: list[str], name: str, line: int) -> None:
    """Raises InputError with all that is wrong in the header."""
    known = (*REQUIRED, *OPTIONAL)
    refused = [_unknown("column", column, known) for column in header if column not in known]
    missing = [column for column in REQUIRED if column not in header]
    if missing:
        words = f"column {', '.join(missing)} missing"
        refused.append(Unfit(words, f"needed: {', '.join(REQUIRED)}", "add it, or correct its name"))
    if len(set(header)) < len(header):
        refused.append(Unfit("a column is given twice", "each column once", "remove one of them"))
    if refused:
        raise InputError(*(Complaint(name, one.found, one.accepted, one.mend, line) for one in refused))


def _check_names(row: dict[str, str], name: str, line: int) -> None:
    state = row.get("state", "")
    refused: list[Unfit] = []
    if not COMPONENT.match(row["component"]):
        refused.append(_unknown("component", row["component"], ("disc", "pad_inner", "pad_outer", "pad_inner_2")))
    if row["quantity"] not in QUANTITIES:
        refused.append(_unknown("quantity", row["quantity"], tuple(QUANTITIES)))
    if state and state not in STATES:
        refused.append(_unknown("state", state, STATES))
    if row["quantity"] in QUANTITIES:
        try:
            to_si(f"1 {row['unit']}", QUANTITIES[row["quantity"]])
        except ValueError as error:
            refused.append(Unfit.of(error))
    if refused:
        raise InputError(*(Complaint(name, one.found, one.accepted, one.mend, line) for one in refused))


def _unknown(what: str, word: str, known: tuple[str, ...]) -> Unfit:
    near = difflib.get_close_matches(word, known, n=1, cutoff=0.5)
    listed = f"nearest known: {near[0]}" if near else f"known: {', '.join(known)}"
    return Unfit(f"unknown {what} {word!r}", listed, f"write {near[0]}" if near else "write one of them")


def _reading(row: dict[str, str], line: int) -> tuple[tuple[Any, ...], str]:
    try:
        after = float(row["after_stop"])
    except ValueError:
        return (), f"after_stop {row['after_stop']!r} is not a count of stops"
    if not (0 <= after < 1e7 and after == int(after)):
        return (), f"after_stop {row['after_stop']!r} is not a count of stops"
    dwell = row.get("after_dwell", "")
    if dwell and not (dwell.isascii() and dwell.isdigit() and int(dwell) <= 500):
        return (), f"after_dwell {dwell!r} is not a count of dwells"
    if not row["value"]:
        return (), "no value"
    try:
        value = to_si(f"{float(row['value'])!r} {row['unit']}", QUANTITIES[row["quantity"]])
    except ValueError:
        return (), f"value {row['value']!r} is not a number with a decimal point"
    if not (math.isfinite(value) and value > 0):
        return (), f"value {row['value']} {row['unit']} is not above zero"
    low, high, said = PARTS[row["quantity"]]
    if not low <= value <= high:
        return (
            (),
            f"value {row['value']} {row['unit']} is no brake part's {row['quantity']}, which is {said}, as by a wrong unit",
        )
    mantissa = row["value"].lower().split("e")[0]
    decimals = len(mantissa.partition(".")[2])
    resolution = to_si(f"{10.0**-decimals} {row['unit']}", QUANTITIES[row["quantity"]])
    return (
        line,
        int(after),
        row["component"],
        row["quantity"],
        row.get("point", "") or "1",
        row.get("state", "") or None,
        value,
        resolution,
        int(dwell) if dwell else None,
    ), ""


def _possible(table: pl.DataFrame, name: str) -> tuple[pl.DataFrame, list[Finding]]:
    """Leave out readings far from all others of the same component and quantity: a slipped digit or unit."""
    typical = pl.col("value").median().over("component", "quantity")
    bad = table.filter((pl.col("value") < 0.3 * typical) | (pl.col("value") > 2.0 * typical))
    findings = [
        _left_out(
            name,
            row["line"],
            row,
            f"value {row['value'] * 1000:g} {'mm' if row['quantity'] == 'thickness' else 'g'} is far from the "
            "component's other readings",
        )
        for row in bad.iter_rows(named=True)
    ]
    return table.join(bad.select("line"), on="line", how="anti"), findings


def beside_card(
    readings: pl.DataFrame, component: str, stated: dict[str, float | None]
) -> tuple[pl.DataFrame, list[Finding]]:
    """Leave out a component's thickness or mass where it is nowhere near what the card states of the part, new: a
    wrong unit.

    stated: quantity -> the new part's thickness in m or mass in kg, None where the card does not say.
    """
    findings = []
    for quantity, new in stated.items():
        own = readings.filter(pl.col("quantity") == quantity)
        middle = own["value"].median()
        if new is None or not isinstance(middle, int | float) or 0.3 * new <= middle <= 1.3 * new:
            continue
        typical = float(middle)
        readings = readings.filter(pl.col("quantity") != quantity)
        unit = "mm" if quantity == "thickness" else "g"
        findings.append(
            finding(
                "wear_reading_impossible",
                f"{component} {quantity}: the readings are about {1000 * typical:.4g} {unit}, the card's new part has "
                f"{1000 * new:.4g} {unit}; they are left out (a wrong unit?)",
                evidence={"component": component, "typical_si": typical, "card_si": new},
            )
        )
    return readings, findings


def _left_out(name: str, line: int, row: dict[str, Any], problem: str) -> Finding:
    return finding(
        "wear_reading_impossible",
        f"{name} line {line}: {row['component']} {row['quantity']} after stop {row['after_stop']}: {problem}; "
        "the reading is left out",
        file=name,
        evidence={"line": line, "component": row["component"], "value": str(row["value"])},
    )


def outlying(cells: np.ndarray, noise: float, *, factor: float = 8.0, least: float = 30e-6) -> np.ndarray:
    """Which cell means [readings, points] of one component cannot belong, by comparison with the other points and
    with the readings before and after: True to leave out. NaN cells are never flagged.

    A cell is out when it lies more than `factor` noises (and `least`, in the cells' unit) off the level that the
    other points give it (three points or more), or off the straight line between its neighbours in time by that and
    by three times their whole difference, on an interior reading. A level that stays off afterwards (a lost fragment)
    is kept.
    """
    out = np.zeros(cells.shape, bool)
    limit = max(factor * noise, least)
    readings, points = cells.shape
    if points >= 3 and readings >= 3:
        level = np.nanmedian(cells, axis=1, keepdims=True)
        place = np.nanmedian(cells - level, axis=0, keepdims=True)
        off = np.nan_to_num(cells - level - place)
        returns = np.ones_like(out)
        returns[:-1] = np.abs(off[1:]) < np.maximum(np.abs(off[:-1]) / 2, limit)
        returns[-1] = np.abs(off[-1]) > 10 * limit
        returns[1:] &= np.abs(off[:-1]) < np.maximum(np.abs(off[1:]) / 2, limit)
        out |= (np.abs(off) > limit) & returns
    if readings >= 3:
        before, here, after = cells[:-2], cells[1:-1], cells[2:]
        spike = np.abs(here - (before + after) / 2)
        out[1:-1] |= np.nan_to_num(spike) > limit + 3 * np.abs(np.nan_to_num(before - after))
    return out & ~np.isnan(cells)
