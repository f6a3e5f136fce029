"""Whether friction came back after high-energy stops, as a glaze does and a sensor does not."""

from typing import NamedTuple

import numpy as np

from pipeline.drift.change import Change
from pipeline.drift.contrast import Levels
from pipeline.drift.regain import clearing_stops
from pipeline.drift.series import Series
from pipeline.method.drift import Drift
from pipeline.results.drift import Item
from pipeline.results.model import renewed
from pipeline.wording import counted


class Recovery(NamedTuple):
    """Recovery test: its evidence; recovered or not, None untested; whether the return clearly failed, clearly came in
    part, or is more likely than not; whether the level came back by itself."""

    item: Item
    recovered: bool | None
    failed: bool
    partly: bool
    likely: bool
    by_itself: bool = False


def recovered(s: Series, change: Change, levels: Levels | None, settings: Drift, mu_before: float) -> Recovery:
    """Whether high-energy stops brought the level back."""
    if change.cut is None:
        return _untested("no high-energy stops after it to tell")
    after = levels.difference("after", "before", settings.confidence) if levels else None
    regained = levels.difference("after", "fallen", settings.confidence) if levels else None
    lost = levels.difference("fallen", "before", settings.confidence) if levels else None
    if after is None or regained is None or lost is None:
        return _untested("high-energy stops followed, but no check at matched conditions after them")
    hard = clearing_stops(s, change)
    count, power = int(hard.sum()), float(np.nanmin(s.power[hard])) if np.isfinite(s.power[hard]).any() else np.nan
    share = regained.value / -lost.value if lost.value < 0 else 0.0
    level = float(np.exp(after.value))
    clear = regained.low > 0
    recovered = bool(level >= settings.recovered_share and share >= 0.5 and clear)
    failed = bool(not recovered and regained.high < -0.5 * lost.value)
    back = mu_before * (1 - level)
    words = (
        f"after {counted(count, 'stop')} above {power:.2g} W/mm2 of pad friction at the check is {100 * level:.1f} % of the "
        "level before"
        f" ({'within' if back < 0.01 else 'short by'} {abs(back):.3f}), {100 * share:.0f} % of the loss regained"
        f" ({100 * regained.low / -lost.value:.0f} to {100 * regained.high / -lost.value:.0f} %)"
        if lost.value < 0
        else "there was no loss to regain"
    )
    shown = Item(
        answer="yes" if recovered else "no" if failed else "unclear",
        value=level,
        low=np.exp(after.low),
        high=np.exp(after.high),
        threshold=settings.recovered_share,
        unit="share",
        words=words,
    )
    if not change.by_use:
        words = (
            f"friction came back to {100 * level:.1f} % of the level before without harder or hotter use than "
            "the checks"
        )
        return Recovery(
            renewed(shown, answer="by itself", words=words),
            recovered=None,
            failed=False,
            partly=False,
            likely=False,
            by_itself=True,
        )
    return Recovery(shown, recovered, failed, partly=clear and share >= 0.3, likely=share >= 0.5)


def _untested(why: str) -> Recovery:
    item = Item(answer="untested", unit="share", words=why)
    return Recovery(item, recovered=None, failed=False, partly=False, likely=False)
