"""The oxidation law from the stops alone held against soaks without a stop.

In a soak the temperature is known and nothing rubs; the law that the stops give rests on a modelled face temperature and on the
parting of rubbing from burning. So the two are independent witnesses. They disagree where the difference of the read and the
foreseen loss is beyond 2.6 of its standard uncertainties (normal, two-sided 1 %), those of the reading and of the law together.
"""

from __future__ import annotations

import numpy as np

from pipeline.findings import Finding, finding
from pipeline.method.wear import Wear
from pipeline.wear.components import Component, spoken
from pipeline.wear.exposure import interval_groups
from pipeline.wear.intervals import Intervals
from pipeline.wear.measured import kinds_of
from pipeline.wear.of_stops import ExposureOfTest
from pipeline.wear.predict import wear_by_stop
from pipeline.wear.rates import soaked_intervals
from pipeline.wear.result import constants_of, model_entry, own_choice
from pipeline.wear.rows import soaked

APART = 2.6


def soak_findings(measured: Intervals, part: Component, test: ExposureOfTest, settings: Wear) -> list[Finding]:
    """One finding for each soak whose reading the law from the stops does not foresee; none without such a law."""
    soaks = soaked_intervals(measured, test)
    groups = interval_groups(test.run_number, measured.from_stop, measured.to_stop)
    usable = test.usable(groups, measured.to_stop) & ~soaks
    if not soaks.any() or not usable.any():
        return []
    constants = constants_of(part, settings)
    choice = own_choice(measured, usable, groups, test, constants, settings)
    law = next((c for c in choice.candidates if c.name == choice.chosen and c.identified), None)
    if law is None or law.name != "oxidation":
        return []
    kinds, _ = kinds_of(groups[usable], test.block, test.purpose)
    entry = model_entry(law, constants, test, part, measured, usable, kinds, True, settings.confidence)
    loss, draws = wear_by_stop(entry, test.stops)
    found = []
    for k in np.flatnonzero(soaks):
        foreseen, sd = float(groups[k] @ loss), float((draws @ groups[k]).std())
        u = float(np.hypot(measured.u[k], sd))
        off = float(measured.wear[k]) - foreseen
        if abs(off) <= APART * u:
            continue
        of = soaked(test, groups[k] > 0)
        message = (
            f"{spoken(part.name)}: {of['dwell_h']:.3g} h at {of['dwell_c']:.0f} °C without a stop took {measured.wear[k]:.1f} um "
            f"(u {measured.u[k]:.1f}); the oxidation law from the stops alone foresees {foreseen:.1f} um (u {sd:.1f})"
        )
        evidence = {"part": part.name, "wear_um": float(measured.wear[k]), "foreseen_um": foreseen, "u_um": u, **of}
        found.append(finding("oxidation_soak_off", message, evidence=evidence))
    return found
