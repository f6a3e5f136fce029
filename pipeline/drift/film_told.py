"""What the tests show of a compound's film, as friction.json has it: alike uses with their growth, what cleared, in words.

A use is called harmless where its growth, by the upper end of its interval, would take `STOPS` stops like its own to lose what the
target accepts. Power density and temperature are confounded where no pair of a use that glazed and a harmless one tells the two
apart: one as cold and harder, or colder and harder (power alone does it), and one as gentle and warmer, or gentler and warmer.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.constants import Array
from pipeline.drift.film import ALIKE_K, ALIKE_POWER, Film, Use
from pipeline.results.film import FilmCleared, FilmEvidence, FilmUse, Shown
from pipeline.results.model import Interval
from pipeline.wording import counted, in_percent

STOPS = 100


def evidence(film: Film, wanted: float) -> FilmEvidence:
    """All evidence of the film; wanted: share of mu that the target accepts to lose."""
    rate = -float(np.log1p(-wanted)) / STOPS
    rows = [_row(group, film, rate) for group in film.groups]
    cleared = [
        FilmCleared(
            test=one.test,
            stops=one.stops,
            temperature_c=one.temperature,
            power_density_w_mm2=one.power,
            regained=Interval(value=one.regained[0], low=one.regained[1], high=one.regained[2]),
        )
        for one in film.cleared
    ]
    told = confounded(rows)
    return FilmEvidence(
        uses=rows,
        cleared=cleared,
        rate_that_matters_per_stop=rate,
        confounded=told,
        words=_words(rows, told, wanted),
    )


def _row(group: Sequence[Use], film: Film, rate: float) -> FilmUse:
    power, temperature = (np.concatenate([getattr(use, name) for use in group]) for name in ("power", "temperature"))
    energy = np.concatenate([use.energy for use in group])
    amount, loss, u = (np.array([getattr(use, name) for use in group]) for name in ("amount", "loss", "u"))
    weight = amount**2 / u**2
    per_j = float((amount * loss / u**2).sum() / weight.sum()) if weight.sum() > 0 else 0.0
    spread = film.z / float(np.sqrt(weight.sum())) if weight.sum() > 0 else np.inf
    mean = float(np.nanmean(energy)) if np.isfinite(energy).any() else np.nan
    glazed = any(use.glazed for use in group)
    shown: Shown = "glazed" if glazed else "harmless" if (per_j + spread) * mean <= rate else "nothing shown"
    return FilmUse(
        tests=sorted({use.test for use in group}),
        stretches=sum(use.stretches for use in group),
        stops=len(power),
        temperature_c=_middle(temperature),
        power_density_w_mm2=_middle(power),
        energy_density_j_mm2=mean,
        loss_per_stop=Interval(value=per_j * mean, low=(per_j - spread) * mean, high=(per_j + spread) * mean),
        loss_per_j_mm2=Interval(value=per_j, low=per_j - spread, high=per_j + spread),
        shown=shown,
    )


def _middle(values: Array) -> Interval:
    low, middle, high = (float(x) for x in np.quantile(values, [0.05, 0.5, 0.95]))
    return Interval(value=middle, low=low, high=high)


def confounded(rows: Sequence[FilmUse]) -> bool | None:
    """Whether power density and temperature were only varied together between what glazed and what was harmless."""
    glazed, harmless = ([row for row in rows if row.shown == kind] for kind in ("glazed", "harmless"))
    if not glazed or not harmless:
        return None

    def ends(one: FilmUse) -> tuple[float, float]:
        return one.power_density_w_mm2.high or 0.0, one.temperature_c.high or 0.0

    def middle(one: FilmUse) -> tuple[float, float]:
        return one.power_density_w_mm2.value or 0.0, one.temperature_c.value or 0.0

    pairs = [(ends(g), middle(h)) for g in glazed for h in harmless]
    by_power = any(h[1] <= g[1] + ALIKE_K and h[0] > g[0] for g, h in pairs)
    by_temperature = any(h[0] <= g[0] * ALIKE_POWER and h[1] > g[1] for g, h in pairs)
    return not (by_power or by_temperature)


def _words(rows: Sequence[FilmUse], told: bool | None, wanted: float) -> list[str]:
    said = []
    for kind, words in (
        ("glazed", "glazed"),
        ("harmless", f"did not glaze (less than {in_percent(wanted)} over {STOPS} stops, by the upper end)"),
        ("nothing shown", "told neither, being too short for its checks"),
    ):
        own = [_place(row) for row in rows if row.shown == kind]
        if own:
            said.append(f"{words}: {'; '.join(own)}")
    if told:
        said.append(
            "varied power density and temperature only together between what glazed and what was harmless: which of the two matters "
            "is not told"
        )
    if not rows:
        said.append("was not run: nothing is known of a film")
    return said


def _place(row: FilmUse) -> str:
    power, temperature = row.power_density_w_mm2, row.temperature_c
    return f"{counted(row.stops, 'stop')} at {power.value:.2g} W/mm2 starting at {temperature.value:.0f} °C ({', '.join(row.tests)})"
