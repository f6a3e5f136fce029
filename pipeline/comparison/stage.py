"""The comparison stage: two compounds' results -> comparison.json."""

from __future__ import annotations

from pathlib import Path

from pipeline.archive.facts import Facts, read_facts
from pipeline.archive.targets import Target
from pipeline.comparison.of_files import Files, by_files, side_by_side
from pipeline.comparison.specimens import Side, by_specimens
from pipeline.compound.stage import friction_map, shape_of
from pipeline.compound.tests_of import CompoundTest, counted_once, load_tests, specimen_test, wear_rates
from pipeline.errors import InputError
from pipeline.inputs.model import load
from pipeline.method import SECTIONS, Method, from_stage_settings
from pipeline.results.batches import CompoundBatches
from pipeline.results.comparison import Comparison, Fact
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.duty import CompoundDuty
from pipeline.results.model import read, renewed, stamp, write
from pipeline.results.rigs import Examined, Rigs
from pipeline.results.wear import CompoundWear

NAMES = ("friction", "wear", "batches", "duty")


def run(
    *,
    a: str,
    b: str,
    a_folder: Path,
    b_folder: Path,
    a_tests: list[str],
    b_tests: list[str],
    archive: Path,
    results: Path,
    rigs: list[Path],
    target: Path | None,
    facts: Path | None,
    settings: str,
    into: Path,
) -> None:
    """Compare compound `a` with compound `b`; `target` is the first's (else the second's), whose margins are used;
    `rigs` is rigs.json, or what is cut out of it for either.
    """
    method = from_stage_settings(settings)
    shared = together([read(path, Rigs) for path in rigs])
    inputs = {f"{x}/{name}": folder / f"{name}.json" for x, folder in ((a, a_folder), (b, b_folder)) for name in NAMES}
    usable = [counted_once(load_tests(archive, tests, results)[0], shared.copies)[0] for tests in (a_tests, b_tests)]
    files = [_files(name, folder, own) for name, folder, own in zip((a, b), (a_folder, b_folder), usable, strict=True)]
    made = stamp(
        "comparison", SECTIONS["batches"][1].REVISION, settings, inputs | ({"target": target} if target else {})
    )
    why = next(
        (f"no test of {side.name} can be used" for side, own in zip(files, usable, strict=True) if not own), None
    )
    if why is not None:
        write(into / "comparison.json", Comparison(a=a, b=b, method=results.name, unusable=why, stamp=made))
        return
    wanted, left_out = _target(target)
    sides = [_side(one, own, shared, method) for one, own in zip(files, usable, strict=True)]
    rows = by_specimens(sides[0], sides[1], wanted, method.batches, shared.shifts) + by_files(
        files[0], files[1], wanted
    )
    write(
        into / "comparison.json",
        Comparison(
            a=a, b=b, method=results.name, rows=rows, shown=side_by_side(files[0], files[1]), facts=_facts(facts, (a, b)),
            notes=[*_notes(files, wanted), *left_out], stamp=made,
        ),
    )  # fmt: skip


def together(parts: list[Rigs]) -> Rigs:
    """What several cuts of one rigs.json hold, each shift and copy once; of a shift the tests that any of them names."""
    epochs = {test: state for one in parts for test, state in one.epochs.items()}
    shifts: dict[tuple[str, str], Examined] = {}
    for shift in (shift for one in parts for shift in one.shifts):
        known = shifts.get((shift.rig, shift.date), shift)
        shifts[shift.rig, shift.date] = renewed(known, tests=list(dict.fromkeys([*known.tests, *shift.tests])))
    copies = {(copy.test, copy.of): copy for one in parts for copy in one.copies}
    return Rigs(epochs=epochs, shifts=list(shifts.values()), copies=list(copies.values()))


def _files(name: str, folder: Path, tests: list[CompoundTest]) -> Files:
    return Files(
        name,
        read(folder / "friction.json", CompoundFriction),
        read(folder / "wear.json", CompoundWear),
        read(folder / "batches.json", CompoundBatches),
        read(folder / "duty.json", CompoundDuty),
        {t.name: t.drift for t in tests},
    )


def _side(files: Files, tests: list[CompoundTest], rigs: Rigs, method: Method) -> Side:
    shape, _ = shape_of(friction_map(tests, method, files.friction.model))
    rates = wear_rates(tests, files.wear)
    seen = [specimen_test(t, rigs, rates, method.reduction.radius) for t in tests]
    return Side(files.name, seen, shape, files.friction.reference)


def _target(path: Path | None) -> tuple[Target | None, list[str]]:
    if path is None:
        return None, ["no target gives margins: nothing can be called equivalent"]
    try:
        return load(path, Target), []
    except InputError as error:
        return None, [f"target left out: {error}"]


def _facts(path: Path | None, compounds: tuple[str, str]) -> list[Fact]:
    if path is None:
        return []
    try:
        table = read_facts(path)
    except InputError:  # told in archive.json
        table = Facts()
    return [
        Fact(compound=compound, batch=batch, facts=dict(zip(table.columns, values, strict=True)))
        for compound in compounds
        for batch, values in table.of(compound).items()
    ]


def _notes(files: list[Files], target: Target | None) -> list[str]:
    notes = [
        "specimens are the replicates: the answers hold for the batches tested, and not for further batches of either compound",
        "answers are not adjusted for the number of questions; the deepest fade of more tests is lower by chance",
    ]
    for side in files:
        apart = [f"{pair.a} and {pair.b}" for pair in side.batches.pairs if "different" in pair.verdicts.values()]
        if apart:
            notes.append(
                f"batches of {side.name} differ among themselves ({', '.join(apart)}): a difference may be a batch's"
            )
    if target is not None:
        notes.append(f"margins are those of the target of {target.compound}")
    return notes
