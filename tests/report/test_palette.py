"""Colours: one meaning a colour, and enough contrast in the light and in the dark page (WCAG 2.2, 1.4.3 and 1.4.11)."""

from __future__ import annotations

import re
from itertools import combinations

import numpy as np
import pytest

from pipeline.report import palette, render

TEXT, MARK = 4.5, 3.0
#: hue-rotate(180deg) of Filter Effects Module Level 1, 6.1: the matrix at cos = -1, sin = 0
HUE = np.array([[-0.574, 1.430, 0.144], [0.426, 0.430, 0.144], [0.426, 1.430, -0.856]])
FAMILIES = {
    "purposes": [colour for colour, *_ in [*palette.PURPOSES.values(), palette.OTHER_PURPOSE]],
    "batches": list(palette.BATCHES),
    "components": [*palette.COMPONENTS.values(), *palette.OTHER_COMPONENTS],
    "causes": [*palette.CAUSES.values(), *palette.OTHER_CAUSES],
    "plain": list(palette.PLAIN),
    "marks": [palette.ACCENT, palette.ALARM],
}


def rgb(colour: str) -> np.ndarray:
    return np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])


def luminance(values: np.ndarray) -> float:
    linear = np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(a: np.ndarray, b: np.ndarray) -> float:
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def turned(colour: str) -> np.ndarray:
    """As the dark page shows it: invert(1) hue-rotate(180deg)."""
    return np.clip(HUE @ (1 - rgb(colour)), 0, 1)


def tokens(dark: bool) -> dict[str, np.ndarray]:
    """The style sheet's colours by name; the dark ones stand in its first media query."""
    style = str(render.environment().globals["css"])
    light, found = (
        re.search(pattern, style, re.DOTALL) for pattern in (r":root \{(.*?)\}", r"dark\) \{\s*:root \{(.*?)\}")
    )
    assert light and found
    values = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", light[1]))
    own = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", found[1]))
    assert set(own) == set(values), "a colour of the light page has no dark one"
    return {name: rgb(value) for name, value in (own if dark else values).items()}


@pytest.mark.parametrize("dark", [False, True])
def test_text_and_edges_stand_out_from_every_ground(dark: bool) -> None:
    found = tokens(dark)
    for name in ("ink", "muted", "accent", "good", "open", "alarm", "quiet"):
        for ground in ("paper", "ground", "soft", "hover"):
            assert contrast(found[name], found[ground]) >= TEXT, (name, ground)
    assert contrast(found["ink"], found["chosen"]) >= TEXT and contrast(found["ink"], found["pressed"]) >= TEXT
    assert contrast(found["solid"], found["on-solid"]) >= TEXT
    for name in ("focus", "edge", "point"):
        assert contrast(found[name], found["paper"]) >= MARK, name


@pytest.mark.parametrize("family", FAMILIES)
def test_marks_stand_out_on_light_and_dark_paper(family: str) -> None:
    dark, light = tokens(True)["paper"], rgb(palette.PAPER)
    for colour in FAMILIES[family]:
        assert contrast(rgb(colour), light) >= MARK, (colour, contrast(rgb(colour), light))
        assert contrast(turned(colour), dark) >= MARK, (colour, contrast(turned(colour), dark))


def test_a_colour_means_one_thing() -> None:
    for (name, one), (other, two) in combinations(FAMILIES.items(), 2):
        assert not set(one) & set(two), (name, other)
        assert min(np.abs(rgb(a) - rgb(b)).max() for a in one for b in two) > 0.03, (name, other)
    for name, own in FAMILIES.items():
        assert len(set(own)) == len(own), name


def test_members_of_a_family_are_told_apart_by_more_than_colour() -> None:
    looks = [palette.batch(place) for place in range(12)]
    assert len({(look.symbol, look.colour, look.dash) for look in looks}) == 12
    assert len({look.symbol for look in looks[:6]}) == 6
    names = [*palette.COMPONENTS, "another"]
    assert len({palette.component(name, 3).symbol for name in names}) == len(names)
