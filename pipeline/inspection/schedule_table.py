"""Blocks of a card from a schedule that stands in a table: one row a block, columns by name, units in the header or in the cells."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from pathlib import Path

from pipeline.archive.card import PURPOSES
from pipeline.archive.scan import printable
from pipeline.errors import InputError
from pipeline.inputs.blanks import BLANK
from pipeline.inputs.quantities import reads_as, to_si
from pipeline.inspection.card import quoted
from pipeline.inspection.said import folded
from pipeline.inspection.text_tables import rows_of
from pipeline.recordings.columns import split

# key -> names of its column, folded (English, German, French, Italian, Spanish)
COLUMNS: dict[str, tuple[str, ...]] = {
    "name": ("block", "name", "bezeichnung", "abschnitt", "section", "step", "schritt", "phase", "nom", "nome", "blocco", "bloque"),
    "purpose": ("purpose", "zweck", "but", "scopo"),
    "kind": ("kind", "art", "typ", "type", "tipo"),
    "stops": ("stops", "anzahl", "count", "number of stops", "no of stops", "n stops", "bremsungen", "brakings", "applications", "wiederholungen", "repeats",
              "nombre", "numero", "number", "snubs"),
    "from": ("from", "v1", "n1", "start speed", "speed from", "initial speed", "speed start", "speed", "startdrehzahl", "anfangsdrehzahl", "anfangsgeschwindigkeit",
             "ausgangsgeschwindigkeit", "vitesse initiale", "velocita iniziale", "velocidad inicial", "von"),
    "to": ("to", "v2", "n2", "end speed", "speed to", "final speed", "speed end", "enddrehzahl", "endgeschwindigkeit", "vitesse finale", "velocita finale",
           "velocidad final", "bis"),
    "pressure": ("pressure", "druck", "bremsdruck", "line pressure", "p", "pression", "pressione", "presion"),
    "torque": ("torque", "moment", "bremsmoment", "couple", "coppia", "par"),
    "deceleration": ("deceleration", "verzogerung", "decelerazione", "deceleracion"),
    "initial_temperature": ("initial temperature", "temperature", "start temperature", "anfangstemperatur", "starttemperatur", "temperatur", "t0",
                            "temperature initiale", "temperatura iniziale", "temperatura inicial", "temperatura", "disc temperature"),
    "duration": ("duration", "dauer", "duree", "durata", "duracion"),
    "interval": ("interval", "intervall", "takt", "intervalle", "intervallo", "intervalo"),
    "pause_before": ("pause before", "pause", "pausa"),
}  # fmt: skip
KIND = {
    "pressure": ("pressure",), "torque": ("torque",), "deceleration": ("acceleration",), "initial_temperature": ("temperature",), "duration": ("duration",),
    "interval": ("duration",), "pause_before": ("duration",), "from": ("angular_speed", "linear_speed"), "to": ("angular_speed", "linear_speed"),
}  # fmt: skip
KINDS = {
    "stop": "stop",
    "halt": "stop",
    "stopp": "stop",
    "snub": "snub",
    "drag": "drag",
    "schleifbremsung": "drag",
    "konstant": "drag",
}
_BY_NAME = {name: key for key, several in COLUMNS.items() for name in (key.replace("_", " "), *several)}


def schedule_lines(path: Path) -> list[str]:
    """Lines of the card's `blocks`. Raises InputError that names the table, the row and what to write."""
    names, rows = rows_of(path)
    places: dict[str, tuple[int, str]] = {}
    for at, name in enumerate(names):
        bare, unit = _apart(name)
        key = _BY_NAME.get(folded(bare))
        if key and key not in places:
            places[key] = (at, unit)
    missing = [key for key in ("stops", "from") if key not in places]
    if missing:
        known = "; ".join(f"{key}: {', '.join(COLUMNS[key][:4])}" for key in missing)
        raise InputError(
            f"{printable(path.name)}: no column for {' and '.join(missing)}; names that are known are {known}"
        )
    used = {at for at, _ in places.values()}
    left = [printable(name) for at, name in enumerate(names) if name and at not in used]
    lines = [f"  # columns of {printable(path.name)} that are not used: {', '.join(left)}"] if left else []
    named: Counter[str] = Counter()
    for number, (line, cells) in enumerate(rows, start=1):
        said = {key: (cells[at], unit) for key, (at, unit) in places.items() if cells[at]}
        try:
            lines.append(_line(said, number, named))
        except ValueError as error:
            raise InputError(f"{printable(path.name)}: line {line}: {error}") from error
    return lines


def stops_in(lines: list[str]) -> int:
    """How many stops the lines of a card's blocks hold."""
    return sum(int(match[1]) for line in lines if (match := re.search(r"\bstops: (\d+)", line)))


def _apart(name: str) -> tuple[str, str]:
    """A column's name and the unit behind it, whatever stands in its brackets."""
    match = re.match(r"^(.*?)\s*[\[(]([^\])]*)[\])]\s*$", name)
    return (match[1], match[2].strip()) if match and match[1] else split(name)


def _line(said: Mapping[str, tuple[str, str]], number: int, named: Counter[str]) -> str:
    if "stops" not in said or not re.match(r"^\d+([.,]0+)?$", said["stops"][0]):
        raise ValueError(f"stops: {said.get('stops', ('',))[0]!r} is not a whole number")
    values = {key: _value(key, *cell) for key, cell in said.items() if key in KIND}
    guessed = []
    kind = KINDS.get(folded(said["kind"][0])) if "kind" in said else None
    if "kind" in said and kind is None:
        raise ValueError(f"kind: {said['kind'][0]!r}; write stop, snub or drag")
    if kind is None:
        end = values.get("to")
        kind = (
            "drag"
            if end == values.get("from") or "duration" in values
            else "stop"
            if end is None or float(re.split(r"[^\d.]", end)[0] or 0) == 0
            else "snub"
        )
        guessed.append("kind")
    purpose = folded(said["purpose"][0]) if "purpose" in said else "drag" if kind == "drag" else "map"
    if "purpose" not in said:
        guessed.append("purpose")
    elif purpose not in PURPOSES:
        raise ValueError(f"purpose: {said['purpose'][0]!r}; write one of {', '.join(PURPOSES)}")
    if "from" not in values:
        raise ValueError("the speed at the start is missing")
    end = values.get("to", f"0 {values['from'].split(' ', 1)[1]}")
    speed = values["from"] if kind == "drag" else f"[{values['from']}, {end}]"
    name = said["name"][0] if "name" in said else f"{purpose} {number}"
    named[name] += 1
    name = name if named[name] == 1 else f"{name} ({named[name]})"  # a card tells its blocks apart by their names
    parts = [
        f"name: {quoted(name)}",
        f"purpose: {purpose}",
        f"kind: {kind}",
        f"stops: {said['stops'][0].split('.')[0].split(',')[0]}",
        f"speed: {speed}",
    ]
    levels = [key for key in ("pressure", "torque", "deceleration") if key in values]
    if levels and levels[0] != "pressure":
        parts.append(f"control: {levels[0]}")
    parts += [
        f"{key}: {values[key]}"
        for key in (*levels[:1], "initial_temperature", "duration", "interval", "pause_before")
        if key in values
    ]
    if not levels:
        parts.append(f"pressure: {BLANK}")
        guessed.append("pressure, torque or deceleration")
    return f"  - {{{', '.join(parts)}}}" + (
        f"  # guessed, as the table does not say it: {', '.join(guessed)}" if guessed else ""
    )


def _value(key: str, text: str, unit: str) -> str:
    """`number unit` of a cell, the unit its own or the header's; a decimal point, as it stands within braces."""
    whole = f"{text} {unit}" if unit and re.match(r"^[-+]?[\d.,]+$", text) else text
    if re.match(r"^[-+]?[\d.,]+$", whole):
        raise ValueError(
            f"{key.replace('_', ' ')}: {text!r} has no unit; write it behind the column's name in brackets, such as [{'rpm' if key in ('from', 'to') else 'bar'}]"
        )
    kind = next((k for k in KIND[key] if reads_as(re.sub(r"^[-+]?[\d.,]+\s*", "", whole), k)), KIND[key][0])
    to_si(whole, kind)
    return re.sub(r"(?<=\d),(?=\d)", ".", whole)
