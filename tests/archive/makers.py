"""Invented test cards."""

from __future__ import annotations

from pathlib import Path

CARD = """\
schema: 1
compound: Marram 4
batch: 2406
specimen: NO
date: 2026-03-02
rig: north
brake:
  friction_ring: {outer_diameter: 312 mm, inner_diameter: 220 mm}
  pistons_per_side: [30 mm, 34 mm, 38 mm]
  pad_area: 52 cm^2
  pads: 2
  disc: {mass: 1.7 kg, thickness: 28 mm, minimum_thickness: 24 mm, density: 1.78 g/cm^3, heat_capacity: carbon}
inertia: 22 kg m^2
rolling_radius: 330 mm
recordings:
  files: recordings/*.csv
  channels:
    time: {column: t, unit: s}
    speed: {column: n, unit: rpm}
    torque: {column: Mb, unit: N m}
    pressure: {column: p, unit: bar}
    disc_temperature: {column: T1, unit: degC}
  sensors:
    torque: {full_scale: 3000 N m, accuracy: 0.2 %}
    effective_radius: {accuracy: 0.5 mm}
    piston_area: {accuracy: 0.5 %}
    disc_temperature: {accuracy: 4 K}
blocks:
  - {name: bed-in, purpose: bedding, kind: snub, stops: 4, speed: [1500 rpm, 500 rpm], pressure: 40 bar, initial_temperature: 250 degC}
  - {name: to rest, purpose: map, kind: stop, stops: 2, speed: 100 km/h, pressure: 40 bar, initial_temperature: 250 degC}
  - {name: held, purpose: drag, kind: drag, stops: 1, speed: 800 rpm, pressure: 20 bar, duration: 10 s}
"""


def card_folder(base: Path, text: str = CARD, name: str = "t1") -> Path:
    """A test's folder with a card of the given text and no recordings."""
    folder = base / name
    folder.mkdir(parents=True)
    (folder / "test.yaml").write_text(text, encoding="utf-8")
    return folder
