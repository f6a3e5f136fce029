"""Mass against thickness: index of inner oxidation, moisture, states of readings."""

import dataclasses

import pytest

from pipeline.wear.balance import compare
from pipeline.wear.intervals import intervals
from pipeline.wear.mass import mass_rows
from tests.wear.makers import DISC
from tests.wear.test_intervals import table

GRAMS = 1e-6 * DISC.density * DISC.area * 1e3  # of one um over the ring


def rows(losses_um, mass_factor=1.0, state="dry", extra=0.0):
    """Thickness at four points twice and mass twice at each reading; extra grams at every reading after the first."""
    out = []
    for k, (after, loss) in enumerate(losses_um.items()):
        for p in range(4):
            out += [(after, p, 28000 - loss + 5 * p + d, "thickness", state) for d in (-1.0, 1.0)]
        mass = 1700.0 - mass_factor * loss * GRAMS + (extra if k else 0.0)
        out += [(after, 1, mass + d, "mass", state) for d in (-0.02, 0.02)]
    return table(out)


def compared(readings, part=DISC):
    return compare(readings, part, assumed_thickness=3e-6, assumed_mass=5e-5, confidence=0.95)


LOSSES = {0: 0.0, 50: 60.0, 100: 140.0, 150: 250.0}


def test_wear_off_the_faces_is_one():
    ratio, why, findings = compared(rows(LOSSES))
    assert ratio.value == pytest.approx(1.0, abs=1e-3) and ratio.low < 1 < ratio.high
    assert why is None and findings == []


def test_oxidation_inside_is_found():
    ratio, _, findings = compared(rows(LOSSES, mass_factor=1.25))
    assert ratio.value == pytest.approx(1.25, abs=1e-3) and ratio.low > 1.15
    assert [f.code for f in findings] == ["wear_mass_thickness"] and "oxidation inside" in findings[0].message


def test_pick_up_is_found():
    _, _, findings = compared(rows(LOSSES, mass_factor=0.7))
    assert "picked up" in findings[0].message


def test_as_found_only_gives_no_ratio():
    ratio, why, findings = compared(rows(LOSSES, state="as_found"))
    assert ratio is None and why and "wear_not_dry" in [f.code for f in findings]


def test_a_state_not_said_gives_a_ratio_with_a_flag():
    ratio, why, _ = compared(rows(LOSSES, state=None))
    assert ratio.value == pytest.approx(1.0, abs=1e-3) and "state is not said" in why


def test_moisture_between_readings_of_unsaid_state():
    _, _, findings = compared(rows(LOSSES, state=None, extra=3.4))  # 0.2 % of the disc
    assert "wear_moisture" in [f.code for f in findings]


def test_uptake_seen_at_one_reading():
    both = rows(LOSSES).vstack(table([(100, 1, 1700.0 - 140 * GRAMS + 5.0, "mass", "as_found")]))
    ratio, _, findings = compared(both)
    assert ratio.value == pytest.approx(1.0, abs=1e-3)
    assert [f.code for f in findings] == ["wear_moisture"] and "0.30 %" in findings[0].message


def test_without_density_or_mass_there_is_a_reason():
    assert compared(rows(LOSSES), dataclasses.replace(DISC, density=None))[:2] == (
        None,
        "the card gives no density or no friction area of the part",
    )
    thickness_only = rows(LOSSES).filter(quantity="thickness")
    assert compared(thickness_only)[:2] == (None, "no mass was read")


def test_too_little_wear_gives_no_ratio():
    ratio, why, _ = compared(rows({0: 0.0, 50: 1.0}))
    assert ratio is None and "too small" in why


def test_mass_of_each_interval():
    readings = rows(LOSSES, mass_factor=1.1)
    measured = intervals(readings, DISC, assumed_thickness=3e-6, assumed_mass=5e-5, last_stop=150)
    found = mass_rows(readings, measured, 5e-5)
    assert [row.wear_g for row in found] == pytest.approx([66 * GRAMS, 88 * GRAMS, 121 * GRAMS], rel=1e-3)
    assert {row.mass_state for row in found} == {"dry"}


def test_mass_not_read_is_null():
    readings = rows(LOSSES).filter(quantity="thickness")
    measured = intervals(readings, DISC, assumed_thickness=3e-6, assumed_mass=5e-5, last_stop=150)
    assert mass_rows(readings, measured, 5e-5)[0].wear_g is None
