"""The compound stage: all tests of a compound -> friction.json, wear.json, batches.json, duty.json,
targets.json.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.archive.duties import DutyCycle, load_duty, log_of, log_path
from pipeline.archive.targets import Target
from pipeline.batches import brakes, compare, tested
from pipeline.batches.caveats import state_scatter
from pipeline.batches.specimens import Shape
from pipeline.batches.wear_parts import WearParts
from pipeline.compound import wear
from pipeline.compound.tests_of import CompoundTest, counted_once, load_tests, specimen_test, wear_rates
from pipeline.conformity import of_compound as conformity
from pipeline.conformity.batches import TestOfBatch
from pipeline.constants import RAD_PER_S, ZERO_C, Array
from pipeline.drift.compound import glaze_limit
from pipeline.drift.film import Film
from pipeline.drift.film_of_tests import film_of
from pipeline.drift.film_told import evidence
from pipeline.duty import projections as duty
from pipeline.duty.air import Recorded
from pipeline.duty.log import cycle_of
from pipeline.duty.of_batches import mu_unlike
from pipeline.duty.pressing import Pressing
from pipeline.errors import InputError
from pipeline.face import of_compound as face
from pipeline.face import window as face_window
from pipeline.friction import compound as friction
from pipeline.friction import sides
from pipeline.friction.bias import with_bias
from pipeline.friction.map import FrictionMap
from pipeline.friction.stage import wanted_of
from pipeline.heat.of_card import thermocouple_of
from pipeline.inputs.model import load
from pipeline.method import SECTIONS, Method, from_stage_settings
from pipeline.results.batches import CompoundBatches, Quantity
from pipeline.results.charts import Charts, Wander
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.duty import CompoundDuty
from pipeline.results.friction_map import MapModel
from pipeline.results.model import Stamp, fields, read, renewed, stamp, write
from pipeline.results.precision import RigPrecision
from pipeline.results.rigs import Rigs
from pipeline.results.wear import CompoundWear
from pipeline.stops.facts import setup_of


def run(
    *,
    compound: str,
    archive: Path,
    tests: list[str],
    results: Path,
    rigs: Path,
    target: Path | None,
    duties: list[Path],
    settings: str,
    into: Path,
    charts: Path | None = None,
    precision: Path | None = None,
) -> None:
    """Assemble a compound from the results of its tests; `results` is a method's folder, `rigs`, `charts` and
    `precision` its files of these names.
    """
    method = from_stage_settings(settings)
    usable, left_out, inputs = load_tests(archive, tests, results)
    wanted, target_why = _target(target)
    shared = read(rigs, Rigs)
    wanders = read(charts, Charts).wanders if charts else []
    states = state_sd(read(precision, RigPrecision), compound) if precision else None
    usable, again = counted_once(usable, shared.copies)
    left_out |= again
    by_law, map_ = _with_law(usable, method, target)
    film, loss = film_of({t.name: t.drift for t in usable}), glazing_loss_of(wanted)
    limit = glaze_limit({t.name: t.drift for t in usable}, film)
    found_friction = renewed(by_law, glaze_limit=limit, film=evidence(film, loss))
    bias = max((thermocouple_of(t.card).u for t in usable), default=0.0)
    if found_friction.window is not None:
        found_friction = renewed(found_friction, window=with_bias(found_friction.window, bias))
    if found_friction.window_estimate is not None:
        estimate = with_bias(found_friction.window_estimate, bias)
        found_friction = renewed(found_friction, window_estimate=estimate)
    found_wear = wear.of_compound(usable, archive, method.wear, method.reduction.temperature)
    cards = brakes.differences({t.name: brakes.brake_of(t.card, method.reduction.radius) for t in usable})
    if cards:
        found_wear = renewed(found_wear, notes=[*found_wear.notes, brakes.words(cards)])
    head = {"compound": compound, "method": results.name, "tests_left_out": left_out, "card_differences": cards}

    shared_files = {"rigs": rigs, "charts": charts, "precision": precision}
    given = {key: path for key, path in shared_files.items() if path is not None}
    given |= {**({"target": target} if target else {}), **_files_of(duties)}

    def stamped(name: str, section: str = "") -> Stamp:
        return stamp(name, SECTIONS[section or name][1].REVISION, settings, inputs | given)

    cycles, duties_left_out = _cycles(duties)
    parts = WearParts.of(found_wear, wanted.wear_batch_ratio if wanted else None, method.batches)
    found_pairs = _batches(
        usable, map_, found_friction, found_wear, wanted, shared, method, wanders, states, parts
    ).pairs
    found_duty = renewed(
        _duty(usable, cycles, found_friction, found_wear, map_, method, parts, film, loss, mu_unlike(found_pairs)),
        duties_left_out=duties_left_out,
    )
    parts = parts.with_duties({one.duty: one.wear_shares for one in found_duty.duties})
    found_batches = _batches(usable, map_, found_friction, found_wear, wanted, shared, method, wanders, states, parts)
    notes = [*found_batches.notes, *([target_why] if target_why else [])]
    found_friction = _with_duties(found_friction, found_duty)
    asked = [(t.name, t.card.batch, t.card.specimen, t.wear) for t in usable]
    judged = conformity.of_compound(
        wanted,
        target_why,
        compound=compound,
        friction=found_friction,
        wear=found_wear,
        batches=found_batches,
        duty=found_duty,
        tests=[TestOfBatch(*one) for one in asked],
        coverage=method.friction.coverage,
        lives={cycle.duty: cycle.life / 1e3 for cycle in cycles if cycle.life is not None},
        confidence={
            "friction": method.friction.confidence,
            "wear": method.wear.confidence,
            "duty": method.duty.confidence,
        },
    )
    write(into / "friction.json", renewed(found_friction, **head, stamp=stamped("friction")))
    write(into / "wear.json", renewed(found_wear, **head, stamp=stamped("wear")))
    write(into / "batches.json", renewed(found_batches, **head, notes=notes, stamp=stamped("batches")))
    write(into / "duty.json", renewed(found_duty, **head, stamp=stamped("duty")))
    unusable = None if usable else "no test of the compound can be used"
    write(
        into / "targets.json",
        renewed(judged, method=results.name, unusable=unusable, stamp=stamped("targets", "batches")),
    )


def _with_duties(found: CompoundFriction, projected: CompoundDuty) -> CompoundFriction:
    """The friction's sides with what each duty of a known use asks of them."""
    if found.sides is None or projected.both_duties is None:
        return found
    support = {one.duty: one.support for one in projected.duties}
    asked = []
    for one in projected.both_duties.duties:
        known = support.get(one.duty)
        if one.use is not None and known is not None:
            beyond = "; ".join(entry.words for entry in known.extrapolations if entry.of == "friction")
            asked.append(sides.OfDuty(one.duty, one.use, known.friction_share, beyond))
    return renewed(found, sides=sides.with_duties(found.sides, asked))


def _target(path: Path | None) -> tuple[Target | None, str | None]:
    """The target, or None and why a given one is left out (archive.json reports it as well)."""
    if path is None:
        return None, None
    try:
        return load(path, Target), None
    except InputError as error:
        return None, f"target left out: {error}"


def glazing_loss_of(target: Target | None) -> float:
    """Largest loss by glazing over one use: the target's, else what a target without it means."""
    return float(target.glazing_loss if target else Target.model_fields["glazing_loss"].default)


def _with_law(
    tests: list[CompoundTest], method: Method, target: Path | None
) -> tuple[CompoundFriction, FrictionMap | None]:
    """The compound's friction by its map, its law at the face, and by the better of the two what rests on either; and the map, of
    the form that was chosen, which also moves checks to the reference conditions."""
    stops, wanted = stops_of(tests), wanted_of(target)
    sound = [friction.sound_stops(own, method) for own in stops]
    found, map_ = friction.with_map(stops, sound, method, wanted)
    law = face.of_compound(
        [
            face.FaceTest(
                t.name,
                t.card,
                unchanged,
                t.traces,
                setup_of(t.card, method.reduction).radius,
            )
            for t, (unchanged, _) in zip(tests, sound, strict=True)
            if not t.stops.is_empty()
        ],
        map_,
        face.settings_of(method),
        friction.common_of(stops),
    )
    return face_window.by_law(found, law, map_, method.friction, wanted), map_


def stops_of(tests: list[CompoundTest]) -> list[friction.StopsOfTest]:
    return [
        friction.StopsOfTest(
            t.name,
            t.card.batch,
            t.card.specimen,
            t.stops,
            rig=t.card.rig,
            common=t.common_u,
            changed_at=t.changed_at,
            changed_by=None if t.changed_at is None else t.drift.verdict,
        )
        for t in tests
    ]


def friction_map(tests: list[CompoundTest], method: Method, known: MapModel | None = None) -> FrictionMap | None:
    """The compound's friction map, of the form that was chosen; None where none can be fitted. known: as the compound's results tell it."""
    return friction.map_of(stops_of(tests), method, known)


def shape_of(map_: FrictionMap | None) -> tuple[Shape | None, float | None]:
    """(mu of the map for a frame of stops, mu at the reference conditions)."""
    if map_ is None:
        return None, None
    at_reference = float(map_.predict(np.array([map_.reference.temperature])).mu[0])
    if not np.isfinite(at_reference):
        return None, None
    reference = map_.reference
    conditions = {
        f"temperature_{map_.temperature_kind}_c": reference.temperature - ZERO_C,
        "pressure_bar": reference.pressure / 1e5,
        "speed_start_rpm": reference.speed / RAD_PER_S,
        "energy_density_j_mm2": reference.energy_density / 1e6,
    }

    def shape(stops: pl.DataFrame) -> Array:
        # a condition that was not recorded (a summary-only test) is taken to be the reference's
        filled = stops.with_columns(pl.col(name).fill_null(value) for name, value in conditions.items())
        return map_.predict_stops(filled).mu

    return shape, at_reference


def _batches(
    tests: list[CompoundTest],
    map_: FrictionMap | None,
    found: CompoundFriction,
    found_wear: CompoundWear,
    target: Target | None,
    rigs: Rigs,
    method: Method,
    wanders: Sequence[Wander],
    states: dict[Quantity, float] | None,
    parts: WearParts,
) -> CompoundBatches:
    shape, at_reference = shape_of(map_)
    rates = wear_rates(tests, found_wear)
    of_tests = [specimen_test(t, rigs, rates, method.reduction.radius) for t in tests]
    compared = compare.compare(
        of_tests,
        shape=shape,
        at_reference=at_reference,
        target=target,
        settings=method.batches,
        shifts=rigs.shifts,
        copied=rigs.copies,
        wanders=wanders,
        state_sd=states,
        wear_parts=parts,
    )
    notes = [*compared.notes, *pad_notes(found_wear, target)]
    beyond = tested.of_batches(of_tests, found.reference, method.reduction.temperature)
    pairs = tested.answered(compared.pairs, beyond)
    body = fields(compared) | {"reference": found.reference, "notes": notes, "pairs": pairs}
    body |= {"extrapolated": list(beyond.values())}
    return CompoundBatches(compound=found.compound, **body)


def state_sd(found: RigPrecision, compound: str) -> dict[Quantity, float]:
    """Relative scatter between states of the rigs, for the quantities that a torque chain enters; told over compounds
    where it can be, as a state moves all of them alike.
    """
    quantities: tuple[Quantity, ...] = ("mu", "bite")
    told = {}
    for quantity in quantities:
        everything = found.of(quantity)
        own = everything.components.get("rig") if everything else None
        told[quantity] = state_scatter(
            own if own and own.value is not None else found.component("rig", quantity, compound)
        )
    return told


def pad_notes(wear: CompoundWear, target: Target | None) -> list[str]:
    """Pads without an identified law, whose wear has no answers: pairs of batches whose specimens wore apart by the law that
    describes it.

    Ratios of geometric means of the specimens' factors on the law; no interval, so no answer.
    """
    notes = []
    for name, component in (wear.components or {}).items():
        by_batch: dict[str, list[float]] = {}
        for row in component.specimens if name != "disc" and not component.by_specimen else []:
            if row.factor.value is not None:
                by_batch.setdefault(row.batch, []).append(float(np.log(row.factor.value)))
        level = {batch: float(np.mean(values)) for batch, values in by_batch.items()}
        low, high = (target and target.wear_batch_ratio) or (1.0, 1.0)
        ratios = {(a, b): float(np.exp(level[a] - level[b])) for a, b in combinations(level, 2)}
        apart = [f"{a} / {b} {ratio:.2f}" for (a, b), ratio in ratios.items() if not low <= ratio <= high]
        if apart:
            words = f"outside {low:.2f} to {high:.2f}: {', '.join(apart)}"
            notes.append(
                f"the wear answers are the disc's; wear of the {name.replace('_', ' ')} by its law lies {words}"
            )
    return notes


def _files_of(duties: list[Path]) -> dict[str, Path]:
    """The duties' files and their logs, by the names under which the stamp has them."""
    found = {f"duties/{path.name}": path for path in duties}
    for path in duties:
        try:
            log = log_of(load_duty(path))
        except InputError:
            continue
        if log is not None and log_path(path, log).is_file():
            found[f"duties/{log.file}"] = log_path(path, log)
    return found


def _cycles(duties: list[Path]) -> tuple[list[DutyCycle], dict[str, str]]:
    """The duties, and why each file that is none is left out."""
    cycles, left_out = [], {}
    for path in duties:
        try:
            cycles.append(cycle_of(path))
        except InputError as error:
            left_out[path.name] = str(error)
    return cycles, left_out


def _duty(
    tests: list[CompoundTest],
    cycles: list[DutyCycle],
    found_friction: CompoundFriction,
    found_wear: CompoundWear,
    map_: FrictionMap | None,
    method: Method,
    parts: WearParts,
    film: Film,
    glazing_loss: float,
    unlike: str | None = None,
) -> CompoundDuty:
    projected = duty.project_all(
        cycles,
        [Recorded(t.card, t.stops) for t in tests],
        friction=found_friction,
        wear=found_wear,
        settings=method.duty,
        wear_settings=method.wear,
        temperature_kind=method.reduction.temperature,
        pressing=Pressing(map_, setup_of(tests[0].card, method.reduction)) if map_ else None,
        alike=parts.unlike,
        film=film,
        glazing_loss=glazing_loss,
        mu_unlike=unlike,
        mu_confidence=method.friction.confidence,
    )
    return CompoundDuty(compound=found_friction.compound, **fields(projected))
