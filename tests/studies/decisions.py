"""What is decided from tests, against the truth: invented compounds through laws, life and opening to run.

    python -m tests.studies.decisions [--count 300] [--wide 60] [--seed 1] [--records FILE] [--carry FILE] [--processes 2] [--write]

Each compound (`decision_compounds`) is run on its rig (`decision_tests`) by a world that shares nothing with what is judged
(`decision_world`); its stops, readings and cards go through the project's drift analysis, wear laws of the compound and duty
projection, and the answers are held against the duty as it truly goes, to the end of life (`decision_use`):

    Ea and life    whether their 95 % intervals hold the truth: of the batch that `life_of` names, else of the batches' mean
    opening        whether one recommended without reservation truly loses more mu over one use than the target accepts
    named test     whether the test that a reserved answer names settles it, once run and given back; where it asks for a log of the vehicle
                   before it, with that log (`decision_log`) and the test that is named then

`--wide` compounds more have twice the uncertainty of what cards and duties do not state exactly. Results are kept line by line in
FILE, so that a run which was broken off goes on. Where only the named test changed, --carry takes over an earlier run's records whose
answer named none; those that are run anew must give the first answers that they gave then. With --write the figures go to docs/decisions_study.md.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import yaml

from pipeline.archive.duties import DutyCycle
from pipeline.batches.wear_parts import WearParts
from pipeline.drift.analysis import analyse
from pipeline.drift.compound import glaze_limit
from pipeline.drift.film_of_tests import film_of
from pipeline.drift.noise import Repeatability
from pipeline.duty.projections import Recorded, project_all
from pipeline.friction.friction_class import friction_class
from pipeline.inputs.model import parse
from pipeline.method import Method
from pipeline.method import drift as method_drift
from pipeline.method import duty as method_duty
from pipeline.method import wear as method_wear
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.drift import OfStops
from pipeline.results.duty import DutyProjection
from pipeline.results.friction_map import CurvePoint, EndInterval, Window
from pipeline.results.openings import SettlingLog, SettlingTest
from pipeline.results.wear import CompoundWear
from pipeline.wear.compound import of_compound
from pipeline.wear.members import WearRecord
from tests.studies.decision_compounds import Compound, Duty, draw
from tests.studies.decision_log import drive_of
from tests.studies.decision_tests import Run, card_of, program_of, readings_of, run, stops_of, traces_of
from tests.studies.decision_use import GRID, Use, life, used

METHOD = Method()
END_SD_K = 4.0  # of the window's ends, as a map of so many stops knows them
LOSS_WANTED, SHARE_WANTED = 0.05, METHOD.duty.window_share
RATIO = (0.8, 1.25)  # of wear, in which batches are equivalent
GLAZED, HARMLESS = 0.03, 0.01  # true loss of a gentle block of the tests
REVISIONS = f"wear {method_wear.REVISION}, drift {method_drift.REVISION}, duty {method_duty.REVISION}"
Record = dict[str, Any]


def friction_of(of: Compound, drifts: dict[str, OfStops], rng: np.random.Generator) -> CompoundFriction:
    """The compound's friction with its window as well known as a map would: a fit would take most of the time and is judged elsewhere."""
    half = 1.96 * END_SD_K
    low, high = np.array(of.window_c) + rng.normal(0, END_SD_K, 2)
    celsius = np.arange(40.0, 721.0, 20.0)
    mu = of.mu(celsius)
    band = 1.7 * of.scatter
    window = Window(
        low_c=low, high_c=high, low_limited_by="band", high_limited_by="band", low_why="", high_why="",
        low_interval_c=EndInterval(low=low - half, high=low + half), high_interval_c=EndInterval(low=high - half, high=high + half),
        mu_mean=of.level, mu_low=of.level, mu_high=of.level, mu_class=friction_class(of.level), confidence=0.95, coverage=0.9,
    )  # fmt: skip
    return CompoundFriction(
        compound="Invented", window=window, glaze_limit=glaze_limit(drifts),
        curve=[
            CurvePoint(temperature_c=t, mu=m, low=m * 0.99, high=m * 1.01, tolerance_low=m * (1 - band),
                       tolerance_high=m * (1 + band), stretch=1, stops_near=12, thin=False, u_curve=0.005 * m, u_common=0.004 * m,
                       scatter=of.scatter * m, dof_mean=60.0, dof_scatter=60.0, tolerance_factor=1.7, inside_wanted="yes" if low <= t <= high else "no")
            for t, m in zip(celsius.tolist(), mu.tolist(), strict=True)
        ],
    )  # fmt: skip


def duty_of(duty: Duty) -> DutyCycle:
    """As its file would say it."""
    return parse(file_of(duty), DutyCycle, f"{duty.name}.yaml")


def file_of(duty: Duty) -> Record:
    """The content of its file."""
    return {
        "duty": duty.name, "vehicle_mass": f"{duty.vehicle_mass:.8g} kg", "brake_share": f"{duty.brake_share:.8g}",
        "rolling_radius": f"{duty.rolling_radius:g} m", "length": f"{duty.length:g} m", "cycles": str(duty.cycles),
        "ambient": f"{duty.ambient_c:.8g} degC", "use": duty.use,
        "cooling": {"h0": f"{duty.h0:.8g} W/K", "h1": f"{duty.h1:.8g}", "opening": f"{duty.opening:.8g}"},
        "events": [
            {"from": f"{e.first:.8g} km/h", "to": f"{e.last:.8g} km/h", "brake_time": f"{e.seconds:.8g} s",
             "then": f"{e.then:.8g} s", "at": f"{e.at:.8g} km/h"}
            for e in duty.events
        ],
    }  # fmt: skip


class Judged:
    """A compound with its tests analysed, ready to be asked and to take in a further test. cycles: by name, duties with a log."""

    def __init__(self, of: Compound, rng: np.random.Generator) -> None:
        self.of, self.rng = of, rng
        self.runs = run(of, rng)
        self.noise = Repeatability(of.scatter, 0.25, 0.08, 0.0015, 1.0, 100.0)
        self.records, self.drifts, self.cycles = [], {}, {}
        for test in self.runs:
            self.take(test)
        wear = of_compound(self.records, METHOD.wear, METHOD.reduction.temperature)
        self.wear = CompoundWear(compound="Invented", components=wear.components, notes=wear.notes, why=wear.why)
        self.window = friction_of(of, self.drifts, rng)

    def take(self, test: Run, name: str | None = None) -> None:
        stops = stops_of(self.of, test, self.rng)
        card = card_of(self.of, test.specimen)
        if name is not None:
            card = card.model_copy(update={"test": name})
        self.drifts[str(card.test)] = analyse(stops, METHOD.drift, self.noise)
        traces, readings = traces_of(self.of, test, stops), readings_of(self.of, test, self.rng)
        self.records.append(WearRecord(card, stops, traces, [], readings))

    def answers(self, duties: Sequence[Duty]) -> list[DutyProjection]:
        friction = self.window.model_copy(update={"glaze_limit": glaze_limit(self.drifts)})
        return project_all(
            [self.cycles.get(d.name) or duty_of(d) for d in duties],
            [Recorded(r.card, r.stops) for r in self.records],
            friction=friction,
            wear=self.wear,
            settings=METHOD.duty,
            wear_settings=METHOD.wear,
            temperature_kind=METHOD.reduction.temperature,
            alike=WearParts.of(self.wear, RATIO, METHOD.batches).unlike,
            film=film_of(self.drifts),
            glazing_loss=LOSS_WANTED,
        ).duties


def judged(index: int, seed: int, wide: float) -> Record:
    """Everything that is counted of one compound."""
    began, clock = time.process_time(), time.perf_counter()
    rng = np.random.default_rng([seed, round(10 * wide), index])
    of = draw(rng, wide)
    tests = Judged(of, rng)
    answers = tests.answers(of.duties)
    return {
        "index": index, "seed": seed, "wide": wide, "revisions": REVISIONS, "glazes": of.glazes, "alike": of.alike, "batches": len(of.factors),
        "conductivity_stated": of.stated_conductivity is not None,
        "law": _law(of, tests.wear),
        "duties": [_duty(of, tests, d, a) for d, a in zip(of.duties, answers, strict=True)],
        "cpu_s": round(time.process_time() - began, 2), "clock_s": round(time.perf_counter() - clock, 2),
    }  # fmt: skip


def _law(of: Compound, wear: CompoundWear) -> Record:
    disc = (wear.components or {})["disc"]
    law = disc.identified_law
    oxidation = next((m for m in disc.models if m.model == "oxidation"), None)
    found: Record = {"chosen": disc.chosen, "identified": law is not None, "why": oxidation.why if oxidation else None}
    if law is not None and law.model == "oxidation":
        mean = np.mean(list(of.factors.values()), axis=0)
        truths = {"a": of.wear.per_mj * mean[0], "B": of.wear.rate * mean[1], "Ea": of.wear.energy / 1e3}
        for name, truth in truths.items():
            p = law.parameters[name]
            found[name] = {"value": p.value, "low": p.low, "high": p.high, "true": truth}
    return found


def _duty(of: Compound, tests: Judged, duty: Duty, answer: DutyProjection) -> Record:
    truth, way = life(of, duty), used(of, duty, GRID)
    batch = answer.life_of.batch if answer.life_of is not None else None
    cycles = answer.life_cycles
    shortest = min(truth.by_batch, key=truth.by_batch.__getitem__)
    found: Record = {
        "use": duty.use, "life": {"value": cycles.value, "low": cycles.low, "high": cycles.high, "of": batch,
                                  "true": truth.by_batch[batch] if batch else truth.mean, "shortest": truth.by_batch[shortest],
                                  "new": truth.new_by_batch[batch] if batch else truth.new_mean, "ground": cycles.ground},
        "extrapolated": list(answer.extrapolated),
        "coldest": [answer.temperature_low_c, way.at(duty.opening, "coldest_c")],
    }  # fmt: skip
    if duty.use == "gentle":
        found["opening"] = _opening(tests, duty, answer, way)
    return found


def _opening(tests: Judged, duty: Duty, answer: DutyProjection, way: Use) -> Record:
    """What is recommended, and what it truly does."""
    span = answer.opening_to_run
    sure = span if answer.reserved is False else answer.opening_to_run_sure
    found: Record = {
        "span": [span.low, span.high] if span else None,
        "sure": [sure.low, sure.high] if span and sure else None,
        "why": answer.opening_to_run_why,
        "limits": sorted({one.cause for one in answer.limits}),
        "not_excluded": [f"{one.cause}: {one.why}" for one in answer.not_excluded],
        "loss": _worst(way, span), "sure_loss": _worst(way, sure) if span else None,
        "good": bool(((way.inside >= SHARE_WANTED) & (way.loss <= LOSS_WANTED)).any()),
        "brackets": brackets(tests, duty, way),
    }  # fmt: skip
    named = answer.settling_test
    found["no_test"] = answer.settling_test_why if span is not None and sure is None and named is None else None
    if span is not None and sure is None and named is not None:
        found |= _settled(tests, duty, way, named)
    return found


def _settled(tests: Judged, duty: Duty, way: Use, named: SettlingTest) -> Record:
    """What the answer is once the named test was run; where it asks for a log before it, the test that is named with that log."""
    found: Record = {}
    again, at = None, named.opening
    hours: float | None = None
    if named.log is not None:
        tests.cycles[duty.name] = drive_of(tests.of, duty, file_of(duty), named.log, tests.rng)
        again = tests.answers([duty])[0]
        found["log"] = _drive(again, duty, named.log)
    if again is None or (again.opening_to_run is not None and again.opening_to_run_sure is None):
        test = named if again is None else again.settling_test
        if test is not None:
            again, at, hours = _with_named(tests, duty, test.blocks), test.opening, test.hours
    assert again is not None
    free, run = again.opening_to_run_sure, again.opening_to_run
    left = [one for one in again.not_excluded if one.cause == "glazing"]
    return found | {
        "settled": free is not None or not any(one.low - 1e-9 <= at <= one.high + 1e-9 for one in left),
        "settled_loss": _worst(way, free),
        "ruled_out": run is None or not run.low - 1e-9 <= at <= run.high + 1e-9,
        "run_loss": way.at(at, "loss"),
        "hours": hours,
        "at": at,
        "left": [one.why for one in left],
    }


def _drive(answer: DutyProjection, duty: Duty, asked: SettlingLog) -> Record:
    """What the log that was asked for told."""
    told = answer.cooling_log
    assert told is not None
    return {
        "uses": asked.uses, "within_now_k": asked.within_now_k, "within_k": asked.within_k, "cooling_u": asked.cooling_u,
        "used": told.used, "why": told.why, "u": told.u, "factor": told.factor.value, "low": told.factor.low, "high": told.factor.high,
        "true": duty.cooled, "rms_k": told.rms_k, "by_heat_share": told.by_heat_share, "alone": answer.opening_to_run_sure is not None,
    }  # fmt: skip


def _worst(way: Use, span: Any) -> float | None:
    """Largest true loss of mu over one use at any opening of a span."""
    if span is None:
        return None
    return float(np.interp(np.linspace(span.low, span.high, 41), way.opening, way.loss).max())


def brackets(tests: Judged, duty: Duty, way: Use) -> bool:
    """Whether gentle blocks truly lie on both sides: one that glazed, and harmless ones no hotter and no harder than any braking of
    the settled cycle at some opening that is truly good."""
    shown = list(gentle_blocks(tests.runs, tests.of.film.cover))
    glazed = any(loss >= GLAZED for *_, loss in shown)
    harmless = [(t, p) for t, p, loss in shown if loss <= HARMLESS]
    if not glazed or not harmless:
        return False
    good = (way.inside >= SHARE_WANTED) & (way.loss <= LOSS_WANTED)
    gentlest = duty.power(2 * tests.of.pad_area).min()
    covered = [any(t <= coldest + 2 and p <= gentlest * 1.05 for t, p in harmless) for coldest in way.coldest_c]
    return bool((good & np.array(covered)).any())


def gentle_blocks(runs: Sequence[Run], cover: float) -> Iterator[tuple[float, float, float]]:
    """(initial temperature in degC, power in W/mm2 of pad, true loss of mu by the film) of every gentle block."""
    for test in runs:
        names = np.array([b.name for b in test.block])
        for name in dict.fromkeys(n for n in names if n.startswith("gentle")):
            rows = np.flatnonzero(names == name)
            grown = cover * (test.film[rows[-1] + 1] - test.film[rows[0]])
            yield float(test.start_c[rows].mean()), float(test.power[rows].mean()), float(grown)


def _with_named(tests: Judged, duty: Duty, blocks: str) -> DutyProjection:
    """The answer once the test that it names was run on a further specimen, which is not read for wear."""
    of = tests.of
    bedding, one = of.specimens[0].program[0], replace(of.specimens[0], letter="X")
    program = (
        bedding,
        *program_of(of, one, yaml.load(blocks, getattr(yaml, "CSafeLoader", yaml.SafeLoader))["blocks"]),
    )
    further = replace(of, specimens=(replace(one, program=program),))
    tests.take(run(further, tests.rng)[0], "named test")
    return tests.answers([duty])[0]


def rows(count: int, wide: int, seed: int, kept: Path, processes: int) -> list[Record]:
    """Records of `count` compounds by the stated uncertainties and of `wide` by twice those; what is in `kept` is not run again."""
    done = {}
    if kept.exists():
        lines = [json.loads(line) for line in kept.read_text().splitlines() if line.endswith("}")]
        done = {(r["wide"], r["index"]): r for r in lines if r["seed"] == seed}
    asked = [(i, seed, w) for w, n in ((1.0, count), (2.0, wide)) for i in range(n)]
    left = [one for one in asked if (one[2], one[0]) not in done]
    if left:
        with kept.open("a") as out, multiprocessing.get_context("fork").Pool(processes) as pool:
            for record in pool.imap_unordered(_one, left):
                done[record["wide"], record["index"]] = record
                out.write(json.dumps(record) + "\n")
                out.flush()
    return [done[w, i] for i, _, w in asked]


def carried(earlier: Path, kept: Path, seed: int) -> list[Record]:
    """Records of an earlier run: those whose answer named no test go into `kept`; those whose answer did are run anew and come back."""
    lines = [json.loads(line) for line in earlier.read_text().splitlines() if line.endswith("}")]
    own = [one for one in lines if one["seed"] == seed]
    there = set()
    if kept.exists():
        whole = [json.loads(line) for line in kept.read_text().splitlines() if line.endswith("}")]
        there = {(one["wide"], one["index"]) for one in whole if one["seed"] == seed}
    with kept.open("a") as out:
        for one in own:
            if not names_test(one) and (one["wide"], one["index"]) not in there:
                out.write(json.dumps(one | {"carried": True}) + "\n")
    return [one for one in own if names_test(one)]


def names_test(one: Record) -> bool:
    return any("settled" in d.get("opening", {}) for d in one["duties"])


def first_answer(one: Record) -> Record:
    """What a record says before any named test is run: law, lives, openings."""
    openings = [
        {k: d["opening"][k] for k in ("span", "sure", "limits", "loss")} for d in one["duties"] if "opening" in d
    ]
    return {"law": one["law"], "lives": [d["life"] for d in one["duties"]], "openings": openings}


def unlike(found: Sequence[Record], earlier: Sequence[Record]) -> list[str]:
    """Compounds run anew whose first answer is not what it was: then what was carried over may not stand either."""
    now = {(one["wide"], one["index"]): one for one in found}
    return [
        f"{one['index']} (wide {one['wide']:g})"
        for one in earlier
        if (at := now.get((one["wide"], one["index"]))) is not None and first_answer(at) != first_answer(one)
    ]


def _one(asked: tuple[int, int, float]) -> Record:
    return judged(*asked)


def main() -> None:
    from tests.studies.decisions_page import text

    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--wide", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--records", type=Path, help="lines of results; by default a file of the temporary folder")
    parser.add_argument(
        "--carry", type=Path, help="records of an earlier run: only compounds whose answer named a test are run anew"
    )
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    kept = given.records or Path(tempfile.gettempdir()) / f"decisions-{given.seed}.jsonl"
    earlier = carried(given.carry, kept, given.seed) if given.carry else []
    found = rows(given.count, given.wide, given.seed, kept, given.processes)
    if others := unlike(found, earlier):
        parser.exit(
            1, f"the first answers of compounds {', '.join(others)} are not what they were: run all without --carry\n"
        )
    page = text(found, given.seed)
    print(page)
    if given.write:
        (Path(__file__).parents[2] / "docs" / "decisions_study.md").write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
