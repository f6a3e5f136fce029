"""The questions that two compounds' own files answer, and what can only be shown side by side."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pipeline.archive.targets import Target
from pipeline.batches.intervals import compared
from pipeline.results.batches import CompoundBatches, Quantity
from pipeline.results.comparison import Compared, Shown
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.drift import TestDrift
from pipeline.results.duty import CompoundDuty
from pipeline.results.friction_map import EndInterval, Reference
from pipeline.results.model import Interval, confidence_of
from pipeline.results.wear import CompoundComponent, CompoundWear
from pipeline.wording import counted

ALIKE = 0.10  # relative, of pressure and energy density at which windows and plateaus stand
SAME_BAND = 1e-6
POOLED = "the figures' intervals do not hold the scatter between batches, as those by specimens do"


@dataclass(frozen=True)
class Files:
    """One compound's results; drifts: its tests' by name."""

    name: str
    friction: CompoundFriction
    wear: CompoundWear
    batches: CompoundBatches
    duty: CompoundDuty
    drifts: dict[str, TestDrift]

    def sure_of(self, section: str) -> float:
        """Confidence of the intervals of one of its files; both compounds' are of one method."""
        made = {"friction": self.friction.stamp, "wear": self.wear.stamp, "duty": self.duty.stamp}[section]
        return confidence_of(made, section)

    @property
    def specimens(self) -> int:
        return sum(batch.specimens for batch in self.batches.batches)


def by_files(a: Files, b: Files, target: Target | None) -> list[Compared]:
    """Window ends, plateau, wear laws, fade and life on common duties."""
    single = [side.name for side in (a, b) if side.specimens < 2]
    alone = f"{' and '.join(single)}: one specimen cannot tell its compound from itself" if single else None
    of_mu, of_wear = alone or _batches_apart(a, b, "mu"), alone or _batches_apart(a, b, "wear")
    rows = [*_window(a, b, of_mu), _plateau(a, b, target, of_mu), *_laws(a, b, target, of_wear), _fade(a, b, of_mu),
            *_lives(a, b, target, of_wear)]  # fmt: skip
    return [row if row.figure.low is None else row.model_copy(update={"why": f"{row.why}; {POOLED}"}) for row in rows]


def _batches_apart(a: Files, b: Files, quantity: Quantity) -> str | None:
    """Why a figure over all batches of a compound cannot answer; None where no two of them are shown to differ in the quantity."""
    said = []
    for side in (a, b):
        pairs = [f"{pair.a} and {pair.b}" for pair in side.batches.pairs if pair.verdicts[quantity] == "different"]
        said += [f"{side.name}: {', '.join(pairs)}"] if pairs else []
    words = {"mu": "friction", "wear": "wear"}.get(quantity, quantity)
    return (
        f"batches differ in {words} ({'; '.join(said)}), and the figure over all of them holds no scatter between them; "
        "a reference batch in each target would compare batch by batch"
        if said
        else None
    )


def _window(a: Files, b: Files, alone: str | None) -> list[Compared]:
    bands = [side.friction.wanted_mu for side in (a, b)]
    same = all(bands) and all(abs(x - y) <= SAME_BAND for x, y in zip(bands[0] or [], bands[1] or [], strict=True))
    refused = alone or _conditions_apart(a.friction.reference, b.friction.reference)
    if refused is None and not same:
        refused = "their windows are of unlike bands of mu; give both compounds a target with one band"
    rows = []
    for which in ("lower", "upper"):
        ends = [_end(side.friction, which) for side in (a, b)]
        open_ = next((end.why for end in ends if end.value is not None and end.why), None)
        rows.append(
            compared(f"Friction window, {which} end", ends[0], ends[1], unit="°C", conditions=_at(a.friction.reference),
                     refused=refused or open_, confidence=a.sure_of("friction"))
        )  # fmt: skip
    return rows


def _end(found: CompoundFriction, which: str) -> Interval:
    window = found.window
    if window is None:
        return Interval(why=found.window_reason or "there is no window")
    value, interval, by = (
        (window.low_c, window.low_interval_c, window.low_limited_by)
        if which == "lower"
        else (window.high_c, window.high_interval_c, window.high_limited_by)
    )
    return Interval(value=value, low=interval.low, high=interval.high, why=_open(interval, by))


def _open(interval: EndInterval, by: str) -> str | None:
    ends = by == "data" or interval.beyond_data
    return "an end lies where the data end, or beyond: tests further out would decide it" if ends else interval.why


def _conditions_apart(a: Reference | None, b: Reference | None) -> str | None:
    """Why two curves do not stand at common conditions; None where they do."""
    if a is None or b is None:
        return "no reference conditions"
    said = []
    for words, x, y in (
        ("pressure", a.pressure_bar, b.pressure_bar),
        ("speed", a.speed_rpm, b.speed_rpm),
        ("energy density", a.energy_density_j_mm2, b.energy_density_j_mm2),
    ):
        if (x is None) != (y is None) or (x and y and abs(math.log(x / y)) > ALIKE):
            said.append(words)
    return (
        f"their curves stand at unlike {' and '.join(said)}: run checks of both at the same conditions"
        if said
        else None
    )


def _at(reference: Reference | None) -> str:
    if reference is None or reference.pressure_bar is None or reference.energy_density_j_mm2 is None:
        return "each at its own reference"
    return f"{reference.pressure_bar:.1f} bar, {reference.energy_density_j_mm2:.1f} J/mm² (within 10 % of each other)"


def _plateau(a: Files, b: Files, target: Target | None, alone: str | None) -> Compared:
    marks = [side.friction.landmarks for side in (a, b)]
    plateaus = [
        Interval(value=m.plateau.value, low=m.plateau.low, high=m.plateau.high) if m else Interval(why="no curve")
        for m in marks
    ]
    margin = target.mu_batch_margin if target else None
    return compared(
        "Plateau of µ", *plateaus, margin=(-margin, margin) if margin else None, conditions=_at(a.friction.reference),
        refused=alone or _conditions_apart(a.friction.reference, b.friction.reference), confidence=a.sure_of("friction"),
    )  # fmt: skip


LAW_NAMES = {"a": "mechanical, per friction energy", "k": "per force and distance", "B": "oxidation at 600 °C"}


def _laws(a: Files, b: Files, target: Target | None, alone: str | None) -> list[Compared]:
    """Parameters that the identified laws of a component share: what wears it, apart from the program."""
    margin = target.wear_batch_ratio if target else None
    rows = []
    for name in (a.wear.components or {}).keys() & (b.wear.components or {}).keys():
        parts = [(side.wear.components or {})[name] for side in (a, b)]
        rows += _parameters(name, parts[0], parts[1], margin, alone, a.sure_of("wear"))
    return sorted(rows, key=lambda row: row.question)


def _parameters(
    name: str,
    a: CompoundComponent,
    b: CompoundComponent,
    margin: tuple[float, float] | None,
    alone: str | None,
    confidence: float,
) -> list[Compared]:
    laws = [part.chosen_law for part in (a, b)]
    rows = []
    for key, words in LAW_NAMES.items():
        values = [law.parameters.get(key) if law else None for law in laws]
        if values[0] is None or values[1] is None or laws[0] is None or laws[1] is None:
            continue
        refused = alone
        if laws[0].model != laws[1].model:
            refused = f"unlike laws ({laws[0].model.replace('_', ' ')}, {laws[1].model.replace('_', ' ')}): one program of both would decide it"
        elif not (laws[0].identified and laws[1].identified):
            refused = "the readings do not identify the law of both; more readings between unlike blocks would"
        intervals = [Interval(value=p.value, low=p.low, high=p.high) for p in values if p is not None]
        rows.append(
            compared(f"Wear of {name.replace('_', ' ')}, {words} (ratio)", *intervals, unit=values[0].unit or "", ratio=True,
                     margin=margin, conditions="by the wear laws", refused=refused, confidence=confidence)
        )  # fmt: skip
    return rows


def _fade(a: Files, b: Files, alone: str | None) -> Compared:
    """The deepest fade of either; conditions of fades are the program's, so they are told and not matched."""
    fades = [side.friction.fade for side in (a, b)]
    found = [
        Interval(value=f.index, low=f.index_low, high=f.index_high, why=f.why) if f else Interval(why="no fade block")
        for f in fades
    ]
    temperatures = [f.temperature_c if f else None for f in fades]
    at, refused = "no fade of both", alone
    if temperatures[0] is not None and temperatures[1] is not None:
        at = f"lowest µ at {temperatures[0]:.0f} and {temperatures[1]:.0f} °C"
        if abs(temperatures[0] - temperatures[1]) > ALIKE * max(temperatures):  # type: ignore[type-var,operator]
            refused = refused or "their fades reached unlike temperatures: run one fade program on both"
    name = "Fade index, the deepest of either"
    return compared(name, *found, conditions=at, refused=refused, confidence=a.sure_of("friction"))


def _lives(a: Files, b: Files, target: Target | None, alone: str | None) -> list[Compared]:
    """Life on every duty that both have; a longer life is a lower wear, so the margin is turned over."""
    ratio = target.wear_batch_ratio if target else None
    margin = (1 / ratio[1], 1 / ratio[0]) if ratio else None
    lives = [{d.duty: d for d in side.duty.duties} for side in (a, b)]
    rows = []
    for duty in (name for name in lives[0] if name in lives[1]):
        found = [side[duty].life_km for side in lives]
        intervals = [Interval(value=x.value, low=x.low, high=x.high, why=x.why) for x in found]
        whose = [side[duty].life_of for side in lives]
        worst = [of.batch for of in whose if of is not None and of.batch is not None]
        said = f"; of the worst batch: {' and '.join(worst)}" if worst else ""
        rows.append(
            compared(f"Life on {duty} (ratio)", *intervals, unit="km", ratio=True, margin=margin,
                     conditions=f"the same duty and opening{said}", refused=alone, confidence=a.sure_of("duty"))
        )  # fmt: skip
    return rows


def side_by_side(a: Files, b: Files) -> list[Shown]:
    """Drift verdicts and glaze limits: verdicts of single tests, between which there is no test of a difference."""
    why = "verdicts of single tests in their own programs: the same low-energy block on both would decide it"
    return [
        Shown(question="Drift", a=_drift(a), b=_drift(b), why=why),
        Shown(question="Limit of low-energy use (glazing)", a=_glaze(a), b=_glaze(b), why=why),
    ]


def _drift(side: Files) -> str:
    seen = [
        f"{name}: {found.verdict or 'not given'}"
        for name, found in sorted(side.drifts.items())
        if found.verdict != "none"
    ]
    return "; ".join(seen) or f"none in {counted(len(side.drifts), 'test')}"


def _glaze(side: Files) -> str:
    limit = side.friction.glaze_limit
    return "not known" if limit is None else limit.text or limit.why or "not known"
