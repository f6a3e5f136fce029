"""What one test, and one compound, takes of the files that all tests of the archive enter.

rigs.json, charts.json and precision.json change with every test, and so would all that reads them, be it one finding of one test. Cut
down to what a test or compound takes they change where that changes: results and pages of all others stand. A cut is of the
same model as the whole, so that a stage gets from it what it would get from the whole, number by number:

    a test:      the findings in it
    a compound:  states of its tests' rigs; events of these rigs with their steps; shifts, moves and copies that touch one of its
                 tests, of their tests its own alone; the charts of its batches; its precision, and the scatter between
                 states of the rigs over all compounds (`compound.stage.state_sd`)

Everything else of the whole is left out, and so are the stamps, which name every test.
"""

from __future__ import annotations

from collections.abc import Set
from typing import Any

from pipeline.results.charts import SPEAKING, Chart, Charts, RigCharts
from pipeline.results.model import renewed
from pipeline.results.precision import Of, Quantity, RigPrecision
from pipeline.results.rigs import Examined, Rigs

STATES_OF: tuple[Quantity, ...] = ("mu", "bite")  # what a torque chain enters


def rigs_of_test(whole: Rigs, test: str) -> Rigs:
    found = [one for one in whole.findings if one.test == test]
    return Rigs(method=whole.method, unusable=whole.unusable, findings=found)


def charts_of_test(whole: Charts, test: str) -> Charts:
    found = [one for one in whole.findings if one.test == test]
    return Charts(method=whole.method, unusable=whole.unusable, findings=found)


def rigs_of_compound(whole: Rigs, tests: Set[str], rigs: Set[str]) -> Rigs:
    """tests: of the compound; rigs: on which they ran."""
    return Rigs(
        method=whole.method,
        unusable=whole.unusable,
        epochs={test: state for test, state in whole.epochs.items() if test in tests},
        examined=[_own(one, tests) for one in whole.examined if one.rig in rigs],
        shifts=[_own(one, tests) for one in whole.shifts if not tests.isdisjoint(one.tests)],
        copies=[one for one in whole.copies if one.test in tests or one.of in tests],
    )


def _own(one: Examined, tests: Set[str]) -> Examined:
    before, after = ([test for test in names if test in tests] for names in (one.before, one.tests))
    return renewed(one, before=before, tests=after)


def charts_of_compound(whole: Charts, compound: str, tests: Set[str]) -> Charts:
    rigs = [_moves(one, tests) for one in whole.rigs]
    return Charts(
        method=whole.method,
        unusable=whole.unusable,
        rigs=[one for one in rigs if one.charts],
        compounds=[one for one in whole.compounds if one.compound == compound],
    )


def _moves(rig: RigCharts, tests: Set[str]) -> RigCharts:
    """A rig's moves that touch one of the tests, in charts without points."""
    return RigCharts(
        rig=rig.rig, page=rig.page, tests=[], charts=[c for one in rig.charts if (c := _moved(one, tests)).wanders]
    )


def _moved(chart: Chart, tests: Set[str]) -> Chart:
    touching = [
        renewed(one, tests=[test for test in one.tests if test in tests])
        for one in chart.wanders
        if chart.quantity in SPEAKING and any(test in tests for test in one.tests)
    ]
    bare: dict[str, Any] = {
        "points": [],
        "restarts": [],
        "left_out": [],
        "sigma": None,
        "df": None,
        "run_length_plugged": None,
        "why": None,
    }
    return renewed(chart, wanders=touching, **bare)


def precision_of_compound(whole: RigPrecision, compound: str) -> RigPrecision:
    own = [one for one in whole.quantities if one.compound == compound]
    over_all = [_states(one) for one in whole.quantities if one.compound is None and one.quantity in STATES_OF]
    return RigPrecision(method=whole.method, unusable=whole.unusable, quantities=[*own, *over_all])


def _states(one: Of) -> Of:
    """The scatter between states of the rigs alone."""
    components = {kind: part for kind, part in one.components.items() if kind == "rig"}
    return Of(quantity=one.quantity, compound=None, conditions=one.conditions, components=components)
