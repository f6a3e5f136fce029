"""The typeface of all that is drawn and printed: DejaVu Sans as matplotlib ships it, with its licence.

It has Latin, Greek, Cyrillic, Arabic and some other scripts. A sign that it lacks would be drawn as an empty box; it stands as its
Unicode number instead.
"""

import importlib.util
from functools import cache
from pathlib import Path

FACE = "DejaVuSans.ttf"
BOLD = "DejaVuSans-Bold.ttf"
TURNS = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"  # explicit directions (Unicode Standard Annex 9, section 2)


def font_folder() -> Path:
    """Folder of the typefaces that matplotlib ships; found without loading it."""
    found = importlib.util.find_spec("matplotlib")
    assert found is not None and found.submodule_search_locations
    return Path(found.submodule_search_locations[0]) / "mpl-data" / "fonts" / "ttf"


@cache
def signs() -> frozenset[int]:
    """Code points that the typeface has a sign for."""
    from matplotlib.ft2font import FT2Font

    return frozenset(FT2Font(str(font_folder() / FACE)).get_charmap())


def legible(text: str) -> str:
    """The text with every sign that the typeface lacks, or that turns the direction of what follows, as its number in brackets, as
    `[U+6771]`.
    """
    if text.isascii() and text.isprintable():
        return text
    known = signs()
    return "".join(c if c in "\n\t" or (ord(c) in known and c not in TURNS) else f"[U+{ord(c):04X}]" for c in text)
