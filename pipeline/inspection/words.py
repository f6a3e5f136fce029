"""What was found, for a reader at a terminal: plain lines of text."""

from __future__ import annotations

import glob
import math
from collections.abc import Sequence

import numpy as np

from pipeline.archive.scan import printable
from pipeline.inspection.brakings import Braking, celsius
from pipeline.inspection.card import recordings_lines
from pipeline.inspection.drawing import drawn, window
from pipeline.inspection.folders import Folder, Group, differs, gaps_in
from pipeline.inspection.look import Look
from pipeline.inspection.tables import Table
from pipeline.wording import counted, in_percent

RPM = 30 / math.pi
SHOWN = 12  # brakings listed one by one
WHAT = {
    "delimited": "delimited text", "parquet": "Parquet", "hdf5": "HDF5", "xlsx": "an XLSX workbook", "mdf": "MDF", "tdms": "TDMS",
}  # fmt: skip
UNKNOWN_TIME = "none was found"


def folder_words(found: Folder, place: str) -> list[str]:
    """A folder: its groups, the largest in full."""
    total = sum(len(group.files) for group in found.groups)
    lines = [f"{printable(place)}: {counted(total, 'file')} that may be recordings"]
    if found.left:
        lines.append(f"  not looked at: {counted(found.left, 'further file')}")
    main = next((group for group in found.groups if group.look is not None), found.groups[0])
    lines += ["", *_main(main)]
    for group in found.groups:
        if group is not main:
            named = ", ".join(printable(name) for name in group.names[:5]) + (", ..." if len(group.files) > 5 else "")
            lines.append(f"odd: {counted(len(group.files), 'file')} ({named}): {differs(group, main)}")
    return lines


def _main(group: Group) -> list[str]:
    names = [printable(name) for name in group.names]
    listed = names[0] if len(names) == 1 else f"{names[0]} to {names[-1]} in natural order"
    if group.look is None:
        return [f"{counted(len(names), 'file')} ({listed}): not read: {group.why}"]
    lines = [f"{counted(len(names), 'file')} of one form: {listed}"]
    part = (
        {"xlsx": "sheet", "hdf5": "group or table"}.get(group.form, "file")
        if any("#" in b.file for b in group.brakings)
        else "file"
    )
    said = f"one stop a {part}" if group.holds == "stop" else f"several stops in a {part} (series)"
    if group.folders > 1:
        lines.append(
            f"  they lie in {counted(group.folders, 'folder')} and are taken for one test, in the order of their paths"
        )
    lines.append(
        f"  each holds: {said}; {counted(len(group.brakings), 'braking')} in {counted(group.counted, 'file')} looked through"
    )
    for name, count in group.unlike[:10]:
        lines.append(
            f"  odd: {printable(name)} holds {counted(count, 'braking')}"
            if count
            else f"  odd: no braking was found in {printable(name)}"
        )
    lines += [f"  odd: {text}" for text in gaps_in(group.names)]
    if len(group.unlike) > 10:
        lines.append(f"  odd: {counted(len(group.unlike) - 10, 'further file')}")
    return [*lines, *look_words(group.look, group.brakings, group.holds, pattern_of(group))]


def pattern_of(group: Group) -> str:
    """A pattern for the card that matches the group's files: by their common ending."""
    endings = {"".join(path.suffixes[-2:]) if path.suffix in (".gz", ".zst") else path.suffix for path in group.files}
    if len(group.files) == 1:
        return f"recordings/{glob.escape(group.names[0])}"
    depths = {name.count("/") for name in group.names}
    above = "*/" * depths.pop() if len(depths) == 1 else "**/"
    return f"recordings/{above}*{endings.pop()}" if len(endings) == 1 else f"recordings/{above}*"


def look_words(look: Look, brakings: Sequence[Braking], holds: str, pattern: str) -> list[str]:
    """A look in full."""
    lines = [
        f"format: {_format(look.table)}",
        f"rows: {look.table.rows:,}" + (f" (every {look.table.every}th was looked at)" if look.table.every > 1 else ""),
    ]
    lines.append(f"time: {_time(look)}")
    lines += ["", "columns:", *_columns(look), "", "channels:", *_guesses(look), "", *_brakings(look, brakings)]
    lines += ["", *_drawing(look)] if look.brakings else []
    lines += [f"note: {printable(note)}" for note in look.notes]
    return [
        *lines,
        "",
        "for test.yaml (a guess stands behind #; try it by `stopsheet check`):",
        *recordings_lines(look, pattern, holds),
    ]


def _format(table: Table) -> str:
    layout = table.layout
    if layout is None:
        part = (
            f", {'sheet' if table.form == 'xlsx' else 'group or table'} {table.part!r} of {len(table.parts)}"
            if table.part
            else ""
        )
        return f"{WHAT[table.form]}{printable(part)}"
    header = "no header row" if layout.header_line is None else f"header in line {layout.header_line + 1}"
    units = f", units in line {layout.units_line + 1}" if layout.units_line is not None else ""
    delimiter = {"\t": "tab", " ": "blanks"}.get(layout.delimiter, f"'{layout.delimiter}'")
    comment = f", comments begin with {layout.comment}" if layout.comment else ""
    return f"{WHAT['delimited']}, delimiter {delimiter}, decimal mark '{layout.decimal}', encoding {layout.encoding}, {header}{units}{comment}"


def _time(look: Look) -> str:
    time = look.time
    if time is None:
        return UNKNOWN_TIME
    rate = next((r.rate for r in look.ranges if math.isfinite(r.rate)), float("nan"))
    where = f"column {printable(time.column)!r}" if time.place is not None else "no column needed"
    doubt = f"; doubtful: {'; '.join(time.doubts)}" if time.doubts else ""
    spans = f", {look.duration_s:.4g} s long" if math.isfinite(look.duration_s) else ""
    return printable(f"{where}, {time.kind} ({time.unit}), {rate:.4g} Hz{spans}: {', '.join(time.reasons)}{doubt}")


def _columns(look: Look) -> list[str]:
    rows = [("name", "unit", "from", "to", "Hz", "")]
    for one in look.ranges:
        share = f"{in_percent(one.share)} of the rows" if one.share < 0.995 else ""
        rows.append(
            (
                printable(one.name)[:28],
                printable(one.unit)[:10],
                _figure(one.low),
                _figure(one.high),
                _figure(one.rate),
                share,
            )
        )
    wide = [max(len(row[at]) for row in rows) for at in range(5)]
    return [
        "  "
        + "  ".join(cell.ljust(wide[at]) if at < 2 else cell.rjust(wide[at]) for at, cell in enumerate(row[:5]))
        + f"  {row[5]}".rstrip()
        for row in rows
    ]


def _figure(value: float) -> str:
    return "" if not math.isfinite(value) else f"{value:.5g}"


def _guesses(look: Look) -> list[str]:
    lines = []
    for guess in look.guesses:
        certain = "sure" if guess.sure else "doubtful"
        lines.append(
            f"  {guess.channel:18} {printable(guess.column)!r} [{printable(guess.unit)}]: {certain}; {', '.join(guess.reasons) or 'by what is left'}"
        )
        lines += [f"  {'':18} doubt: {printable(doubt)}" for doubt in guess.doubts]
        if guess.second is not None:
            lines.append(f"  {'':18} second best: {printable(guess.second)!r}")
    return lines or ["  none was found"]


def _brakings(look: Look, brakings: Sequence[Braking]) -> list[str]:
    if not brakings:
        return ["brakings: none was found by these channels"]
    kinds = {kind: sum(one.kind == kind for one in brakings) for kind in ("stop", "snub", "drag")}
    said = ", ".join(counted(count, kind) for kind, count in kinds.items() if count)
    unit = "km/h" if look.linear else "rpm"
    factor = 3.6 if look.linear else RPM
    lines = [f"brakings: {len(brakings)} ({said})"]
    spread = [
        ("duration", "s", [b.duration_s for b in brakings]),
        ("speed at the start", unit, [b.speed_start * factor for b in brakings]),
        ("speed at the end", unit, [b.speed_end * factor for b in brakings]),
        ("pressure", "bar", [b.pressure / 1e5 for b in brakings]),
        ("torque", "N m", [b.torque for b in brakings]),
        ("disc before", "degC", [celsius(b.temperature_initial) for b in brakings]),
        ("disc at most", "degC", [celsius(b.temperature_peak) for b in brakings]),
    ]
    for name, label, values in spread:
        known = [v for v in values if math.isfinite(v)]
        if known:
            lines.append(
                f"  {name + ':':20} {min(known):.4g} to {max(known):.4g} {label}, median {float(np.median(known)):.4g}"
            )
    if math.isfinite(look.inertia):
        lines.append(
            f"  torque and speed mean an inertia of about {look.inertia:.3g} kg m^2, drag included: hold it against the rig's"
        )
    lines += ["  " + _one(one, factor, unit) for one in brakings[:SHOWN]]
    return lines + ([f"  ... and {len(brakings) - SHOWN} further"] if len(brakings) > SHOWN else [])


def _one(one: Braking, factor: float, unit: str) -> str:
    cut = "; cut off by the recording" if one.cut else ""
    return (
        f"{printable(one.file)} at {one.start_s:.1f} s: {one.kind} {one.speed_start * factor:.0f} to {one.speed_end * factor:.0f} {unit} in "
        f"{one.duration_s:.2f} s, {one.pressure / 1e5:.1f} bar, {f'{one.torque:.0f} N m, ' if math.isfinite(one.torque) else ''}{celsius(one.temperature_initial):.0f} to "
        f"{celsius(one.temperature_peak):.0f} degC{cut}"
    )


def panels(look: Look) -> tuple[np.ndarray, list[tuple[str, np.ndarray]]]:
    """Time (s) and the channels of one braking of the first recording, with their titles; empty where it has none."""
    mine = [one for one in look.brakings if one.file == look.files[0]]
    if not mine:
        return np.empty(0), []
    one = next((b for b in mine if not b.cut), mine[0])
    time = look.channels["time"]
    part = window(time, one.start_s, one.duration_s)
    factor, unit = (3.6, "km/h") if look.linear else (RPM, "rpm")
    shown = [
        (f"speed, {unit}", np.abs(look.channels["speed"][part]) * factor),
        ("pressure, bar", look.channels["pressure"][part] / 1e5),
        ("torque, N m", look.channels["torque"][part]),
        ("disc temperature, degC", look.channels["disc_temperature"][part] - 273.15),
    ]
    return time[part], [(title, values) for title, values in shown if np.isfinite(values).any()]


def _drawing(look: Look) -> list[str]:
    time, shown = panels(look)
    return [f"one braking ({printable(look.files[0])}):", *drawn(time, shown)] if shown else []
