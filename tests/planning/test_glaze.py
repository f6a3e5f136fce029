"""The smallest loss of friction that a program finds: false alarms, what the program must hold, and how it moves."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.drift.noise import Repeatability
from pipeline.method.drift import Drift
from pipeline.planning import glaze
from tests.makers import stops_frame

USUAL = Repeatability(0.015, 0.3, 0.05, 0.001, 1.0, 200.0)
BLOCKS = {
    "check": (300.0, 8.5, 25.0, "check"),
    "gentle": (150.0, 1.4, 7.0, "duty"),
    "hard": (300.0, 14.0, 42.0, "duty"),
}


def program(*blocks: tuple[str, int]) -> pl.DataFrame:
    rows = [(f"{kind} {k}", *BLOCKS[kind]) for k, (kind, count) in enumerate(blocks) for _ in range(count)]
    name, start, power, bar, purpose = (list(column) for column in zip(*rows, strict=True))
    return stops_frame(
        len(rows), block=name, purpose=purpose, mu=0.45, temperature_initial_c=start, target_temperature_c=start,
        power_density_w_mm2=power, pressure_bar=bar, target_pressure_bar=bar, pressure_plateau_bar=bar,
        speed_start_rpm=1450.0, speed_end_rpm=850.0,
    )  # fmt: skip


def seen(*blocks: tuple[str, int], noise: Repeatability = USUAL) -> glaze.Glaze:
    return glaze.foreseen(program(*blocks), noise, Drift(), 0.8)


def whole(checks: int = 6, gentle: int = 20) -> tuple[tuple[str, int], ...]:
    return ("check", checks), ("gentle", gentle), ("check", checks), ("hard", 8), ("check", checks)


def test_no_loss_alarms_as_often_as_the_method_says() -> None:
    found = seen(*whole())
    assert found.false_alarms == Drift().false_alarm_rate
    assert dict(found.chance)[0.0] <= 2 * Drift().false_alarm_rate
    assert found.lacking == () and found.gentle == 20 and found.power_w_mm2 == pytest.approx(1.4)


def test_a_larger_loss_is_found_more_often() -> None:
    chances = [chance for _, chance in seen(*whole()).chance]
    assert chances == sorted(chances) and chances[-1] > 0.95


def test_more_checks_and_less_scatter_find_smaller_losses() -> None:
    few, many = seen(*whole(5)), seen(*whole(16))
    calm = seen(*whole(5), noise=USUAL._replace(sigma=0.006))
    assert few.loss is not None and many.loss is not None and calm.loss is not None
    assert many.loss < few.loss and calm.loss < few.loss
    assert calm.loss >= Drift().least_loss, "the method calls nothing smaller a change"


def test_what_a_program_lacks_is_said() -> None:
    assert "gentle" in (seen(("check", 6), ("hard", 10), ("check", 6)).why or "")
    assert "check follows" in (seen(("check", 6), ("gentle", 20), ("hard", 8)).why or "")
    assert "before the gentle use" in (seen(("gentle", 20), ("check", 12)).why or "")
    no_hard = seen(("check", 6), ("gentle", 20), ("check", 6))
    assert no_hard.loss is not None and any("high-energy" in text for text in no_hard.lacking)
    assert any("9 gentle stops" in text for text in seen(*whole(gentle=9)).lacking)
