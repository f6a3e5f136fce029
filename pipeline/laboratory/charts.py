"""Which values are charted: a rig by its tests in order of date, a product by its batches.

A rig's friction, bite and wear are read on its reference compound where its file names one and it was tested twice in a
batch, else on all compounds: each specimen is held against those of its own batch before it, so that a new batch never
passes for a rig that moved. The first specimen of a batch says nothing of the rig. Energy balance, zeros and lag know no
material, and every test counts.

Charts start anew where an event moved the level: friction, bite, wear and energy balance where `rigs` found a step,
zeros and lag at every event of the rig, as it sets them.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.archive.rigs import Rig
from pipeline.findings import finding
from pipeline.laboratory import control
from pipeline.laboratory.readings import LabTest, readings
from pipeline.results.charts import (
    SPEAKING,
    Chart,
    Charted,
    ChartPoint,
    Charts,
    CompoundCharts,
    Restart,
    RigCharts,
    Wander,
)
from pipeline.results.precision import Quantity
from pipeline.results.rigs import Event, Examined, OfRig

UNITS: dict[Charted, str] = {
    "mu": "1",
    "bite": "1",
    "wear": "1",
    "energy_ratio": "1",
    "torque_zero": "N m",
    "pressure_zero": "bar",
    "lag": "s",
}
#: scatter below which none is believed: what a rig does not hold, or a file does not write
LEAST_SCATTER: dict[Charted, float] = {
    "mu": 0.001,
    "bite": 0.001,
    "wear": 0.002,
    "energy_ratio": 0.0002,
    "torque_zero": 0.05,
    "pressure_zero": 0.001,
    "lag": 0.0001,
}
WORDS: dict[Charted, str] = {
    "mu": "friction",
    "bite": "bite",
    "wear": "wear of the disc per stop",
    "energy_ratio": "energy balance",
    "torque_zero": "zero of the torque",
    "pressure_zero": "zero of the pressure",
    "lag": "lag of torque behind pressure",
}
OF_MATERIAL: tuple[Quantity, ...] = ("mu", "bite", "wear")
FEW = "fewer than {n} values: nothing is judged yet"
LEAST = control.LEAST_DF + 2


@dataclass(frozen=True)
class Value:
    """What is charted: its name, date and tests, the group whose level it is held against."""

    name: str
    date: datetime.date
    tests: tuple[str, ...]
    group: str
    value: float


def charts(tests: Sequence[LabTest], rigs: Sequence[Rig], shifts: Sequence[Examined], pages: dict[str, str]) -> Charts:
    """charts.json without its heading. shifts: as rigs.json found them; pages: name of each rig's page."""
    stated = {rig.rig: rig for rig in rigs}
    ordered = sorted(tests, key=lambda t: (t.date, t.test))
    names = sorted({t.rig for t in ordered})
    found = [
        of_rig(
            name,
            [t for t in ordered if t.rig == name],
            stated.get(name) or Rig(rig=name),
            shifts,
            pages.get(name, name),
        )
        for name in names
    ]
    wanders = [one for rig in found for one in rig.wanders]
    compounds = [
        of_compound(name, [t for t in ordered if t.compound == name], wanders)
        for name in sorted({t.compound for t in ordered})
    ]
    return Charts(rigs=found, compounds=compounds, findings=[f for one in wanders for f in _findings(one)])


def of_rig(name: str, tests: Sequence[LabTest], rig: Rig, shifts: Sequence[Examined], page: str) -> RigCharts:
    """All charts of one rig; `tests` its own, in order of date."""
    moved = {s.date: s for s in shifts if s.rig == name}
    made: list[Chart] = []
    for quantity in OF_MATERIAL:
        own, subject, left_out = _of_material(tests, quantity, rig.reference_compound)
        made.append(_chart(quantity, subject, own, rig, tests, moved, left_out))
    pick: dict[Charted, Callable[[LabTest], float | None]] = {
        "energy_ratio": lambda t: t.summary.energy_balance.ratio_median if t.summary.energy_balance else None,
        "torque_zero": lambda t: t.summary.offsets.torque_nm if t.summary.offsets else None,
        "pressure_zero": lambda t: t.summary.offsets.pressure_bar if t.summary.offsets else None,
        "lag": lambda t: t.summary.lag_s.value if t.summary.lag_s else None,
    }
    for charted, of in pick.items():
        told = [(t, of(t)) for t in tests]
        values = [Value(t.test, t.date, (t.test,), "", x) for t, x in told if x is not None]
        made.append(
            _chart(charted, "", values, rig, tests, moved, [f"{t.test}: not told" for t, x in told if x is None])
        )
    events = [
        Event(date=e.date.isoformat(), what=e.what, note=e.note) for e in sorted(rig.events, key=lambda e: e.date)
    ]
    return RigCharts(
        rig=name, page=page, reference=rig.reference_compound, events=events, tests=[t.test for t in tests], charts=made
    )


def _of_material(
    tests: Sequence[LabTest], quantity: Quantity, reference: str | None
) -> tuple[list[Value], str, list[str]]:
    """The rig's values of a quantity, the compounds they are of in words, and what was left out."""
    compounds = sorted({t.compound for t in tests})
    read = {c: readings([t for t in tests if t.compound == c], quantity) for c in compounds}
    if reference in read:
        batches = [r.test.batch for r in read[reference].found]
        if len(set(batches)) < len(batches):
            read = {reference: read[reference]}
    values = [
        Value(r.test.test, r.test.date, (r.test.test,), f"{compound} {r.test.batch}", r.value)
        for compound, one in read.items()
        for r in one.found
    ]
    values.sort(key=lambda v: (v.date, v.name))
    return values, ", ".join(read), [why for one in read.values() for why in one.left_out]


def _chart(
    quantity: Charted,
    subject: str,
    values: Sequence[Value],
    rig: Rig,
    tests: Sequence[LabTest],
    moved: dict[str, Examined],
    left_out: Sequence[str],
) -> Chart:
    """The chart of a rig's series, with its restarts and what wandered."""
    at = _restarts(quantity, values, rig, moved)
    known = getattr(rig.scatter, quantity) if rig.scatter else None
    known = known / 1e5 if known is not None and quantity == "pressure_zero" else known
    found = control.watch(
        [v.value for v in values],
        [v.group for v in values],
        sigma=known,
        restarts=list(at),
        least=LEAST_SCATTER[quantity],
    )
    chart = drawn(quantity, subject, values, found, known=known is not None, left_out=left_out)
    ends = [*sorted(at), len(values)]
    wanders = [_wander(quantity, subject, values, move, found, rig.rig, tests, ends) for move in found.moves]
    restarts = [Restart(name=values[i].name, date=values[i].date.isoformat(), why=why) for i, why in sorted(at.items())]
    restarts += [
        Restart(
            name=values[m.onset].name,
            date=values[m.onset].date.isoformat(),
            why=f"level left, found {values[m.alarm].name}",
        )
        for m in found.moves
    ]
    return chart.model_copy(update={"restarts": restarts, "wanders": wanders})


def _restarts(quantity: Charted, values: Sequence[Value], rig: Rig, moved: dict[str, Examined]) -> dict[int, str]:
    """Number of the first value after each event that moved the level, and the event in words."""
    found: dict[int, str] = {}
    for event in sorted(rig.events, key=lambda e: e.date):
        own = moved.get(event.date.isoformat())
        if quantity in SPEAKING and own is None:
            continue
        first = next((i for i, v in enumerate(values) if v.date >= event.date), None)
        if first:
            step = f", shifted by {100 * (own.shift_relative or 0.0):+.1f} %" if own else ""
            found[first] = f"{event.what} {event.date.isoformat()}{step}"
    return found


def drawn(
    quantity: Charted,
    subject: str,
    values: Sequence[Value],
    found: control.Watched,
    *,
    known: bool,
    left_out: Sequence[str] = (),
) -> Chart:
    """The chart as it is written, moves and restarts left to the caller."""
    single, average = control.run_lengths()
    judged = sum(p.z is not None for p in found.points)
    points = [
        ChartPoint(
            name=v.name,
            date=v.date.isoformat(),
            group=v.group,
            tests=list(v.tests),
            value=v.value,
            **{key: value for key, value in vars(p).items() if key != "df"},
        )
        for v, p in zip(values, found.points, strict=True)
    ]
    return Chart(
        quantity=quantity,
        subject=subject,
        unit=UNITS[quantity],
        points=points,
        scatter="known" if known else "estimated",
        sigma=found.sigma,
        df=found.df,
        single_limit=control.SINGLE,
        average_weight=control.WEIGHT,
        average_limit=control.limit_of_average(),
        run_length_single=single,
        run_length_average=average,
        run_length_plugged=None if known or not found.df else control.plugged_in(found.df + 1),
        left_out=list(left_out),
        why=None if judged else FEW.format(n=2 if known else LEAST),
    )


def _wander(
    quantity: Charted,
    subject: str,
    values: Sequence[Value],
    move: control.Move,
    found: control.Watched,
    rig: str,
    tests: Sequence[LabTest],
    ends: Sequence[int],
) -> Wander:
    """The move in the rig's own terms: which of all its tests it touches, and how much of friction it is."""
    onset, alarm, earliest = values[move.onset], values[move.alarm], values[move.earliest]
    later = sorted(m.onset for m in found.moves if m.onset > move.onset)
    stop = min([*(end for end in ends if end > move.onset), *later])
    last = values[stop].date if stop < len(values) else datetime.date.max
    touched = [t.test for t in tests if (t.date, t.test) >= (onset.date, onset.name) and t.date < last]
    relative = None
    if move.shift is not None and quantity in SPEAKING:
        relative = move.shift if quantity == "energy_ratio" else math.expm1(move.shift)
    return Wander(
        rig=rig,
        quantity=quantity,
        subject=subject,
        onset=onset.name,
        onset_date=onset.date.isoformat(),
        earliest_date=earliest.date.isoformat(),
        alarm=alarm.name,
        alarm_date=alarm.date.isoformat(),
        shift=move.shift,
        shift_u=move.shift_u,
        shift_relative=relative,
        tests=touched,
        text=_words(quantity, subject, rig, onset, alarm, relative, move),
    )


def _words(
    quantity: Charted, subject: str, rig: str, onset: Value, alarm: Value, relative: float | None, move: control.Move
) -> str:
    of = f" of {subject}" if subject else ""
    if relative is not None and quantity != "energy_ratio":
        size = f", by {100 * relative:+.1f} % (standard uncertainty {100 * (move.shift_u or 0.0):.1f} %)"
    elif move.shift is not None:
        size = f", by {move.shift:+.3g} {'' if UNITS[quantity] == '1' else UNITS[quantity]}".rstrip()
    else:
        size = ""
    return (
        f"{WORDS[quantity]}{of} on rig {rig} left its level with {onset.name} ({onset.date.isoformat()}){size}; "
        f"found with {alarm.name} ({alarm.date.isoformat()}), no event is dated there that explains it"
    )


def of_compound(compound: str, tests: Sequence[LabTest], wanders: Sequence[Wander]) -> CompoundCharts:
    """Batches of a compound in the order in which they were first tested."""
    made = []
    for quantity in OF_MATERIAL:
        read = readings(list(tests), quantity)
        batches: dict[str, list[LabTest]] = {}
        level: dict[str, list[float]] = {}
        for r in sorted(read.found, key=lambda r: (r.test.date, r.test.test)):
            batches.setdefault(r.test.batch, []).append(r.test)
            level.setdefault(r.test.batch, []).append(r.value)
        values = [
            Value(batch, own[0].date, tuple(t.test for t in own), "", float(np.mean(level[batch])))
            for batch, own in batches.items()
        ]
        found = control.watch([v.value for v in values], least=LEAST_SCATTER[quantity])
        chart = drawn(quantity, compound, values, found, known=False, left_out=read.left_out)
        restarts = [
            Restart(
                name=values[m.onset].name,
                date=values[m.onset].date.isoformat(),
                why=f"level left, found {values[m.alarm].name}",
            )
            for m in found.moves
        ]
        made.append(chart.model_copy(update={"restarts": restarts, "why": _rig_first(chart, wanders) or chart.why}))
    return CompoundCharts(compound=compound, charts=made)


def _rig_first(chart: Chart, wanders: Sequence[Wander]) -> str | None:
    """What the rig says where a batch is out of its limits and ran on a rig that wandered."""
    out = {test for p in chart.points if p.signals or p.alarm for test in p.tests}
    blamed = [one for one in wanders if out & set(one.tests)]
    return "; ".join(f"look at the rig first: {one.text}" for one in blamed) or None


def _findings(one: Wander) -> list[OfRig]:
    """rig_wanders in each test that the move touches."""
    evidence = one.model_dump(exclude={"tests", "text"}, exclude_none=True)
    found = finding("rig_wanders", one.text, evidence=evidence).as_dict()
    return [OfRig(test=test, **found) for test in one.tests]
