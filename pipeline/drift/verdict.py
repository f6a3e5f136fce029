"""The verdict from the evidence: each rule in one place, nothing confident without its grounds.

sensor        the energy ratio moved with friction, or the recorded pressure left rest, schedule or second sensor
glazing-like  a fall after low-energy use, torque chain and pressure steady, that high-energy stops brought back,
              or (not tested) that grew with that use
undetermined  everything else that changed: a step, a missing energy ratio, a fall that hard use did not bring back
"""

from typing import NamedTuple

from pipeline.drift.recovery import Recovery
from pipeline.results.drift import Item, Verdict

PRECEDENCE: tuple[Verdict, ...] = ("sensor", "glazing-like", "moisture", "bedding-in", "fade", "undetermined")

NEXT = {
    "recovery": "run high-energy stops and then the matched check: a glaze comes back, a sensor or "
    "contamination does not",
    "pressure": "record a second pressure sensor, or the pressure at rest and a slow ramp, to exclude a pressure drift",
    "torque": "record the energy balance (shaft speed, inertia, drive torque), to exclude a drift of the torque chain",
    "checks": "put a matched check after every 20 to 30 stops of use, to see whether the loss grows with it",
    "wear": "inspect and weigh the specimen: contamination or damage shows in wear and on the surface",
    "idle": "let the clock run through, or say pause_before, so that moisture can be told from the rest",
}


class Judgement(NamedTuple):
    """Verdict of one change, what it does not exclude and what to record next time."""

    verdict: Verdict
    not_excluded: list[str]
    record_next: list[str]
    why: str


def judge_fall(items: dict[str, Item], recovery: Recovery) -> Judgement:
    """Verdict of a fall of friction at matched conditions."""
    sensor = _sensor(items)
    if sensor:
        return sensor
    torque = items["energy_ratio"]
    if torque.answer != "steady":
        return _undetermined(items, recovery, torque.words, ["torque"])
    unclear = [n for n in ("pressure_rest", "pressure_level", "pressure_second") if items[n].answer == "unclear"]
    if unclear and recovery.recovered is not True:
        return _undetermined(items, recovery, items[unclear[0]].words, ["pressure"])
    if items["exposure"].answer != "yes":
        return _undetermined(items, recovery, "no low-energy use came before the fall", ["checks"])
    if recovery.by_itself:
        return _undetermined(
            items, recovery, "friction came back without high-energy use, as a glaze does not", ["idle"]
        )
    if recovery.failed:
        return _undetermined(items, recovery, "high-energy stops did not bring friction back", ["wear"])
    if recovery.recovered or (recovery.partly and items["growth"].answer != "no"):
        return Judgement("glazing-like", _not_excluded(items, recovery), [], "high-energy stops brought friction back")
    if recovery.recovered is False and not (recovery.likely and items["growth"].answer == "yes"):
        return _undetermined(items, recovery, "whether high-energy stops brought friction back is not clear", ["wear"])
    if items["growth"].answer == "yes":
        return Judgement(
            "glazing-like",
            _not_excluded(items, recovery),
            [NEXT["recovery"], NEXT["pressure"]],
            "the fall grew with low-energy use",
        )
    return _undetermined(items, recovery, items["growth"].words, ["checks"])


def judge_rise(items: dict[str, Item]) -> Judgement:
    """Verdict of a rise of friction at matched conditions that bedding does not explain."""
    sensor = _sensor(items)
    if sensor:
        return sensor
    return Judgement(
        "undetermined",
        ["pressure gain", "a change of the surface"],
        [NEXT["pressure"]],
        "friction rose at matched conditions and no recorded channel says why",
    )


def _sensor(items: dict[str, Item]) -> Judgement | None:
    moved = [
        n for n in ("energy_ratio", "pressure_rest", "pressure_level", "pressure_second") if items[n].answer == "moved"
    ]
    if not moved:
        return None
    return Judgement("sensor", [], ["calibrate the chain that moved"], items[moved[0]].words)


def _undetermined(items: dict[str, Item], recovery: Recovery, why: str, lacking: list[str]) -> Judgement:
    wanted = [NEXT[key] for key in lacking]
    if recovery.recovered is None:
        wanted.append(NEXT["recovery"])
    if "pressure" not in lacking and items["pressure_second"].answer == "missing":
        wanted.append(NEXT["pressure"])
    causes = ["glazing"] if items["exposure"].answer == "yes" else []
    return Judgement("undetermined", causes + _not_excluded(items, recovery), wanted, why)


def _not_excluded(items: dict[str, Item], recovery: Recovery) -> list[str]:
    causes = []
    if items["energy_ratio"].answer != "steady":
        causes.append("torque gain")
    if recovery.recovered is not True and items["pressure_second"].answer != "steady":
        causes.append("pressure gain")
    if items["pressure_rest"].answer in ("missing", "unclear"):
        causes.append("pressure offset")
    if recovery.recovered is False:
        causes.append("contamination or damage")
    return causes


def first_in_precedence(verdicts: list[Verdict]) -> tuple[Verdict, list[Verdict]]:
    """The verdict that counts and the others, each once."""
    once = sorted(set(verdicts), key=PRECEDENCE.index)
    return (once[0], once[1:]) if once else ("none", [])
