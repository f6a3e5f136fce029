"""The batch comparison of a compound: its batches, their pairs, and the three answers for mu, bite and
wear.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Callable, Mapping, Sequence

from pipeline.archive.targets import Target
from pipeline.batches import brakes, doubts, margins
from pipeline.batches.answers import Quantity, answer_all, level, quantity, scatter
from pipeline.batches.caveats import MOVES, Known, caveat
from pipeline.batches.specimens import Shape, SpecimenTest, Values, bite_values, friction_values, wear_values
from pipeline.batches.wear_parts import WearParts, held
from pipeline.method.batches import Batches
from pipeline.results import batches as results
from pipeline.results.batches import Answer, Batch, Compared, Conditions, Pair, SpecimenValue
from pipeline.results.charts import Wander
from pipeline.results.rigs import Copied, Examined


def compare(
    tests: list[SpecimenTest],
    *,
    shape: Shape | None,
    at_reference: float | None,
    target: Target | None,
    settings: Batches,
    shifts: Sequence[Examined] = (),
    copied: Sequence[Copied] = (),
    wanders: Sequence[Wander] = (),
    state_sd: Mapping[results.Quantity, float] | None = None,
    wear_parts: WearParts | None = None,
) -> Compared:
    """batches.json without its heading: batches, pairs and what they rest on.

    `shape` gives the friction map's mu for a frame of stops, `at_reference` the map's mu at the reference
    conditions; `shifts` are the rigs' shifts and `copied` the tests of the same recordings, as rigs.json lists them;
    `wanders` what the rigs' charts saw move, `state_sd` the relative scatter between states of the rigs; `wear_parts` what
    answers for wear are given by beside the program as run.
    """
    states = state_sd or {}

    def known(of: list[SpecimenTest], name: results.Quantity, values: Values) -> Known:
        own = [one for one in wanders if one.quantity in MOVES[name]]
        return Known(of, values, shifts, own, states.get(name))

    mu, bite, wear = friction_values(tests, shape, at_reference), bite_values(tests), wear_values(tests)
    allowed = margins.of_target(target, mu.values, bite.values)
    inside = {name: margins.ends(margin) for name, margin in allowed.items()}
    quantities = [
        quantity("mu", mu, inside["mu"], known(tests, "mu", mu)),
        quantity("bite", bite, inside["bite"], known(tests, "bite", bite)),
        quantity("wear", wear, margins.logged(inside["wear"]), None, math.exp),
    ]
    names = sorted({test.batch for test in tests}, key=natural)
    pairs = list(itertools.combinations(names, 2))
    by_part = wear_parts.rows(pairs) if wear_parts else [[] for _ in pairs]
    answers: dict[results.Quantity, list[Answer]] = {}
    for q in quantities:
        found = answer_all(q, pairs, settings)
        if q.name in AS_STATED:
            usual = again(tests, q.name, shape, at_reference, inside[q.name], known)
            found = doubts.of_cards(found, pairs, tests, usual, settings)
        if q.name == "wear":
            found = held(doubts.of_programs(found, pairs, tests), by_part)
        answers[q.name] = doubts.of_copies(found, pairs, copied)
    columns = (answers["mu"], answers["bite"], answers["wear"], by_part)
    rows = [
        Pair.of(
            a,
            b,
            caveat(a, b, tests, shifts, copied, wanders, states.get("mu")),
            mu=of_mu,
            bite=of_bite,
            wear=of_wear,
            parts=parts,
        )
        for (a, b), of_mu, of_bite, of_wear, parts in zip(pairs, *columns, strict=True)
    ]
    return Compared(
        batches=[_batch(name, tests, quantities) for name in names],
        pairs=rows,
        conditions=Conditions(bite=bite.conditions),
        margins=allowed,
        specimen_scatter={q.name: scatter(q) for q in quantities},
        specimen_values={q.name: _specimens(q) for q in quantities},
        left_out={q.name: list(q.values.left_out) for q in quantities},
        notes=_notes(tests),
    )


AS_STATED = ("mu", "bite")  # what a brake card's figures enter


def again(
    tests: list[SpecimenTest],
    name: results.Quantity,
    shape: Shape | None,
    at_reference: float | None,
    margin: tuple[float, float] | None,
    known: Callable[[list[SpecimenTest], results.Quantity, Values], Known],
) -> Quantity | None:
    """The quantity read with the brake that most cards state; None where all cards state one brake."""
    usual = doubts.with_usual_brake(tests)
    if usual is None:
        return None
    values = friction_values(usual, shape, at_reference) if name == "mu" else bite_values(usual)
    return quantity(name, values, margin, known(usual, name, values))


def _batch(name: str, tests: list[SpecimenTest], quantities: list[Quantity]) -> Batch:
    own = [test for test in tests if test.batch == name]
    mu, bite, wear = (level(q, name) for q in quantities)
    specimens = sorted({test.specimen for test in own}, key=natural)
    return Batch(
        batch=name,
        tests=sorted((test.test for test in own), key=natural),
        specimens=len(specimens),
        specimen_ids=specimens,
        mu=mu,
        bite=bite,
        wear_um_per_stop=wear,
    )


def _specimens(q: Quantity) -> list[SpecimenValue]:
    """What each specimen gave, for the plot and for checking by hand."""
    counts = q.values.counts or (None,) * len(q.values.specimens)
    return [
        SpecimenValue(batch=batch, specimen=specimen, value=q.show(float(value)), u=float(v) ** 0.5, n=n)
        for (batch, specimen), value, v, n in zip(
            q.values.specimens, q.values.values, q.values.variances, counts, strict=True
        )
    ]


def _notes(tests: list[SpecimenTest]) -> list[str]:
    scatter_note = (
        "the scatter between specimens is pooled over all batches of the compound; stops are not replicates of a batch"
    )
    if len({test.epoch for test in tests}) <= 1:
        rig_note = (
            "one rig in one calibration state: its common calibration error cancels in the differences, "
            "not in the levels"
        )
    else:
        rig_note = "several rigs or calibration states: their errors are in the differences' intervals"
    cards = brakes.words(brakes.differences({t.test: t.brake for t in tests if t.brake is not None}))
    return [scatter_note, rig_note, *_states_apart(tests), *([cards] if cards else [])]


def _states_apart(tests: list[SpecimenTest]) -> list[str]:
    """Pairs of batches on one rig that share none of its states: a shift of the rig would look like the batches'."""
    states: dict[str, set[tuple[str, str]]] = {}
    for test in tests:
        states.setdefault(test.batch, set()).add((test.rig, test.epoch))
    notes = []
    for a, b in itertools.combinations(sorted(states, key=natural), 2):
        rigs = {rig for rig, _ in states[a]} & {rig for rig, _ in states[b]}
        if rigs and not states[a] & states[b]:
            said = "; ".join(", ".join(sorted(epoch for _, epoch in states[x])) for x in (a, b))
            notes.append(f"{a} and {b} were run in different states of the rig ({said}): compare with rigs.json")
    return notes


def natural(text: str) -> list[tuple[int, int, str]]:
    """Sort key that counts digit runs as numbers."""
    parts = [part for part in re.split(r"(\d+)", text) if part]
    return [(0, int(part), "") if part.isdecimal() else (1, 0, part.lower()) for part in parts]
