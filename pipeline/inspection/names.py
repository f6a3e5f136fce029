"""What a column's name says it is, in the languages and abbreviations of test rigs (common practice).

A name is taken apart into words; words say a quantity (torque), a place (disc, drive) or that a value was wanted and not measured.
Long words count wherever they stand (Bremsmoment, Scheibentemperatur), short ones only alone (Mb, p, T1). How much a name says:
3 a word in full, 2 an abbreviation, 1 a single letter.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache
from typing import NamedTuple

# quantity -> words that count inside others; words that count alone. German, English, French, Italian, Spanish.
QUANTITIES: dict[str, tuple[str, str]] = {
    "counter": ("zaehler zahler counter", "nr no num index idx count sample stop cycle frame id block bremsung lfd row stopnr"),
    "mu": ("reibwert reibzahl frottement attrito friccion friction", "mu cof mue"),
    "deceleration": ("verzoger decel beschleun accel retard", "a acc ax"),
    "force": ("kraft force forza fuerza", "f"),
    "power": ("leistung power puissance potenza potencia", ""),
    "energy": ("energie energy energia arbeit lavoro", "work"),
    "voltage": ("spannung voltage tension", "u volt"),
    "wear": ("verschleiss wear usure usura desgaste", ""),
    "humidity": ("feucht humid umidita humedad", "rh"),
    "displacement": ("displacement travel corsa carrera spostamento", "weg hub course pos position"),
    "torque": ("moment torque coppia", "couple par trq tq mb md mbr mbrake mist mom"),
    "speed": (
        "drehzahl drehz speed geschw veloc vitesse vitess regime rotation rotazione giri revolucion umdreh omega",
        "rpm nd nist vit vel spd nw kmh",
    ),
    "pressure": ("druck press presion", "pbr pl pb pist pbrake"),
    "temperature": ("temp thermo termo", "tc tk tk1 tk2"),
    "time": ("zeit timestamp uhrzeit", "time temps tempo tiempo heure ora hora sec clock datetime elapsed"),
}  # fmt: skip
# A single letter, as it is written: T is a temperature, t the time.
LETTERS = {
    "t": "time", "n": "speed", "v": "speed", "w": "speed", "ω": "speed", "M": "torque", "p": "pressure", "P": "pressure",
    "T": "temperature", "θ": "temperature", "ϑ": "temperature", "N": "speed", "V": "speed",
}  # fmt: skip
PLACES: dict[str, tuple[str, str]] = {
    "disc": ("scheibe disc disk disque rotor", "sch"),
    "pad": ("belag lining plaquette pastigli pastilla", "pad pads bel"),
    "surface": ("pyro surf oberfl superf infra", "ir ob"),
    "ambient": ("ambient umgeb ambiant ambiente raumtemp hallen", "amb room raum umg"),
    "caliper": ("sattel caliper etrier pinza", ""),
    "fluid": ("flussig fluid liquid olio", "oil ol"),
    "drive": ("antrieb drive motor moteur", "mot"),
    "air": ("luft kuhl cooling", "air aria aire wind"),
    "bearing": ("lager bearing palier cuscinetto", ""),
    "second": ("hinten arriere posteri trasero", "rear hr hl 2"),
}
WANTED = (
    "soll setpoint consigne wunsch vorgabe obiettiv objetiv",
    "set cmd target demand nominal ref desired command sp wanted",
)
LEAST_INSIDE = 4  # letters of a word that counts inside others
BY_PLACE = {
    ("temperature", "disc"): "disc_temperature",
    ("temperature", "pad"): "pad_temperature",
    ("temperature", "surface"): "surface_temperature",
    ("temperature", "ambient"): "ambient_temperature",
    ("temperature", "air"): "ambient_temperature",
    ("temperature", "caliper"): "caliper_temperature",
    ("torque", "drive"): "drive_torque",
    ("speed", "air"): "air_speed",
    ("pressure", "second"): "pressure_2",
    ("temperature", "second"): "disc_temperature_2",
}
ELSEWHERE = {"fluid", "bearing"}  # places of no channel of ours
PLAIN = {"time": "time", "speed": "speed", "torque": "torque", "pressure": "pressure", "humidity": "humidity",
         "displacement": "displacement"}  # fmt: skip


class Said(NamedTuple):
    """quantity, place: of a name, "" where it says none; strength 0 to 3; wanted: a value asked for, not measured; channel: ours
    that it names, "" where none; clear: whether a temperature says of what."""

    quantity: str
    place: str
    strength: int
    wanted: bool
    channel: str
    clear: bool = True


@lru_cache(maxsize=2048)
def said(name: str) -> Said:
    """What a name says."""
    text = (
        name.replace("µ", "mu")
        .replace("μ", "mu")
        .replace("ß", "ss")
        .replace("ä", "a")
        .replace("ö", "o")
        .replace("ü", "u")
    )
    plain = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    words = re.findall(r"[^\W\d_][a-z\u0370-\u03ff]+|[^\W\d_]+?(?![a-z])|\d+", plain)
    folded = [word.casefold() for word in words]
    run = "".join(folded)
    joined = [part.casefold() for part in re.split(r"[\W_]+", plain) if part]
    tokens = {*folded, *joined, *(re.sub(r"\d+$", "", part) for part in joined)}
    place = next((p for p, w in PLACES.items() if _holds(run, tokens, w)), "")
    wanted = _holds(run, tokens, WANTED)
    quantity, strength = _quantity(plain, run, tokens)
    if quantity == "" and place in ("disc", "pad", "surface") and len(run) > 1:
        return Said("", place, 1, wanted, BY_PLACE["temperature", place] if not wanted else "")
    channel = (
        ""
        if wanted or place in ELSEWHERE or (quantity == "pressure" and place in ("air", "ambient"))
        else _channel(quantity, place)
    )
    clear = quantity != "temperature" or place not in ("", "second")
    return Said(quantity, place, strength, wanted, channel, clear)


def _quantity(plain: str, run: str, tokens: set[str]) -> tuple[str, int]:
    if tokens & {"temps", "tempo"} and "disque" not in run:
        return "time", 3
    for quantity, (inside, alone) in QUANTITIES.items():
        if any(word in run for word in inside.split() if len(word) >= LEAST_INSIDE) and "momentan" not in run:
            return quantity, 3
        if tokens & set(alone.split()) and quantity not in ("counter", "deceleration", "force", "voltage"):
            return quantity, 2
    parts = [part for part in re.split(r"[\W_\d]+", plain) if part]
    for part in parts:
        letter = part if len(part) == 1 else part[0] if len(part) > 1 and part[1:2].isupper() else ""
        if letter in LETTERS:
            return LETTERS[letter], 1
    for quantity, (_, alone) in QUANTITIES.items():
        if tokens & set(alone.split()):
            return quantity, 2
    return "", 0


def _holds(run: str, tokens: set[str], words: tuple[str, str]) -> bool:
    inside, alone = words
    return any(word in run for word in inside.split()) or bool(tokens & set(alone.split()))


def _channel(quantity: str, place: str) -> str:
    if (quantity, place) in BY_PLACE:
        return BY_PLACE[quantity, place]
    if quantity == "temperature":
        return "disc_temperature"
    return PLAIN.get(quantity, "")
