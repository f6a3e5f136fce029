"""Colours and symbols of all pages.

Kinds are told apart by symbol as well as by colour, and the colours differ in lightness as well as in hue along
blue to orange, so that they survive colour-vision deficiency and a black-and-white printer.
"""

INK = "#22282e"
MUTED = "#5f6a73"
RULE = "#cfd4d8"
PAPER = "#ffffff"
ACCENT = "#0b5c6b"
BAND = "rgba(11, 92, 107, 0.22)"
TOLERANCE = "rgba(11, 92, 107, 0.10)"
WANTED = "rgba(200, 143, 22, 0.16)"
ALARM = "#a3301c"
ONSET = "rgba(163, 48, 28, 0.16)"

#: purpose of a block -> colour, plotly symbol, matplotlib marker, words
PURPOSES = {
    "bedding": ("#9aa3ab", "x-thin-open", "x", "bedding"),
    "map": ("#2a8fb0", "circle", "o", "friction map"),
    "check": ("#17324f", "diamond", "D", "check"),
    "fade": ("#8c2d19", "triangle-up", "^", "fade"),
    "recovery": ("#dfae2f", "triangle-down", "v", "recovery"),
    "duty": ("#c8762a", "square", "s", "duty"),
    "drag": ("#7a5a9e", "cross", "P", "drag"),
}
OTHER_PURPOSE = ("#444444", "star", "*", "no block")

#: for series without a meaning of their own (specimens, batches, mechanisms), in this order
SERIES = ("#17324f", "#c8762a", "#2a8fb0", "#8c2d19", "#dfae2f", "#7a5a9e", "#4f7a3a", "#9aa3ab")
SERIES_MARKERS = ("o", "s", "^", "D", "v", "P", "X", "*")
SERIES_SYMBOLS = ("circle", "square", "triangle-up", "diamond", "triangle-down", "cross", "x", "star")

#: low to high; lightness rises steadily, so it also reads in grey
HEAT = [[0.0, "#17324f"], [0.3, "#2a6f8f"], [0.55, "#7fa8a0"], [0.8, "#e0bd62"], [1.0, "#f7ecc8"]]


def purpose(name: str | None) -> tuple[str, str, str, str]:
    """Colour, plotly symbol, matplotlib marker and words of a block's purpose."""
    return PURPOSES.get(name or "", OTHER_PURPOSE)


def series(index: int) -> tuple[str, str, str]:
    """Colour, plotly symbol and matplotlib marker of the `index`-th series (they repeat after eight)."""
    slot = index % len(SERIES)
    return SERIES[slot], SERIES_SYMBOLS[slot], SERIES_MARKERS[slot]
