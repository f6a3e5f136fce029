"""The log of the vehicle that a settling test asks for, where the duty's heat leaves more open than its thermometers would.

A film may grow at the lower end of what is known of the brakings' temperatures, so an opening is free only where a use as cold as
that is harmless. No run on the rig narrows that interval: it is the vehicle's cooling and the disc's share of the heat. Levels that the
disc reaches in the duty tell their ratio (`pipeline.duty.driven`), as well as disc thermocouple and air are known,

    dT = sqrt(u_couple^2 + u_air^2 + (3 % dT/dln f)^2 / n)        over n uses, at the opening to be tested

with dT/dln f the answer of the brakings' start to a factor on convection. The thermocouple is asked for with it: the 5 K of one that
nobody has looked at would be most of what is left open, and 3 K as limits can be had of one that was held against a reference in the
disc, evenly warm (class 1 of type K by IEC 60584-1:2013 is 1.5 K, from 375 C on 0.4 % of the temperature, from memory; the rest for its
place: common practice). Uses are as many that the last term is at most half of the others, six at most. The log comes first: with it
the test is named anew, at temperatures that are known.
"""

from __future__ import annotations

import numpy as np

from pipeline.constants import ZERO_C, normal_reach
from pipeline.duty.cycle import Air
from pipeline.duty.driven import DRIVES_U, LEAST_EXCESS_K, LOGGED_AIR_U_K, WIDEST_U
from pipeline.duty.limits import Run
from pipeline.duty.project import Brake
from pipeline.results.model import renewed
from pipeline.results.openings import SettlingLog, SettlingTest
from pipeline.wording import in_percent

FEWEST_USES, MOST_USES = 2, 6
PAYS = 1.5  # times what is known with the log, from which on it is asked for
SAMPLING_HZ = 1.0
COUPLE_K = 3.0  # limits of the error of the disc thermocouple that is asked for, as installed
LINE = 110  # characters of the block list's comment


def with_log(test: SettlingTest, found: Run, brake: Brake, air: Air, cooling_u: float) -> SettlingTest:
    """The test with the log that is to come before it, in its words and its blocks; as it is where none would help.

    cooling_u: standard uncertainty of the logarithm of the duty's convection, by which the nodes of `found` were run.
    """
    asked = _log(test, found, brake, air, cooling_u)
    if asked is None:
        return test
    said = "".join(f"# {line}\n" for line in _lines(asked.text))
    return renewed(test, log=asked, text=f"{test.text}; {asked.text}", blocks=said + test.blocks)


def _log(test: SettlingTest, found: Run, brake: Brake, air: Air, cooling_u: float) -> SettlingLog | None:
    k, losses = int(np.abs(found.opening - test.opening).argmin()), found.losses
    if "cooling" not in found.settled.nodes or cooling_u <= 0 or losses.heat[k] <= 1.0:
        return None
    energy = np.repeat(losses.use.times, len(losses.use.energy)) * np.tile(losses.use.energy, len(losses.use.times))
    start, colder = (np.average(x[..., k].ravel(), weights=energy) for x in (losses.use.temperature, losses.use.colder))
    z, rig = normal_reach(brake.confidence), brake.known_input("thermocouple")
    of_rig = 0.0 if rig is None else rig.u
    by_heat = float(np.sqrt(max(((start - colder) / z) ** 2 - of_rig**2, 0.0)))
    low, high = (float(one.braking[:, 0, k].mean()) for one in found.settled.nodes["cooling"])
    answer = abs(high - low) / (2 * 3**0.5 * cooling_u)  # K per unit of the logarithm
    level = float(np.hypot(COUPLE_K / 3**0.5, LOGGED_AIR_U_K))
    uses = next((n for n in range(FEWEST_USES, MOST_USES) if answer * DRIVES_U / n**0.5 <= level / 2), MOST_USES)
    known = float(np.hypot(level, answer * DRIVES_U / uses**0.5))
    excess = float(start) + ZERO_C - air.ambient
    if by_heat < PAYS * known or excess < LEAST_EXCESS_K or known > WIDEST_U * answer:
        return None
    now, then = (z * float(np.hypot(one, of_rig)) for one in (by_heat, known))
    text = (
        f"before it: log of {uses} uses of the duty on its vehicle at opening {test.opening:.2f}, each from a cold disc, with the disc temperature "
        f"and the air's at {SAMPLING_HZ:g} Hz or faster beside the speed, the disc's thermocouple held against a reference in the evenly warm disc and known "
        f"to within {COUPLE_K:g} K as installed (in the file: thermocouple: {COUPLE_K:g} K), which tells the cooling to about {in_percent(known / answer)} and, as its levels go by "
        f"the ratio of heat share and cooling, where the duty's brakings begin to within {then:.0f} K instead of {now:.0f} K; with it in the "
        "duty's file (cooling_log) this test is named anew, at the temperatures then known"
    )
    return SettlingLog(
        opening=test.opening,
        uses=uses,
        sampling_hz=SAMPLING_HZ,
        thermocouple_k=COUPLE_K,
        cooling_u=known / answer,
        within_now_k=now,
        within_k=then,
        text=text,
    )


def _lines(text: str) -> list[str]:
    """The text in lines of a comment."""
    found = [""]
    for word in text.split():
        if len(found[-1]) + len(word) >= LINE:
            found.append("")
        found[-1] = f"{found[-1]} {word}".strip()
    return found
