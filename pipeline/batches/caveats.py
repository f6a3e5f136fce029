"""What the comparison of two batches rests on beside their specimens: calibration states and shifts of the
rigs.

A calibration error is common to all stops of a rig in one state (between two dated events) and cancels in the
difference of two batches run there. Where batches were run in different states it does not cancel:

    u^2 = sum over states r of (share of a in r - share of b in r)^2 (mu u_r)^2

with u_r the relative common uncertainty of mu. A shift of a rig found at an event adds its size, weighed by
the difference of the batches' shares after the event, as a further standard uncertainty: it is known to be
there and not corrected.
"""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np

from pipeline.batches.specimens import SpecimenTest, Values

RATIO_APART = 0.015  # energy balances of two batches further apart than this put a caveat on the pair
ENERGY_APART = 0.10  # relative difference of energy per stop beyond which wear per stop is not like with like


class Known:
    """Known standard uncertainties of batch levels and differences, in mu."""

    def __init__(self, tests: list[SpecimenTest], values: Values, shifts: list[dict[str, Any]]) -> None:
        self.scale = float(np.mean(values.values)) if len(values.values) else 0.0
        used = set(values.specimens)
        self.tests = [test for test in tests if (test.batch, test.specimen) in used]
        self.shifts = shifts
        self.state_u: dict[str, float] = {}
        for test in self.tests:
            if test.common_u is not None:
                self.state_u[test.epoch] = max(self.state_u.get(test.epoch, 0.0), test.common_u)

    def _shares(self, batch: str) -> dict[str, float]:
        """Share of the batch's specimens run in each calibration state."""
        specimens = {(t.specimen, t.epoch) for t in self.tests if t.batch == batch}
        per_specimen = Counter(specimen for specimen, _ in specimens)
        shares: dict[str, float] = {}
        for specimen, epoch in specimens:
            shares[epoch] = shares.get(epoch, 0.0) + 1 / per_specimen[specimen] / len(per_specimen)
        return shares

    def level(self, batch: str) -> float:
        shares = self._shares(batch)
        return self.scale * float(np.sqrt(sum((share * self.state_u.get(e, 0.0)) ** 2 for e, share in shares.items())))

    def pair(self, a: str, b: str) -> float:
        shares_a, shares_b = self._shares(a), self._shares(b)
        terms = [
            ((shares_a.get(e, 0.0) - shares_b.get(e, 0.0)) * self.state_u.get(e, 0.0)) ** 2
            for e in {*shares_a, *shares_b}
        ]
        for shift in self.shifts:
            apart = after_share(self.tests, a, shift) - after_share(self.tests, b, shift)
            terms.append((apart * shift["shift_relative"]) ** 2)
        return self.scale * float(np.sqrt(sum(terms)))


def after_share(tests: list[SpecimenTest], batch: str, shift: dict[str, Any]) -> float:
    """Share of a batch's tests that a rig's shift touches."""
    own = [test for test in tests if test.batch == batch]
    touched = set(shift["tests"])
    return sum(test.test in touched for test in own) / len(own) if own else 0.0


def caveat(a: str, b: str, tests: list[SpecimenTest], shifts: list[dict[str, Any]]) -> str | None:
    """What to bear in mind with a pair, or None."""
    own = [test for test in tests if test.batch in (a, b)]
    texts = []
    for shift in shifts:
        share_a, share_b = after_share(tests, a, shift), after_share(tests, b, shift)
        if share_a > 0 or share_b > 0:
            texts.append(
                f"rig_shift: rig {shift['rig']} shifted by {100 * shift['shift_relative']:+.1f} % "
                f"on {shift['date']}; it touches {share_a:.0%} of the tests of {a} and {share_b:.0%} of {b}"
            )
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
                "law where one was chosen"
            )
    summary = sorted(t.test for t in own if t.summary_only)
    if summary:
        texts.append(f"kept as summary only, reduced by an earlier method and not reprocessable: {', '.join(summary)}")
    return "; ".join(texts) or None


def _median(parts: list[Any]) -> float | None:
    values = np.concatenate([np.asarray(p, float) for p in parts]) if parts else np.zeros(0)
    return float(np.median(values)) if len(values) else None
