"""What was found, as the `recordings` of a test card: guesses that are not sure carry a comment with the doubt."""

from __future__ import annotations

import glob
import itertools

from pipeline.inputs.blanks import BLANK
from pipeline.inspection.look import Look

GUESSED = "guessed"
ARM = "the lever arm at which the force holds the brake, such as 250 mm"
SEVERAL = "the folders are taken for one test, in the order of their paths"
NOT_FOUND = "no column was taken for it: write its column and unit"
PLAIN = set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_./- ")


def quoted(text: str) -> str:
    """A scalar as YAML reads it back: in double quotes where it holds anything but plain letters."""
    if (
        text
        and set(text) <= PLAIN
        and text == text.strip()
        and not text[0].isdigit()
        and text[0] not in ".-/"
        and text.lower() not in ("null", "true", "false", "yes", "no", "n", "y")
    ):
        return text
    inside = text.replace("\\", "\\\\").replace('"', '\\"').replace("\t", "\\t")
    return '"' + "".join(c if c.isprintable() else _escaped(c) for c in inside) + '"'


def _escaped(letter: str) -> str:
    code = ord(letter)
    return f"\\u{code:04x}" if code < 1 << 16 else f"\\U{code:08x}"


def recordings_lines(look: Look, files: str, holds: str) -> list[str]:
    """Lines of the card's `recordings`. files: the pattern; holds: stop or series."""
    table, layout = look.table, look.table.layout
    lines = [
        "recordings:",
        f"  files: {quoted(files)}{_mark([SEVERAL] if '*/' in files else [])}",
        f"  format: {table.form}",
        f"  holds: {holds}",
    ]
    if layout is not None:
        lines.append(f"  delimiter: {quoted({chr(9): 'tab', ' ': 'blanks'}.get(layout.delimiter, layout.delimiter))}")
        lines += [f'  decimal: "{layout.decimal}"'] if layout.decimal != "." else []
        lines += [f"  skip_lines: {layout.skip_lines}"] if layout.skip_lines else []
        lines += [f"  comment: {quoted(layout.comment)}"] if layout.comment else []
        lines += ["  header_row: false"] if layout.header_line is None else []
        lines += ["  units_row: true"] if layout.units_line is not None else ["  units_row: false"]
        lines += [f"  encoding: {layout.encoding}"] if layout.encoding != "utf-8" else []
    lines += [f"  skip_lines: {table.skip_rows}"] if table.skip_rows else []
    if table.form in ("xlsx", "hdf5") and table.part is not None:
        key = "sheet" if table.form == "xlsx" else "dataset"
        several = [file.split("#", 1)[1] for file in dict.fromkeys(one.file for one in look.brakings) if "#" in file]
        lines.append(f"  {key}: {quoted(wildcard(several, table.parts) if several else glob.escape(table.part))}")
    return [*lines, "  channels:", *_channels(look)]


def wildcard(wanted: list[str], parts: list[str]) -> str:
    """A pattern that matches the wanted sheets or groups, and as few others as their common beginning allows."""
    depth = wanted[0].count("/")
    above = (
        glob.escape(wanted[0].rsplit("/", 1)[0]) + "/"
        if depth and len({w.rsplit("/", 1)[0] for w in wanted}) == 1
        else "*/" * depth
    )
    if {p for p in parts if p.count("/") == depth} <= set(wanted):
        return f"{above}*"
    last = [w.rsplit("/", 1)[-1] for w in wanted]
    alike = (
        letters[0] for letters in itertools.takewhile(lambda several: len(set(several)) == 1, zip(*last, strict=False))
    )
    begin = "".join(alike).rstrip("0123456789")
    return f"{above}{glob.escape(begin)}*"


def _channels(look: Look) -> list[str]:
    lines, time = [], look.time
    if time is not None and time.place is not None:
        dates = "" if time.dates == "iso" else f", dates: {time.dates or BLANK}"
        asked = [] if time.dates else ["write day_first or month_first"]
        lines.append(
            f"    time: {{column: {quoted(time.column)}, unit: {quoted(time.unit)}{dates}}}{_mark([*asked, *time.doubts])}"
        )
    elif time is None:
        lines.append(f"    time: {{column: {BLANK}, unit: {BLANK}}}  # {NOT_FOUND}")
    for guess in look.guesses:
        arm, asked = (f", arm: {BLANK}", [ARM]) if guess.force else ("", [])
        lines.append(
            f"    {guess.channel}: {{column: {quoted(guess.column)}, unit: {quoted(guess.unit)}{arm}}}{_mark([*asked, *guess.doubts])}"
        )
    have = {guess.channel for guess in look.guesses}
    lines += [
        f"    {name}: {{column: {BLANK}, unit: {BLANK}}}  # {NOT_FOUND}"
        for name in ("speed", "torque", "pressure", "disc_temperature")
        if name not in have
    ]
    return [*lines, *_others(look)]


def _mark(doubts: list[str]) -> str:
    text = " ".join("; ".join(doubts).split())
    return f"  # {GUESSED}: {text}" if doubts else ""


def _others(look: Look) -> list[str]:
    """Columns that no channel was made of, as a comment."""
    used = {guess.place for guess in look.guesses} | ({look.time.place} if look.time else set())
    names = [c.name for c in look.table.columns if c.place not in used and not (look.table.master and c.place == 0)]
    text = " ".join(", ".join(quoted(name) for name in names[:20]).split())
    return [f"    # not mapped: {text}"] if names else []
