"""Repeatability and reproducibility of a laboratory: components of scatter of a compound's tests, and of all together.

In the manner of ASTM E691 and ISO 5725-2, with the batch as the material, specimens as the results of one laboratory,
and the states of the rigs between dated events as the laboratories: repeatability is the scatter of a test's result over
specimens of one batch in one state, reproducibility that over states on top. The limits are 2.8 standard deviations:
what the difference of two results exceeds once in twenty.

Compounds are taken together on the logarithmic scale, each with a level of its own. A state of a rig moves all
compounds alike (a gain is a share), so its component is then told by more batches. The scatter of specimens is pooled
only where no compound's stands out by Cochran's C at 1 %.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from pipeline.constants import Array
from pipeline.drift.outliers import cochran
from pipeline.laboratory.components import Components, Estimate, components
from pipeline.laboratory.consistency import cochran_of, h_statistics, k_statistics
from pipeline.laboratory.readings import CONDITIONS, Reading, Readings
from pipeline.laboratory.scatter import OCCASION_WHY, STOP_WHY, Within, of_stops, within
from pipeline.results.precision import BatchShare, Component, Consistency, Kind, Of, Precision, Quantity

LIMIT = 2.8  # 1.96 sqrt(2): ISO 5725-6, 4.1.4; ASTM E691
NO_COCHRAN = "fewer than two tests with blocks of stops"
OF_WEAR = "a wear rate has no stops of its own: each is a reading over the test"
UNLIKE = 0.01  # of Cochran's test of the compounds' scatter, before it is pooled


def of_quantity(quantity: Quantity, compounds: Sequence[Readings]) -> list[Of]:
    """Precision of one quantity: of each compound, then over all of them, each with its own level."""
    everything = _estimated([r for one in compounds for r in one.found])
    rig = everything[2].found.get("rig") if everything[2] else None
    found = [
        _of(one.quantity, one.compound, *_estimated(one.found), rig=rig, left_out=one.left_out) for one in compounds
    ]
    return [*found, _of(quantity, None, *everything, rig=rig, unlike=_unlike(compounds))]


def _estimated(readings: Sequence[Reading]) -> tuple[tuple[Reading, ...], Within, Components | None]:
    """The readings with a variance each, the scatter inside tests, and the components of the specimens' values."""
    inside = within(readings)
    kept = tuple(readings)
    if len(kept) < 2:
        return kept, inside, None
    values, variances, batch, state, level = _by_specimen(kept, inside)
    return kept, inside, components(values, batch, state, level=level, variances=variances)


def _by_specimen(readings: Sequence[Reading], inside: Within) -> tuple[Array, Array, list[str], list[str], list[str]]:
    """One value for each specimen and state of a rig (several tests of it averaged), with its own variance and labels."""
    rows: dict[tuple[str, str, str, str], list[Reading]] = {}
    for r in readings:
        rows.setdefault((r.test.compound, r.test.batch, r.test.specimen, r.test.state), []).append(r)
    values = np.array([np.mean([r.value for r in own]) for own in rows.values()])
    variances = np.array([np.mean([own_variance(r, inside) for r in own]) / len(own) for own in rows.values()])
    return (
        values,
        variances,
        [f"{compound}\x1f{batch}" for compound, batch, _, _ in rows],
        [state for *_, state in rows],
        [compound for compound, *_ in rows],
    )


def own_variance(reading: Reading, inside: Within) -> float:
    """Variance of a test's value itself: of its readings, or of its stops and blocks."""
    return reading.variance if reading.variance is not None else inside.variance(reading.blocks)


def _unlike(compounds: Sequence[Readings]) -> str | None:
    """Why specimens' scatter is not one for all compounds; None where none stands out or none can be told."""
    names, variances, free = [], [], []
    for one in compounds:
        parts = _estimated(one.found)[2]
        if parts is not None and parts.result is not None:
            names.append(one.compound)
            variances.append(parts.result.variance)
            free.append(float(parts.result.df))
    if len(names) < 2 or not any(variances):
        return None
    found = cochran(variances, df=free, significance=UNLIKE)
    if not found.beyond:
        return None
    return (
        f"specimens of {names[found.where]} scatter by more than those of the others (Cochran's C {found.statistic:.2f}, "
        f"critical {found.critical:.2f} at 1 %): not one scatter for all compounds"
    )


def _of(
    quantity: Quantity,
    compound: str | None,
    readings: tuple[Reading, ...],
    inside: Within,
    parts: Components | None,
    *,
    rig: Estimate | None,
    left_out: Sequence[str] = (),
    unlike: str | None = None,
) -> Of:
    tests = [r.test for r in readings]
    head = {
        "quantity": quantity,
        "compound": compound,
        "conditions": CONDITIONS[quantity],
        "tests": len(tests),
        "specimens": len({(t.compound, t.batch, t.specimen) for t in tests}),
        "batches": len({(t.compound, t.batch) for t in tests}),
        "states": len({t.state for t in tests}),
        "occasions": sum(len(r.blocks) for r in readings),
        "stops": sum(r.stops for r in readings),
        "autocorrelation": inside.rho,
        "left_out": list(left_out),
    }
    if parts is None:
        few = "no test" if not readings else "one test"
        why = f"{few} of it can be read in these conditions"
        return Of(**head, components={kind: Component(why=why) for kind in ("stop", "occasion", "specimen", "batch", "rig")},
                  why=why)  # fmt: skip
    found = _components(quantity, inside, parts, unlike)
    alone = compound is not None
    held = cochran_of([t.test for t in tests], *of_stops(readings, inside)) if alone and quantity != "wear" else None
    return Of(
        **head,
        level=float(np.exp(np.mean([r.value for r in readings]))) if alone else None,
        components=found,
        repeatability=_precision(parts.result, parts.why.get("specimen") or unlike),
        reproducibility=_precision(
            parts.over_rigs, parts.why.get("rig") or parts.why.get("specimen") or unlike or _unknown(found["rig"])
        ),
        consistency=_consistency(readings, inside) if alone else [],
        cochran=held,
        cochran_why=OF_WEAR if quantity == "wear" else None if held else NO_COCHRAN if alone else "by compound",
        pairs=_pairs(readings, parts, rig) if alone else [],
        why=unlike,
    )


def _components(quantity: Quantity, inside: Within, parts: Components, unlike: str | None) -> dict[Kind, Component]:
    found: dict[Kind, Component] = {}
    wear = quantity == "wear"
    found["stop"] = _component(inside.stop, OF_WEAR if wear else STOP_WHY)
    found["occasion"] = _component(inside.occasion, OF_WEAR if wear else OCCASION_WHY)
    for part in ("specimen", "batch", "rig"):
        found[part] = _component(parts.found.get(part), parts.why.get(part))
    if unlike:
        found["specimen"] = Component(why=unlike)
    return found


def _unknown(rig: Component) -> str | None:
    """The reservation of a reproducibility whose share of the rig is not known."""
    return None if rig.value is not None or rig.df is None else f"scatter between states counts as nothing: {rig.why}"


def _component(estimate: Estimate | None, why: str | None) -> Component:
    if estimate is None:
        return Component(why=why)
    value, low, high = estimate.sd
    if value == 0 and estimate.df < 2:
        why = f"not known: one degree of freedom, which leaves anything up to {100 * high:.2g} %"
        return Component(low=low, high=high, df=estimate.df, why=why)
    few = "one degree of freedom: little more than its order is told" if estimate.df < 2 else None
    return Component(value=value, low=low, high=high, df=estimate.df, why=few)


def _precision(estimate: Estimate | None, why: str | None) -> Precision:
    if estimate is None:
        return Precision(why=why)
    value, low, high = estimate.sd
    return Precision(value=value, low=low, high=high, limit=LIMIT * value, why=why)


def _consistency(readings: Sequence[Reading], inside: Within) -> list[Consistency]:
    """h and k of every test."""
    values = np.array([r.value for r in readings])
    h = h_statistics(values, [r.test.batch for r in readings])
    k = k_statistics(*of_stops(readings, inside))
    middle = float(values.mean())
    return [
        Consistency(
            test=r.test.test,
            batch=r.test.batch,
            specimen=r.test.specimen,
            state=r.test.state,
            level=float(np.expm1(r.value - middle)),
            h=float(h.value[i]),
            h_critical=float(h.critical[i]),
            k=float(k.value[i]),
            k_critical=float(k.critical[i]),
            odd=bool(abs(h.value[i]) > h.critical[i] or k.value[i] > k.critical[i]),
        )
        for i, r in enumerate(readings)
    ]


def _pairs(readings: Sequence[Reading], parts: Components, rig: Estimate | None) -> list[BatchShare]:
    """How far each two batches would differ without differing; `rig` is the states' component over all compounds."""
    by_batch: dict[str, list[Reading]] = {}
    for r in readings:
        by_batch.setdefault(r.test.batch, []).append(r)
    return [_pair(a, b, by_batch, parts, rig) for a, b in combinations(by_batch, 2)]


def _pair(a: str, b: str, by_batch: dict[str, list[Reading]], parts: Components, rig: Estimate | None) -> BatchShare:
    from scipy import stats

    own = {x: by_batch[x] for x in (a, b)}
    difference = float(np.mean([r.value for r in own[a]]) - np.mean([r.value for r in own[b]]))
    shares = {x: _shares(own[x]) for x in (a, b)}
    apart = {s: shares[a].get(s, 0.0) - shares[b].get(s, 0.0) for s in {*shares[a], *shares[b]}}
    away = sum(abs(x) for x in apart.values()) / 2
    head = {"a": a, "b": b, "difference": difference, "state_apart": away}
    if parts.result is None:
        return BatchShare(**head, specimen_sd=None, why=parts.why.get("specimen"))
    count = {x: len({r.test.specimen for r in own[x]}) for x in own}
    specimen = parts.result.variance * sum(1 / n for n in count.values())
    states = sum(x * x for x in apart.values())
    if rig is None and states > 1e-12:
        why = f"the batches ran in different states of the rigs, and {parts.why.get('rig')}"
        return BatchShare(**head, specimen_sd=float(np.sqrt(specimen)), why=why)
    of_rig = states * rig.variance if rig else 0.0
    batch = parts.found.get("batch")
    total = specimen + of_rig + 2 * (batch.variance if batch else 0.0)
    reach = float(stats.t.ppf(0.975, parts.result.df)) * float(np.sqrt(specimen + of_rig))
    return BatchShare(
        **head,
        specimen_sd=float(np.sqrt(specimen)),
        rig_sd=float(np.sqrt(of_rig)),
        rig_sd_high=float(np.sqrt(states * rig.high)) if rig else 0.0,
        reach=reach,
        rig_share=of_rig / total if total > 0 else None,
        why=None if batch else f"of the variance by specimens and rig alone: {parts.why.get('batch')}",
    )


def _shares(readings: Sequence[Reading]) -> dict[str, float]:
    """Share of the readings in each state."""
    states = [r.test.state for r in readings]
    return {state: states.count(state) / len(states) for state in dict.fromkeys(states)}
