"""The cooling opening from closed to full: what each does, and the one that serves several duties."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.archive.duties import DutyCycle
from pipeline.constants import ZERO_C
from pipeline.duty.cycle import Events
from pipeline.duty.limits import Run
from pipeline.duty.lives import over_distance
from pipeline.duty.project import Brake, components_told, glazing_share, support, window_share
from pipeline.duty.support import Braked, braked
from pipeline.results.duty import DutyProjection, Span, SweepRow
from pipeline.tested.told import in_words

GRID = np.round(np.linspace(0, 1, 41) ** 1.5, 6)  # a closed duct is the more sensitive end
SHOWN = 2  # every second opening of the grid is written out with its wear


def rows(duty: DutyCycle, events: Events, found: Run, brake: Brake, brakings: Braked | None = None) -> list[SweepRow]:
    """One row per shown opening of the grid: temperatures and shares of the settled cycle, wear, life and loss by glazing of a use.

    found: the duty run at the grid's openings, perhaps others after them; brakings: at the grid's openings (None: without a map).
    """
    assert found.stops is not None and found.told is not None
    settled, table, area = found.settled, [], brake.rubbing.friction_area
    known = brakings or braked(duty, events, settled, brake.temperature_kind, range(len(GRID)), brake.known, area)
    low, high = settled.lowest() - ZERO_C, settled.highest() - ZERO_C
    inside, gentle = window_share(settled, events, brake), glazing_share(settled, events, brake)
    for k in range(0, len(GRID), SHOWN):
        stops, of = found.stops[k], found.told[k]
        km, pooled = (over_distance(one, duty.length) for one in (of.life, of.pooled.cycles))
        stands = support(known, k, settled, brake, stops, k, components_told(of, brake))
        one, several = found.losses.at(k, brake.glazing_loss)
        table.append(
            SweepRow(
                opening=float(found.opening[k]),
                temperature_low_c=float(low[k]),
                temperature_high_c=float(high[k]),
                window_share=None if inside is None else float(inside[k]),
                glazing_share=None if gentle is None else float(gentle[k]),
                wear_um_per_cycle=of.pooled.wear,
                life_km=km.value,
                life_km_low=km.low,
                life_of=of.of.batch if of.of else None,
                pooled_life_km=pooled.value if brake.batches else None,
                glazing_loss=one,
                glazing_loss_three_uses=several,
                window_share_tested=stands.window_share_tested,
                extrapolated=[in_words(entry) for entry in stands.extrapolations],
            )
        )
    return table


def common(duties: Sequence[DutyProjection]) -> tuple[Span | None, str | None]:
    """One opening for all duties, or why there is none."""
    spans = [(one.duty, one.opening_to_run) for one in duties if one.opening_to_run is not None]
    lacking = [one.duty for one in duties if one.opening_to_run is None]
    if lacking:
        return None, f"no opening to run on {', '.join(lacking)}"
    low, high = max(span.low for _, span in spans), min(span.high for _, span in spans)
    if low > high:
        said = "; ".join(f"{one.duty} {one.opening_words}" for one in duties)
        return None, f"the duties' openings do not overlap: {said}"
    return Span(low=low, high=high), None
