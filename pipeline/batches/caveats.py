"""What the comparison of two batches rests on beside their specimens: calibration states and shifts of the
rigs.

A calibration error is common to all stops of a rig in one state (between two dated events) and cancels in the
difference of two batches run there. Where batches were run in different states it does not cancel:

    u^2 = sum over states (share of a - share of b)^2 (mu u_sensors)^2
        + sum over rigs   (share of a - share of b)^2 (mu u_brake)^2

with u_sensors the relative common uncertainty from torque and pressure, drawn anew by an event, and u_brake that from
radius, piston area and efficiency, which stay with the rig's brake. A shift of a rig found at an event adds its size,
weighed by the difference of the batches' shares after the event, as a further standard uncertainty: it is known to be
there and not corrected. So does a level that a control chart of the rig saw move.

A step at an event that nothing found may be there all the same. Where the precision of the laboratory is handed in, the
scatter between states is what it says, shrunk towards +-2 % of a step as long as few states tell it: the sensors' share
of u counts no less than that.

    s_state^2 = (4 x 0.7 %^2 + nu s_rig^2) / (4 + nu)
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from pipeline.batches import brakes
from pipeline.batches.specimens import SpecimenTest, Values
from pipeline.results.batches import Quantity
from pipeline.results.charts import Wander
from pipeline.results.precision import Component
from pipeline.results.rigs import Copied, Examined
from pipeline.wording import in_percent

STATE_SD, STATE_DF = 0.007, 4.0  # what the scatter between states is shrunk towards, and how firmly
MOVES: dict[Quantity, tuple[str, ...]] = {
    "mu": ("mu", "energy_ratio"),
    "bite": ("bite", "mu", "energy_ratio"),
}
STATES_APART = 0.5  # share of specimens in states of their own from which a pair is told of it
RATIO_APART = 0.015  # energy balances of two batches further apart than this put a caveat on the pair
ENERGY_APART = 0.10  # relative difference of energy per stop beyond which wear per stop is not like with like


class Known:
    """Known standard uncertainties of batch levels and differences, in mu."""

    def __init__(
        self,
        tests: list[SpecimenTest],
        values: Values,
        shifts: Sequence[Examined],
        wanders: Sequence[Wander] = (),
        state_sd: float | None = None,
    ) -> None:
        self.scale = float(np.mean(values.values)) if len(values.values) else 0.0
        used = set(values.specimens)
        self.tests = [test for test in tests if (test.batch, test.specimen) in used]
        self.shifts = shifts
        self.wanders = wanders
        self.sensors = _largest((t.epoch, max(t.sensor_u or 0.0, state_sd or 0.0)) for t in self.tests)
        self.brakes = _largest((t.rig, _rest(t.common_u, t.sensor_u)) for t in self.tests)

    def level(self, batch: str) -> float:
        """Of a batch's level: nothing cancels."""
        return self._u(_shares(self.tests, batch, "epoch"), _shares(self.tests, batch, "rig"))

    def pair(self, a: str, b: str) -> float:
        """Of the difference of two batches: what they share cancels; shifts found add."""
        states, rigs = (_apart(_shares(self.tests, a, by), _shares(self.tests, b, by)) for by in ("epoch", "rig"))
        moved = [
            (after_share(self.tests, a, shift) - after_share(self.tests, b, shift)) * (shift.shift_relative or 0.0)
            for shift in self.shifts
        ]
        wandered = [
            abs(
                (touched_share(self.tests, a, one.tests) - touched_share(self.tests, b, one.tests)) * one.shift_relative
            )
            for one in self.wanders
            if one.shift_relative is not None
        ]
        # one move of a rig shows in several of its charts: the largest stands for it
        moves = np.sqrt(sum(m**2 for m in moved) + max(wandered, default=0.0) ** 2)
        return float(np.hypot(self._u(states, rigs), self.scale * moves))

    def _u(self, states: dict[str, float], rigs: dict[str, float]) -> float:
        terms = [(share * self.sensors.get(state, 0.0)) ** 2 for state, share in states.items()]
        terms += [(share * self.brakes.get(rig, 0.0)) ** 2 for rig, share in rigs.items()]
        return self.scale * float(np.sqrt(sum(terms)))


def _largest(pairs: Iterable[tuple[str, float | None]]) -> dict[str, float]:
    found: dict[str, float] = {}
    for key, u in pairs:
        if u is not None:
            found[key] = max(found.get(key, 0.0), u)
    return found


def _rest(common: float | None, sensors: float | None) -> float | None:
    return None if common is None else float(np.sqrt(max(0.0, common**2 - (sensors or 0.0) ** 2)))


def _shares(tests: list[SpecimenTest], batch: str, by: str) -> dict[str, float]:
    """Share of the batch's specimens run in each calibration state, or on each rig."""
    places = {(t.specimen, getattr(t, by)) for t in tests if t.batch == batch}
    per_specimen = Counter(specimen for specimen, _ in places)
    shares: dict[str, float] = {}
    for specimen, place in places:
        shares[place] = shares.get(place, 0.0) + 1 / per_specimen[specimen] / len(per_specimen)
    return shares


def _apart(a: dict[str, float], b: dict[str, float]) -> dict[str, float]:
    return {key: a.get(key, 0.0) - b.get(key, 0.0) for key in {*a, *b}}


def state_scatter(component: Component) -> float:
    """Relative standard deviation between states of the rigs, as a comparison takes it."""
    value, df = (component.value, component.df) if component.value is not None and component.df else (0.0, 0.0)
    return float(np.sqrt((STATE_DF * STATE_SD**2 + df * value**2) / (STATE_DF + df)))


def after_share(tests: list[SpecimenTest], batch: str, shift: Examined) -> float:
    """Share of a batch's tests that a rig's shift touches."""
    return touched_share(tests, batch, shift.tests)


def touched_share(tests: list[SpecimenTest], batch: str, names: Sequence[str]) -> float:
    """Share of a batch's tests that are among the names."""
    own = [test for test in tests if test.batch == batch]
    touched = set(names)
    return sum(test.test in touched for test in own) / len(own) if own else 0.0


def caveat(
    a: str,
    b: str,
    tests: list[SpecimenTest],
    shifts: Sequence[Examined],
    copied: Sequence[Copied] = (),
    wanders: Sequence[Wander] = (),
    state_sd: float | None = None,
) -> str | None:
    """What to bear in mind with a pair, or None."""
    own = [test for test in tests if test.batch in (a, b)]
    texts = []
    for shift in shifts:
        share_a, share_b = after_share(tests, a, shift), after_share(tests, b, shift)
        if share_a > 0 or share_b > 0:
            texts.append(
                f"rig_shift: rig {shift.rig} shifted by {100 * (shift.shift_relative or 0.0):+.1f} % "
                f"on {shift.date}; it touches {in_percent(share_a)} of the tests of {a} and {in_percent(share_b)} of {b}"
            )
    for one in wanders:
        share_a, share_b = touched_share(tests, a, one.tests), touched_share(tests, b, one.tests)
        if share_a > 0 or share_b > 0:
            texts.append(
                f"rig_wanders: {one.text}; it touches {in_percent(share_a)} of the tests of {a} and {in_percent(share_b)} of {b}"
            )
    texts += _states(a, b, own, state_sd)
    rigs_a, rigs_b = ({t.rig for t in own if t.batch == x} for x in (a, b))
    if rigs_a != rigs_b:
        texts.append(f"run on different rigs ({', '.join(sorted(rigs_a))}; {', '.join(sorted(rigs_b))})")
    ratios = [_median([t.stops["energy_ratio"].drop_nulls() for t in own if t.batch == x]) for x in (a, b)]
    if None not in ratios and abs(ratios[0] - ratios[1]) > RATIO_APART:  # type: ignore[operator]
        texts.append(
            f"energy balance {ratios[0]:.3f} and {ratios[1]:.3f}: "
            "part of the difference may be the torque chain or the inertia"
        )
    energies = [[t.energy_per_stop_kj for t in own if t.batch == x and t.energy_per_stop_kj] for x in (a, b)]
    if all(energies):
        mean_a, mean_b = np.mean(energies[0]), np.mean(energies[1])
        if abs(mean_a - mean_b) > ENERGY_APART * (mean_a + mean_b) / 2:
            texts.append(
                f"wear of unlike programs ({mean_a:.0f} and {mean_b:.0f} kJ per stop), brought together by the wear "
                "law where one is identified"
            )
    cards = brakes.words(brakes.differences({t.test: t.brake for t in own if t.brake is not None}))
    texts += [cards] if cards else []
    names = {t.test for t in own}
    texts += [copied_words(item) for item in copied if names & {item.test, item.of}]
    summary = sorted(t.test for t in own if t.summary_only)
    if summary:
        texts.append(f"kept as summary only, reduced by an earlier method and not reprocessable: {', '.join(summary)}")
    return "; ".join(texts) or None


def _states(a: str, b: str, own: list[SpecimenTest], state_sd: float | None) -> list[str]:
    """That a step of the rig would look like a difference of the batches."""
    apart = _apart(_shares(own, a, "epoch"), _shares(own, b, "epoch"))
    away = sum(map(abs, apart.values())) / 2
    if state_sd is None or away < STATES_APART:
        return []
    u = state_sd * float(np.sqrt(sum(x * x for x in apart.values())))
    return [
        f"{in_percent(away)} of the specimens ran in states of the rig in which the other batch did not: a step there that nothing "
        f"found would pass for a difference, and is in the intervals of friction and bite with +-{200 * u:.1f} %; wear's "
        "do not allow for it"
    ]


def copied_words(item: Copied) -> str:
    """Two tests with recordings in common, in words."""
    text = f"{item.test} and {item.of} hold the same recordings ({item.stops} stops)"
    return text + (f", counted once as {item.of}" if item.whole else "")


def _median(parts: list[Any]) -> float | None:
    values = np.concatenate([np.asarray(p, float) for p in parts]) if parts else np.zeros(0)
    return float(np.median(values)) if len(values) else None
