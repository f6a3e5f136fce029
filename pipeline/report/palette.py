"""Colours and symbols of all pages, one meaning a colour.

Each family of things has colours of its own: purposes of blocks, batches, components, causes of wear, and lines that mean
nothing elsewhere. What a reader has learnt in one figure holds in the next. Kinds are told apart by symbol, dash or place as
well, so that they survive colour-vision deficiency and a black-and-white printer. Every mark has a contrast of at least 3:1
to the paper, as pages are light or dark (WCAG 2.2, 1.4.11; `templates/house.css` turns the lightness over and keeps the hue).
"""

from collections.abc import Iterable
from typing import NamedTuple

INK = "#22282e"
MUTED = "#5a656e"
EDGE = "#7d868e"
RULE = "#cfd4d8"
HAIR = "#e8ebed"
PAPER = "#ffffff"
CLEAR = "rgba(0, 0, 0, 0)"
ACCENT = "#0b5c6b"
BAND = "rgba(11, 92, 107, 0.22)"
TOLERANCE = "rgba(11, 92, 107, 0.10)"
TARGET = "#c88f16"
WANTED = "rgba(200, 143, 22, 0.16)"
ALARM = "#a3301c"
ONSET = "rgba(163, 48, 28, 0.16)"
FIELD = "#cfe3e8"

#: purpose of a block -> colour, plotly symbol, matplotlib marker, words
PURPOSES = {
    "bedding": ("#929292", "x-thin-open", "x", "bedding"),
    "map": ("#1f7399", "circle", "o", "friction map"),
    "check": ("#17324f", "diamond", "D", "check"),
    "fade": ("#8c2d19", "triangle-up", "^", "fade"),
    "recovery": ("#88880e", "triangle-down", "v", "recovery"),
    "duty": ("#c87850", "square", "s", "duty"),
    "drag": ("#b158dd", "cross", "P", "drag"),
}
OTHER_PURPOSE = ("#444444", "star", "*", "no block")


class Look(NamedTuple):
    """How one of a family is drawn: colour, plotly symbol and dash, matplotlib marker and dash."""

    colour: str
    symbol: str
    marker: str
    dash: str
    stroke: str


SYMBOLS = ("circle", "square", "triangle-up", "diamond", "triangle-down", "cross", "x", "star")
MARKERS = ("o", "s", "^", "D", "v", "P", "X", "*")
DASHES = (("solid", "-"), ("dash", "--"), ("dot", ":"), ("dashdot", "-."))

BATCHES = ("#1b7a46", "#b5307f", "#5a48b0", "#5a7f24", "#0a8488", "#c23b5e")
COMPONENTS = {"disc": "#3a4048", "pad_inner": "#73583f", "pad_outer": "#a17d56"}
OTHER_COMPONENTS = ("#556b5a", "#8b6f80")
CAUSES = {
    "mechanical": "#4b6070", "oxidation_braking": "#a0526d", "oxidation_after_braking": "#c17f95", "cold": "#6a8fa8", "hot": "#6e2a44",
}  # fmt: skip
OTHER_CAUSES = ("#7b7355", "#85729b", "#4f7d78", "#9d6a5a")
PLAIN = ("#2f363d", "#6b747c", "#4d5861")

#: low to high; lightness rises steadily, so it also reads in grey
HEAT = [[0.0, "#17324f"], [0.3, "#2a6f8f"], [0.55, "#7fa8a0"], [0.8, "#e0bd62"], [1.0, "#f7ecc8"]]


def purpose(name: str | None) -> tuple[str, str, str, str]:
    """Colour, plotly symbol, matplotlib marker and words of a block's purpose."""
    return PURPOSES.get(name or "", OTHER_PURPOSE)


def _look(colour: str, index: int, dash: int) -> Look:
    slot = index % len(SYMBOLS)
    return Look(colour, SYMBOLS[slot], MARKERS[slot], *DASHES[dash % len(DASHES)])


def batch(index: int) -> Look:
    """The `index`-th batch of a compound; after six the colours come again with another dash."""
    return _look(BATCHES[index % len(BATCHES)], index, index // len(BATCHES))


def batches(names: Iterable[str]) -> dict[str, Look]:
    """The looks of a compound's batches by name, given in the order in which every figure takes them."""
    return {name: batch(index) for index, name in enumerate(names)}


def component(name: str, index: int = 0) -> Look:
    """A component that wears, by its name; one that is not known, by its place."""
    known = list(COMPONENTS)
    place = known.index(name) if name in COMPONENTS else index
    return _look(COMPONENTS.get(name) or OTHER_COMPONENTS[index % len(OTHER_COMPONENTS)], place, place)


def cause(name: str, index: int = 0) -> Look:
    """A cause of wear, by its name; one that is not known, by its place."""
    return _look(CAUSES.get(name) or OTHER_CAUSES[index % len(OTHER_CAUSES)], index, index)


def plain(index: int) -> Look:
    """The `index`-th of series that mean nothing in any other figure: told apart by symbol and dash, not by colour."""
    return _look(PLAIN[index % len(PLAIN)], index, index)
