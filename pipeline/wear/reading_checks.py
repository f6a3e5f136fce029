"""Wear readings against their neighbours: what a bench or a notebook did that no wear does.

Four witnesses stand beside a reading. *Mass*: the loss of mass over density and area is the loss of thickness,
interval by interval, but for what oxidises inside a disc (up to a third more mass, common practice); a zero of gauge
or scale that is off in one session parts the two in opposite senses before and after it. *Energy*: wear per energy
changes with conditions, not down in one interval and up by as much in the next, in several parts at once. *Clock*:
the parts come off the rig for a reading, so the rig stands still after that stop. *Shape*: the pattern over a part's
points is the part's own and hardly changes.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.archive.card import Card
from pipeline.constants import MAD_TO_SD
from pipeline.findings import Finding, finding
from pipeline.wear.card_checks import beside_new, pads_read
from pipeline.wear.components import Component, component, spoken
from pipeline.wear.sessions import Sessions, sessions

SIGMAS = 5.0
LEAST_UM = 8.0
SHARE = 0.10  # of an interval's loss: density, area and edges
INSIDE = 0.35  # of a disc's loss: mass that goes beside thickness by oxidation inside
LEAST_INTERVALS = 5  # intervals from which energy is a witness
PAUSES = 10.0  # times the usual idle time: the parts came off the rig
SHAPE_UM, SHAPE_SIGMAS = 6.0, 3.0  # of the pattern's root mean square over four points or more
LONE_UM, LONE_SIGMAS = 12.0, 6.0  # of one point beside the others'


def reading_findings(
    readings: pl.DataFrame,
    card: Card,
    stops: pl.DataFrame,
    run_number: np.ndarray,
    energy_mj: np.ndarray,
    assumed: tuple[float, float],
) -> list[Finding]:
    """All findings of the readings of one test.

    readings: of `read_wear`; stops: the stops table; run_number, energy_mj (n,): of everything the rig ran; assumed:
    the method's uncertainty of a thickness (m) and a mass (kg), where the readings do not show their own.
    """
    parts = [component(name, card) for name in sorted(set(readings["component"]))]
    thick = {p.name: s for p in parts if (s := sessions(readings, p.name, "thickness", assumed[0])) is not None}
    mass = {p.name: s for p in parts if (s := sessions(readings, p.name, "mass", assumed[1])) is not None}
    told = _odd(_by_mass(parts, thick, mass), "mass")
    if not told and not card.dwells:  # a soak takes away without any work
        told = _odd(_by_energy(thick, run_number, energy_mj), "energy")
    found = off_the_rig(readings, stops) or told
    for part in parts:
        if part.name in thick:
            found += shape_findings(part.name, thick[part.name])
    return found + beside_new(parts, thick, mass) + pads_read(readings, card)


class Residual(NamedTuple):
    """A part's interval losses beside a witness (um): by how much thickness fell more, and what is allowed either
    way.
    """

    part: str
    ends: list[int]
    off: np.ndarray
    more: np.ndarray
    less: np.ndarray
    gram_per_um: float


def _by_mass(parts: list[Component], thick: dict[str, Sessions], mass: dict[str, Sessions]) -> list[Residual]:
    found = []
    for part in parts:
        if not (part.name in thick and part.name in mass and part.density and part.area):
            continue
        t, m, scale = thick[part.name], mass[part.name], 1e6 / (part.density * part.area)
        both = [s for s in t.stops if s in m.stops]
        if len(both) < 3:
            continue
        at, beside = [t.stops.index(s) for s in both], [m.stops.index(s) for s in both]
        loss, weighed = -1e6 * np.diff(t.level[at]), -scale * np.diff(m.level[beside])
        u = np.hypot(1e6 * np.hypot(t.u[at][:-1], t.u[at][1:]), scale * np.hypot(m.u[beside][:-1], m.u[beside][1:]))
        good = weighed > 3 * u
        ratio = float(np.median(loss[good] / weighed[good])) if good.sum() >= 2 else 1.0
        base = np.maximum(LEAST_UM, SIGMAS * u)
        inside = INSIDE if part.name == "disc" else SHARE
        expected = np.abs(weighed * ratio)
        found.append(
            Residual(
                part.name, both, loss - ratio * weighed, base + SHARE * expected, base + inside * expected, 1e3 / scale
            )
        )
    return found


def _by_energy(thick: dict[str, Sessions], run_number: np.ndarray, energy_mj: np.ndarray) -> list[Residual]:
    """Residuals of wear per energy; the limit follows the scatter of the part's own other intervals."""
    found = []
    for name, t in thick.items():
        edges = [float(energy_mj[run_number <= s].sum()) for s in t.stops]
        loss, given = -1e6 * np.diff(t.level), np.diff(edges)
        if loss.size < LEAST_INTERVALS or not (given > 0).all():
            continue
        off = loss - float(np.median(loss / given)) * given
        u = 1e6 * np.hypot(t.u[:-1], t.u[1:])
        limit = np.maximum(np.maximum(LEAST_UM, SIGMAS * u), 3 * MAD_TO_SD * float(np.median(np.abs(off))))
        found.append(Residual(name, t.stops, off, limit, limit, 0.0))
    return found


def _odd(residuals: list[Residual], witness: str) -> list[Finding]:
    """Sessions that part from the witness: in opposite senses before and after, or (mass only) from one reading on."""
    odd: dict[int, list[tuple[Residual, float]]] = {}
    steps: list[tuple[Residual, int]] = []
    for r in residuals:
        high, low = r.off > r.more, r.off < -r.less
        taken: set[int] = set()
        for k in range(r.off.size - 1):
            if (low[k] and high[k + 1]) or (high[k] and low[k + 1]):
                odd.setdefault(r.ends[k + 1], []).append((r, float((r.off[k + 1] - r.off[k]) / 2)))
                taken |= {k, k + 1}
        steps += [(r, k) for k in np.flatnonzero(high | low).tolist() if k not in taken]
    found = []
    for after, several in odd.items():
        if witness == "energy" and len(several) < 2:
            continue
        found.append(_session(after, several, witness))
    if witness == "mass":
        for r, k in steps:
            text = (
                f"{spoken(r.part)}: between stops {r.ends[k]} and {r.ends[k + 1]} thickness fell by {r.off[k]:+.0f} "
                "um beside what the "
                "mass lost: a zero of gauge or scale that is off at one end or from there on, a lost fragment or "
                "a pick-up"
            )
            evidence = {"from_stop": r.ends[k], "to_stop": r.ends[k + 1], "off_um": float(r.off[k]), "part": r.part}
            found.append(finding("wear_reading_odd", text, evidence=evidence))
    return found


def _session(after: int, several: list[tuple[Residual, float]], witness: str) -> Finding:
    """One session that is off, with the cause that the parts have in common."""
    off = np.array([size for _, size in several])
    names = " and ".join(spoken(r.part) for r, _ in several)
    grams = np.array([size * r.gram_per_um for r, size in several])
    if witness == "energy":
        cause = "after_stop, the gauge's zero or the parts' state at that reading"
    elif off.size > 1 and np.ptp(off) < 0.5 * abs(off.mean()):
        cause = "the gauge's zero"
    elif off.size > 1 and np.ptp(grams) < 0.5 * abs(grams.mean()):
        cause = f"the scale's zero, by {-grams.mean():+.2g} g"
    else:
        cause = "a thickness or mass that was misread"
    text = (
        f"{names}: the reading after stop {after} is off by about {', '.join(f'{size:+.0f}' for size in off)} "
        "um against "
        f"{'mass' if witness == 'mass' else 'wear per energy'} before and after it: {cause}"
    )
    evidence = {"after_stop": after, "off_um": off.tolist(), "parts": [r.part for r, _ in several], "witness": witness}
    return finding("wear_reading_odd", text, evidence=evidence)


def off_the_rig(readings: pl.DataFrame, stops: pl.DataFrame) -> list[Finding]:
    """Readings after a stop behind which the rig ran on, in a test where it stood still behind the others."""
    known = stops.filter(pl.col("idle_before_s").is_not_null())
    idle = dict(known.select(pl.col("run_number") - 1, "idle_before_s").iter_rows())
    at = [s for s in sorted(set(readings["after_stop"])) if s in idle and s > 0]
    if len(at) < 3:
        return []
    typical, usual = float(np.median([idle[s] for s in at])), float(np.median(list(idle.values())))
    if typical < PAUSES * max(usual, 30.0):
        return []
    free = [s for s, pause in idle.items() if pause > 0.5 * typical and s not in at]
    found = []
    for s in [s for s in at if idle[s] < typical / PAUSES]:
        near = min(free, key=lambda other: abs(other - s), default=None)
        where = f"; it stood still {idle[near] / 3600:.1f} h after stop {near}" if near is not None else ""
        text = f"the rig ran on {idle[s]:.0f} s after stop {s}, where parts were read{where}: check after_stop"
        found.append(
            finding("wear_reading_odd", text, evidence={"after_stop": s, "idle_s": idle[s], "stood_after": near})
        )
    return found


def shape_findings(name: str, thick: Sessions) -> list[Finding]:
    """Sessions between which the pattern over the points changes at several points at once."""
    full = ~np.isnan(thick.means).any(axis=0)
    raw = 1e6 * thick.means[:, full]
    if raw.shape[1] < 4:
        return []
    shape = raw - raw.mean(axis=1, keepdims=True)
    change = np.diff(shape, axis=0)
    rms = np.sqrt((change**2).mean(axis=1))
    limit = np.maximum(SHAPE_UM, np.maximum(SHAPE_SIGMAS * 1e6 * np.sqrt(2) * thick.sigma, 4 * np.median(rms)))
    several = (change**2).max(axis=1) < 0.7 * (change**2).sum(axis=1)
    labels = [point for point, known in zip(thick.points, full, strict=True) if known]
    most = np.abs(change).max(axis=1)
    alone = ~several & (most > np.maximum(LONE_UM, LONE_SIGMAS * 1e6 * np.sqrt(2) * thick.sigma))
    # A lone value that is left out already has its finding.
    alone &= ~(thick.out[:, full][1:].any(axis=1) | thick.out[:, full][:-1].any(axis=1))
    found = _lone_points(name, thick.stops, labels, change, alone)
    for k in np.flatnonzero((rms > limit) & several).tolist():
        turned = [n for n in range(1, shape.shape[1]) if _apart(shape[k], np.roll(shape[k + 1], -n)) < 0.4 * rms[k]]
        cause = (
            f"its points were read in another order, {turned[0]} on"
            if turned
            else "another part, other points, or a lost fragment"
        )
        text = (
            f"{spoken(name)}: the pattern over its points changes by {rms[k]:.0f} um between stops {thick.stops[k]} "
            f"and {thick.stops[k + 1]}: {cause}"
        )
        evidence = {"from_stop": thick.stops[k], "to_stop": thick.stops[k + 1], "rms_um": float(rms[k]), "part": name}
        found.append(finding("wear_reading_odd", text, evidence=evidence))
    return found


def _lone_points(name: str, stops: list[int], labels: list[str], change: np.ndarray, odd: np.ndarray) -> list[Finding]:
    """One point that leaves the others in one session and comes back in the next: a misread or miswritten value."""
    at = np.argmax(np.abs(change), axis=1)
    found = []
    for k in range(len(odd) - 1):
        point, by = int(at[k]), float(change[k, at[k]])
        if odd[k] and odd[k + 1] and at[k + 1] == point and by * change[k + 1, point] < 0:
            text = (
                f"{spoken(name)}: point {labels[point]} after stop {stops[k + 1]} is off its neighbours in time by "
                f"{by:+.0f} um: misread or miswritten?"
            )
            evidence = {"after_stop": stops[k + 1], "point": labels[point], "off_um": by, "part": name}
            found.append(finding("wear_reading_odd", text, evidence=evidence))
    return found


def _apart(one: np.ndarray, other: np.ndarray) -> float:
    return float(np.sqrt(((one - other) ** 2).mean()))
