"""The smallest program that finds a loss of friction after use below a power density: checks, gentle use, checks,
high-energy use, checks.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.archive.block import Block
from pipeline.archive.blocks import named_once
from pipeline.archive.card import Card
from pipeline.drift.repeatability import scatter_of
from pipeline.errors import InputError
from pipeline.planning import glaze
from pipeline.planning.archive import Archive
from pipeline.planning.components import CASES
from pipeline.planning.judged import Asked, hours_words, planned_table
from pipeline.planning.plan import Curve, Line, Plan
from pipeline.planning.sought import Sought, plan_of
from pipeline.wording import counted, in_percent

CHECKS = (4, 5, 6, 8, 10, 12, 16, 20, 30)  # stops of a check block tried for a loss of friction
USUAL_GENTLE, HARD_STOPS, USUAL_LOSS = 40, 8, 0.05


def of_glazing(archive: Archive, card: Card, sought: Sought, asked: Asked) -> Plan:
    """Check stops that find a loss of friction after gentle use below a power density."""
    if sought.below_w_mm2 is None:
        raise InputError('--question glazing needs --below, such as "1.5 W/mm2"')
    noise = scatter_of(archive.repeatability)
    below = sought.below_w_mm2
    loss = sought.loss if sought.loss is not None else archive.target.glazing_loss if archive.target else USUAL_LOSS
    question = f"does it glaze below {below:g} W/mm2: is a loss of {in_percent(loss)} found?"
    assumed = [hours_words(archive, card)]
    if noise is None:
        why = archive.repeatability.why or "no matched stops"
        return plan_of(archive, card, asked, question, dict.fromkeys(CASES), why,
                     undetermined=(f"glazing: undetermined, because the scatter of matched stops is not known: {why}",))  # fmt: skip
    gentle, told = _gentle_stops(archive, loss)
    assumed += told
    run = np.concatenate([t.stops["pressure_bar"].drop_nulls().to_numpy() for t in archive.tests])
    lowest = float(run.min()) if len(run) else 0.0
    found, planned, why = None, card, ""
    for count in CHECKS:
        planned = card.model_copy(update={"blocks": tuple(gentle_program(archive, card, below, gentle, count, asked))})
        found = glaze.foreseen(planned_table(archive, planned, asked), noise, archive.method.drift, asked.wanted)
        if found.loss is not None and found.loss <= loss and not found.lacking:
            break
        why = (
            found.why
            or f"with {count} stops a check block a loss of {in_percent(found.loss or 1, 1)} is the smallest found"
        )
    assert found is not None
    use = next(b for b in planned.blocks if b.name == "gentle use")
    if use.pressure is not None and use.pressure / 1e5 < 0.98 * lowest:
        assumed.append(
            f"the gentle use needs {use.pressure / 1e5:.1f} bar, below the {lowest:.1f} bar that the archive ran: friction, and "
            "so its power density, is taken from the curve at the reference pressure"
        )
    enough = found.loss is not None and found.loss <= loss
    lines = [
        Line("glazing_loss", f"smallest loss of friction found after {counted(found.gentle, 'gentle stop')} at "
             f"{found.power_w_mm2 or 0:.2g} W/mm2", "1", found.loss, None, found.why),
        Line("false_alarms", "share of healthy tests that raise an alarm, by the method", "1", found.false_alarms),
    ]  # fmt: skip
    curve = Curve("loss of friction found", "share of friction lost", "chance of an alarm",
                  tuple((x, y, None) for x, y in found.chance), asked.wanted)  # fmt: skip
    assumed.append(
        f"scatter of matched stops {in_percent(noise.sigma, 2)} ({noise.dof:.0f} degrees of freedom), drawn from what is known of it; "
        "a specimen answers for itself, a second one says whether the batch does it"
    )
    open_ = [f"to call a loss glazing-like the program lacks: {text}" for text in found.lacking]
    if not enough and found.why:
        open_.append(f"glazing below {below:g} W/mm2: undetermined, because {found.why}")
    return plan_of(
        archive, planned, asked, question, dict.fromkeys(CASES, 1 if enough else None), why, lines=tuple(lines),
        assumed=tuple(assumed), undetermined=tuple(open_), curves=(curve,) if found.chance else (),
    )  # fmt: skip


def _gentle_stops(archive: Archive, loss: float) -> tuple[int, list[str]]:
    """Gentle stops for the loss to grow: by the growth that the archive saw, else a usual number, and in words."""
    limit = archive.friction.glaze_limit
    known = limit.stops.value if limit and limit.stops else None
    least = archive.method.drift.least_exposure
    if known is None or limit is None or limit.stops is None:
        return USUAL_GENTLE, [
            f"how many gentle stops a glaze needs to grow on this compound is not known (no test of it shows one): "
            f"{USUAL_GENTLE} are planned; a slower glaze is not excluded by this program"
        ]
    high = limit.stops.high or known
    count = max(round(high * loss / 0.03), least)
    return count, [
        f"a glaze of the archive lost 3 % in {known:.0f} gentle stops ({limit.stops.low or 0:.0f} to {high:.0f}): "
        f"{count} are planned, by the slower end, growing in proportion"
    ]


def gentle_program(archive: Archive, card: Card, below: float, gentle: int, count: int, asked: Asked) -> list[Block]:
    """Bedding, checks, gentle use under `below` W/mm2, checks, high-energy use, checks; blocks after the card's own."""
    beds = [b for b in card.blocks if b.purpose == "bedding"]
    checks = [b for b in card.blocks if b.purpose == "check"]
    if not checks:
        raise InputError(f"{card.test}: its program has no check block to take for the planned checks")
    check = checks[0].model_copy(update={"stops": count, "pause_before": None})
    stops = planned_table(archive, card, asked)
    mean = pl.col("power_density_w_mm2").mean()
    power = {name: float(p or 0.0) for name, p in stops.group_by("block").agg(mean).iter_rows()}
    used = [b for b in card.blocks if b.purpose in ("duty", "fade") and b.kind != "drag"]
    mildest = min((b for b in used if b.purpose == "duty"), key=lambda b: power[b.name], default=checks[0])
    hardest = max(used, key=lambda b: power[b.name], default=checks[0])
    wanted = 0.9 * below / power[mildest.name]
    pressure = max(round((mildest.pressure or check.pressure or 25e5) * wanted / 1e4), 1) * 1e4  # to 0.1 bar
    low = mildest.model_copy(
        update={"name": "gentle use", "purpose": "duty", "kind": mildest.kind, "stops": gentle, "pressure": pressure,
                "control": "pressure", "torque": None, "deceleration": None, "pause_before": None}
    )  # fmt: skip
    hard = hardest.model_copy(
        update={"name": "high-energy use", "purpose": "duty", "stops": HARD_STOPS, "pause_before": None}
    )
    return named_once([*beds, check, low, check, hard, check])
