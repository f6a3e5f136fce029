"""Bounds of a film's growth: known answers, the distribution behind them, and nothing claimed beyond what was run."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.drift.compound import glaze_limit
from pipeline.drift.film import NEAR_K, NEAR_POWER, Film, Removal, Use, _distance, grouped
from pipeline.drift.film_of_tests import film_of
from pipeline.drift.film_told import evidence
from pipeline.method.drift import Drift
from pipeline.results.drift import TestDrift
from pipeline.results.model import Stamp, renewed
from tests.drift.makers import BEDDING, RIDGE, VALLEY, check, line
from tests.drift.test_verdicts import judged


def use(power: float, temperature: float, loss: float, u: float = 0.008, stops: int = 100, **more) -> Use:
    n = np.ones(stops)
    clearing = np.full(stops, more.pop("may_clear", False))
    return Use("t", 1, power * n, temperature * n, 5.0 * n, clearing, loss, u, **more)


def film(*uses: Use, grown: tuple[Use, ...] = ()) -> Film:
    return Film(grouped(uses), grown, (), 8.0, 350.0)


def test_a_harmless_use_bounds_what_is_harder_and_warmer_and_nothing_else():
    harmless = film(use(2.0, 150.0, 0.0))
    at = np.array([150.0 - NEAR_K - 1, 150.0 - NEAR_K + 1, 300.0])
    bound, estimate = harmless.at_most(2.0, at)
    assert np.isinf(bound[0]) and np.isinf(estimate[0])
    assert bound[1] == bound[2] == pytest.approx(1.96 * 0.008 / 500, rel=0.1)
    assert estimate[1] == pytest.approx(0.0, abs=1e-12)
    assert np.isinf(harmless.at_most(2.0 / NEAR_POWER * 0.99, at)[0]).all()


def test_a_glazing_use_bounds_what_is_gentler_and_colder_from_below():
    glazed = use(1.0, 90.0, 0.12, glazed=True)
    found = film(glazed, grown=(glazed,))
    low, estimate = found.at_least(glazed, 0.8, np.array([60.0, 90.0, 97.0]))
    assert low[0] == low[1] == pytest.approx((0.12 - 1.96 * 0.008) / 500, rel=1e-4) and low[2] == 0
    assert estimate[0] == pytest.approx(0.12 / 500)
    assert found.at_least(glazed, 1.2, np.array([60.0]))[0] == 0
    # between it and a harmless use nothing is interpolated: the larger rate stands as the bound
    both = film(glazed, use(3.0, 200.0, 0.0), grown=(glazed,))
    between, beyond = both.at_most(2.0, np.array([150.0]))[0][0], both.at_most(3.0, np.array([200.0]))[0][0]
    assert between > 0.12 / 500 > 4 * beyond


def test_alike_uses_tell_more_together():
    one, four = film(use(2.0, 150.0, 0.0)), film(*[use(2.0 + 0.05 * k, 150.0, 0.0) for k in range(4)])
    at = np.array([200.0])
    assert four.at_most(3.0, at)[0][0] == pytest.approx(one.at_most(3.0, at)[0][0] / 2, rel=0.1)


def test_hard_stops_in_a_use_hide_growth_from_what_is_gentler_than_they():
    mixed = use(2.0, 150.0, 0.0, may_clear=False)
    mixed = Use("t", 1, np.r_[mixed.power, 14.0], np.r_[mixed.temperature, 420.0], np.r_[mixed.energy, 20.0],
                np.r_[mixed.may_clear, True], 0.0, 0.008)  # fmt: skip
    found = film(mixed)
    assert np.isinf(found.at_most(5.0, np.array([300.0]))[0][0])
    assert np.isfinite(found.at_most(15.0, np.array([430.0]))[0][0])


def test_a_use_that_lost_much_began_faster_than_its_mean():
    slow, fast = film(use(1.0, 90.0, 0.005)), film(use(1.0, 90.0, 0.14))
    at = np.array([90.0])
    assert slow.at_most(1.0, at)[0][0] * 500 < 0.005 + 1.1 * 1.96 * 0.008 + 0.002
    assert fast.at_most(1.0, at)[0][0] * 500 > 1.3 * 0.14


@pytest.mark.parametrize("groups", [1, 2, 5])
def test_the_distance_to_rates_that_lie_above_has_its_quantile(groups):
    rng = np.random.default_rng(groups)
    drawn = (np.maximum(-rng.standard_normal((200_000, groups)), 0) ** 2).sum(axis=1)
    assert (drawn <= _distance(groups, 0.975)).mean() == pytest.approx(0.975, abs=0.002)


def test_bounds_hold_as_often_as_they_say():
    rng = np.random.default_rng(5)
    true, n, held = 1e-4, 400, 0
    for _ in range(n):
        uses = [use(2.0, t, true * 500 + rng.normal(0, 0.008)) for t in (100.0, 130.0, 160.0)]
        held += film(*uses).at_most(3.0, np.array([200.0]))[0][0] >= true
    assert held / n >= 0.955  # 97.5 % less twice its own chance, and on the safe side by the filling


def test_what_clears_takes_its_share_by_the_low_end():
    one = Removal("t", 16, 17.0, 360.0, (0.9, 0.75, 1.0), 750.0)
    assert np.exp(-one.least * 750.0) == pytest.approx(0.25)
    found = Film(cleared=(one,))
    assert found.decay(np.array([18.0, 16.0]), np.array([400.0, 400.0])).tolist() == [one.least, 0.0]


# --- from drift.json


HARDER = VALLEY._replace(name="harder use", stops=60, speed=(1200.0, 700.0), pressure=26.0, initial=110.0)
HARMLESS = [BEDDING, check(1, 6), *line((60.0, 100.0, 200.0, 300.0)), check(2, 6), HARDER, check(3, 6), check(4, 6)]


@pytest.fixture(scope="module")
def drifts():
    found = {f"t{i}": judged(seed=i, glaze_loss=0.12) for i in range(2)}
    return found | {f"h{i}": judged(seed=20 + i, program=HARMLESS) for i in range(2)}


def test_evidence_of_tests_that_glazed_and_did_not(drifts):
    found = film_of(drifts)
    assert {one.test for one in found.grown} == {"t0", "t1"} == {one.test for one in found.cleared}
    rows = evidence(found, 0.05)
    shown = {row.shown: row for row in rows.uses}
    assert shown["glazed"].temperature_c.value == pytest.approx(90, abs=5)
    assert shown["harmless"].power_density_w_mm2.value == pytest.approx(5.6, abs=0.5)
    assert rows.confounded is False  # harder use as cold was harmless: power by itself does it
    lost = 0.12 / 110  # of ln mu and stop, and faster at first
    assert lost < shown["glazed"].loss_per_stop.value < 3.5 * lost


def test_a_limit_without_a_rate_of_any_test_is_told_without_what_was_harmless(drifts):
    """Which stops took 3 % of mu may be unknown in every test that glazed."""
    found = {}
    for name, drift in drifts.items():
        exposure = drift.exposure
        if exposure and exposure.grew:
            unknown = exposure.grew.stops_to_3_percent.model_copy(update={"value": None, "why": "not known"})
            grew = exposure.grew.model_copy(update={"stops_to_3_percent": unknown})
            drift = drift.model_copy(update={"exposure": exposure.model_copy(update={"grew": grew})})
        found[name] = drift
    limit = glaze_limit(found)
    assert limit.stops is not None and limit.stops.value is None
    assert limit.power_density_high_w_mm2 is None and "how fast it grew" in (limit.power_density_high_why or "")
    assert "in how many stops 3 % of mu is lost is not known" in limit.text and "nan" not in limit.text


def test_growth_is_known_as_well_whatever_the_confidence_of_the_drifts_intervals():
    """The same test judged at two confidences: its intervals are wider or narrower, what is known of its film is not."""
    own = {c: judged(seed=1, glaze_loss=0.12, settings=Drift(confidence=c)) for c in (0.8, 0.95)}
    seen = []
    for confidence, drift in own.items():
        stamp = Stamp(
            stage="drift", revision=1, settings={"settings": {"drift": {"confidence": confidence}}}, software=""
        )
        seen.append(film_of({"t": TestDrift(test="t", stamp=stamp, **dict(drift))}))
    assert any(one.first for one in seen[0].grown)  # and the rate at which the loss began, by its own interval
    for a, b in zip(seen[0].grown, seen[1].grown, strict=True):
        assert a.u == pytest.approx(b.u, rel=0.1)


def test_directions_that_were_varied_together_are_said():
    warm = HARDER._replace(initial=250.0)
    program = [b if b is not HARDER else warm for b in HARMLESS]
    found = {f"t{i}": judged(seed=i, glaze_loss=0.12) for i in range(2)}
    found |= {f"h{i}": judged(seed=20 + i, program=program) for i in range(2)}
    rows = evidence(film_of(found), 0.05)
    assert rows.confounded is True and any("only together" in words for words in rows.words)
    assert glaze_limit(found).power_density_high_w_mm2 is None  # 250 degC is not as cold as 90


def test_a_second_glaze_of_a_test_counts():
    twice = [
        BEDDING, check(1, 6), VALLEY._replace(stops=60), check(2), RIDGE, check(3), VALLEY._replace(name="again", stops=60),
        check(4), RIDGE._replace(name="ridge again"), check(5),
    ]  # fmt: skip
    drift = judged(seed=3, glaze_loss=0.12, program=twice)
    seen = film_of({"t": drift})
    assert len([one for one in seen.grown if not one.first]) == 2
    told = [row for row in evidence(seen, 0.05).uses if row.loss_per_stop.value and row.loss_per_stop.value > 1e-3]
    assert told and {row.shown for row in told} == {"glazed"}


def test_growth_that_was_seen_in_the_mean_only_is_seen():
    again = use(1.0, 90.0, 0.12, glazed=True)
    assert film(again, use(6.0, 300.0, 0.0)).largest_seen() == pytest.approx(
        (0.12 + film(again).z * 0.008) / again.amount
    )


def test_a_sensors_drift_tells_nothing_of_a_film(drifts):
    sensor = {"t0": renewed(drifts["t0"], verdict="sensor")}
    assert (film_of(sensor).groups, film_of(sensor).grown) == ((), ())
    assert film_of({}).groups == () and evidence(film_of({}), 0.05).words == ["was not run: nothing is known of a film"]
