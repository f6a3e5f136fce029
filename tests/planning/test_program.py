"""A planned program on paper: what of it is read, its hours, and its blocks as a card takes them."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.archive.block import Block
from pipeline.archive.blocks import as_yaml, named_once
from pipeline.archive.card import Card
from pipeline.inputs.model import parse
from pipeline.method.wear import Wear
from pipeline.planning import program
from pipeline.planning.plan import no_better
from pipeline.wear.planned_stops import Assumed
from tests.makers import stops_frame
from tests.wear.makers import card_content

CHECK = {"name": "check", "purpose": "check", "kind": "snub", "stops": 6, "speed": ["1450 rpm", "850 rpm"],
         "pressure": "25 bar", "initial_temperature": "300 degC"}  # fmt: skip
COLD = CHECK | {"name": "cold", "purpose": "map", "stops": 2, "initial_temperature": "90 degC"}
DRAG = {"name": "drag", "purpose": "drag", "kind": "drag", "stops": 2, "speed": "700 rpm", "pressure": "12 bar",
        "initial_temperature": "280 degC", "duration": "6 s"}  # fmt: skip
FADE = CHECK | {"name": "fade", "purpose": "fade", "stops": 10, "interval": "35 s", "pressure": "42 bar"}
HELD = {key: value for key, value in CHECK.items() if key != "pressure"} | {
    "name": "held", "purpose": "duty", "control": "torque", "torque": "800 N m", "pause_before": "2 h"}  # fmt: skip


def card(*blocks: dict, **brake: dict) -> Card:
    content = card_content(blocks=list(blocks))
    content["brake"] |= brake
    return parse(content, Card, "test.yaml")


def ran(stops: int = 6, wait: float | None = 27.0, **columns: object) -> pl.DataFrame:
    return stops_frame(
        stops,
        idle_before_s=wait,
        duration_s=3.0,
        speed_start_rpm=1450.0,
        speed_end_rpm=850.0,
        pressure_bar=25.0,
        **columns,
    )


def test_blocks_are_read_for_what_they_are() -> None:
    stops = program.table(card(COLD, CHECK, CHECK | {"name": "later", "stops": 4}), Assumed(), Wear())
    assert program.blocks_read(stops, "mu", None) == (6, 4)
    assert program.blocks_read(stops, "bite", (92.0, 25.0, 1450.0)) == (2,)
    assert program.blocks_read(stops, "bite", None) == ()
    assert program.blocks_read(stops, "bite", (92.0, 40.0, 1450.0)) == ()
    assert program.blocks_read(stops, "wear", None) == (1,)
    without = program.table(card(COLD), Assumed(), Wear())
    assert program.blocks_read(without, "mu", None) == (2,), "map stops serve where a program has no check"


def test_a_stop_follows_the_curve_it_is_given() -> None:
    """Half the friction at the same pressure: half the power, twice the time, the same work."""
    bare = program.table(card(COLD), Assumed(mu=0.4), Wear())
    weak = program.table(card(COLD), Assumed(mu=0.4), Wear(), [(0.0, 0.2), (600.0, 0.2)])
    assert weak["mu"].to_list() == [0.2, 0.2]
    assert weak["power_density_w_mm2"][0] == pytest.approx(bare["power_density_w_mm2"][0] / 2)
    assert weak["duration_s"][0] == pytest.approx(2 * bare["duration_s"][0])
    assert weak["energy_kj"][0] == pytest.approx(bare["energy_kj"][0])


def test_a_card_without_the_discs_heat_is_planned_by_its_wanted_temperatures() -> None:
    bare = card(COLD, CHECK, disc={"thickness": "28 mm"})
    stops = program.table(bare, Assumed(), Wear())
    assert stops["temperature_initial_c"].to_list() == pytest.approx([90.0] * 2 + [300.0] * 6)


def test_hours_by_hand() -> None:
    """Six stops of 30 s, and two pauses of two hours that are no part of a stop."""
    archive = [ran(temperature_initial_c=300.0), ran(2, wait=7200.0, temperature_initial_c=300.0)]
    took = program.hours(card(CHECK), archive, longest=3600.0)
    assert took.hours == pytest.approx(6 * 30 / 3600) and took.unlike == () and took.pauses == 0.0


def test_the_most_alike_block_tells_the_time() -> None:
    archive = [ran(temperature_initial_c=300.0), ran(wait=137.0, temperature_initial_c=90.0)]
    took = program.hours(card(COLD, CHECK), archive, longest=3600.0)
    assert took.hours == pytest.approx((2 * 140 + 6 * 30) / 3600)
    far = program.hours(card(CHECK | {"initial_temperature": "560 degC"}), archive, longest=3600.0)
    assert far.unlike == ("check",)


def test_an_interval_and_a_pause_of_the_card_count() -> None:
    took = program.hours(card(FADE, HELD), [ran(temperature_initial_c=300.0)], longest=3600.0)
    assert took.hours == pytest.approx((10 * 35 + 6 * 30) / 3600 + 2.0) and took.pauses == 2.0


def test_clocks_that_start_again_tell_no_hours() -> None:
    took = program.hours(card(CHECK), [ran(wait=None)], longest=3600.0)
    assert took.hours is None and "clock" in (took.why or "")


@settings(deadline=None, max_examples=30)
@given(st.integers(1, 300), st.integers(2, 5))
def test_hours_scale_with_stops(stops: int, times: int) -> None:
    archive = [ran(temperature_initial_c=300.0)]
    once, more = (
        program.hours(card(CHECK | {"stops": n}), archive, longest=3600.0).hours for n in (stops, times * stops)
    )
    assert more == pytest.approx(times * once)


def test_printed_blocks_are_the_blocks_again() -> None:
    planned = card(COLD, CHECK, DRAG, FADE, HELD)
    again = card(*yaml.safe_load(as_yaml(planned.blocks))["blocks"])
    assert len(again.blocks) == 5
    for a, b in zip(planned.blocks, again.blocks, strict=True):
        for name in Block.model_fields:
            one, other = getattr(a, name), getattr(b, name)
            assert one == pytest.approx(other, rel=1e-6) if isinstance(one, float) else one == other, name


def test_names_of_planned_blocks_are_told_apart() -> None:
    one = card(CHECK).blocks[0]
    assert [b.name for b in named_once([one, one, one])] == ["check", "check (2)", "check (3)"]


def test_planned_pressure_of_a_held_torque() -> None:
    planned = card(HELD)
    stops = program.table(planned, Assumed(mu=0.4), Wear())
    force = (stops["pressure_bar"][0] * 1e5 - planned.brake.threshold_pressure) * planned.brake.piston_area
    assert 2 * 0.4 * force * planned.brake.efficiency * (planned.brake.effective_radius or np.nan) == pytest.approx(
        800.0
    )


def test_the_pessimistic_case_is_never_told_as_better():
    """Draws of what no specimen tells (a duty's cooling) differ by a per cent from case to case."""
    assert no_better(0.346, 0.341) == 0.346 and no_better(0.30, 0.34) == 0.34
    assert no_better(None, 0.3) == 0.3 and no_better(0.3, None) is None
