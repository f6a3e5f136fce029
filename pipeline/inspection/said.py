"""What the lines before a recording's header, or a table of tests, say of the test: keys by name, in the languages of rigs.

Only what is clear is taken: a name that is known in full, a value that the card can read. The rest is told in the blank's comment.
"""

from __future__ import annotations

import datetime
import re
import unicodedata
from collections.abc import Mapping

from pipeline.inputs.quantities import to_si

# key of the card -> names that stand for it, folded
NAMES: dict[str, tuple[str, ...]] = {
    "test": ("test", "id", "testid", "versuch", "versuchsnummer", "versuchnr", "essai", "prova", "ensayo"),
    "recordings": ("recordings", "files", "file", "folder", "datei", "dateien", "ordner", "messdaten", "fichier", "dossier", "cartella", "carpeta"),
    "compound": ("compound", "material", "werkstoff", "mischung", "belag", "belagqualitat", "friction material", "lining", "matiere", "melange", "mescola",
                 "materiale", "compuesto"),
    "batch": ("batch", "lot", "charge", "chargen nr", "charge nr", "los", "lotto", "lote", "batch no", "lot no"),
    "specimen": ("specimen", "muster", "prufling", "probe", "muster nr", "specimen no", "echantillon", "eprouvette", "campione", "probeta"),
    "date": ("date", "datum", "test date", "prufdatum", "data", "fecha"),
    "rig": ("rig", "prufstand", "bench", "dyno", "dynamometer", "test rig", "test bench", "stand", "banc", "banco"),
    "procedure": ("procedure", "program", "programme", "prufprogramm", "programm", "test procedure", "prozedur", "procedura", "procedimiento"),
    "inertia": ("inertia", "schwungmasse", "tragheitsmoment", "tragheit", "massentragheitsmoment", "inertie", "inerzia", "inercia", "moment of inertia"),
    "rolling_radius": ("rolling radius", "rollradius", "wheel radius", "tyre radius", "tire radius", "reifenradius", "radradius", "rayon de roulement", "raggio ruota",
                       "radio de rueda"),
    "brake.effective_radius": ("effective radius", "effective radius of the brake", "reibradius", "wirksamer radius", "rayon effectif", "raggio efficace", "radio efectivo"),
    "brake.pad_area": ("pad area", "belagflache", "lining area", "surface de plaquette", "area pastiglia", "area de pastilla"),
    "brake.pistons_per_side": ("pistons per side", "pistons", "kolben", "kolbendurchmesser", "piston diameter", "piston diameters"),
    "wear": ("wear", "verschleiss", "wear file"),
    "notes": ("notes", "remark", "remarks", "bemerkung", "bemerkungen", "kommentar", "comment"),
}  # fmt: skip
KINDS = {"inertia": "inertia", "rolling_radius": "length", "brake.effective_radius": "length", "brake.pad_area": "area"}
_BY_NAME = {name: key for key, several in NAMES.items() for name in (key, *several)}


def folded(name: str) -> str:
    """A name without accents, case, dots and strokes."""
    plain = "".join(c for c in unicodedata.normalize("NFKD", name.replace("ß", "ss")) if not unicodedata.combining(c))
    return " ".join(re.sub(r"[^a-z0-9.]+", " ", plain.casefold().replace("nr.", "nr").replace("no.", "no")).split())


def key_of(name: str) -> tuple[str, str]:
    """(key of the card, unit behind the name in brackets); key "" where the name is none that is known."""
    match = re.match(r"^(.*?)\s*[\[(]([^\])]*)[\])]\s*$", name)
    bare, unit = (match[1], match[2]) if match else (name, "")
    plain = folded(bare)
    return _BY_NAME.get(plain, _BY_NAME.get(bare.strip(), "")), unit


def taken(said: Mapping[str, str]) -> tuple[dict[str, str], dict[str, str]]:
    """(key -> value that the card can read, key -> text that it cannot) of what was said."""
    good: dict[str, str] = {}
    unclear: dict[str, str] = {}
    for name, text in said.items():
        key, unit = key_of(name)
        if not key or key in good or not text.strip():
            continue
        value = f"{text.strip()} {unit}".strip() if unit and re.match(r"^[-+\d.,]+$", text.strip()) else text.strip()
        readable = _readable(key, value)
        if readable is None:
            unclear.setdefault(key, value)
        else:
            good[key] = readable
    return good, {key: text for key, text in unclear.items() if key not in good}


def _readable(key: str, value: str) -> str | None:
    if key in KINDS:
        try:
            return value if to_si(value, KINDS[key]) > 0 else None
        except ValueError:
            return None
    if key == "date":
        return date_of(value)
    if key == "brake.pistons_per_side":
        return pistons(value)
    return value if len(value) <= 200 and value.isprintable() else None


def date_of(text: str) -> str | None:
    """The date as ISO 8601 where it can mean one day only: 2026-03-02, 02.03.2026 (dots: the day comes first), 17/03/2026."""
    match = re.match(r"^\s*(\d{4})-(\d{2})-(\d{2})(?:[T ].*)?$", text)
    if match:
        parts = int(match[1]), int(match[2]), int(match[3])
    elif match := re.match(r"^\s*(\d{1,2})\.(\d{1,2})\.(\d{4})(?:[T ,].*)?$", text):
        parts = int(match[3]), int(match[2]), int(match[1])
    elif match := re.match(r"^\s*(\d{1,2})/(\d{1,2})/(\d{4})(?:[T ,].*)?$", text):
        a, b = int(match[1]), int(match[2])
        if (a > 12) == (b > 12) and a != b:
            return None
        parts = (int(match[3]), a, b) if b > 12 else (int(match[3]), b, a)
    else:
        return None
    try:
        return datetime.date(*parts).isoformat()
    except ValueError:
        return None


def pistons(text: str) -> str | None:
    """Diameters as a list of the card: `30/34/38 mm`, `30 mm, 34 mm`, `2 x 36 mm`."""
    unit = re.search(r"[a-z]+\s*$", text)
    if unit is None:
        return None
    several = re.match(r"^\s*(\d+)\s*[x×*]\s*([\d.,]+)\s*([a-z]+)\s*$", text)
    values = [several[2]] * int(several[1]) if several and int(several[1]) <= 24 else re.findall(r"\d+(?:\.\d+)?", text)
    listed = [f"{value} {unit[0].strip()}" for value in values]
    try:
        return f"[{', '.join(listed)}]" if listed and all(to_si(one, "length") > 0 for one in listed) else None
    except ValueError:
        return None
