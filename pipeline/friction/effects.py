"""The linear effects of pressure, speed and energy density, and which of them a design can tell apart.

    x = [ln p/p0, ln w/w0, (e - e0) / (1 J/mm2) or ln e/e0]

An effect is told apart by what is left of it once temperature and the other effects are taken out. Left alone
with less than a twentieth of its variance it is tied to another one (stops to rest at one inertia: energy
density is I w^2 / 2A, so speed and energy move together); then neither has a slope of its own and one stands
for both. Moved by less than a set share it was not varied at all.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

NAMES = ("pressure", "speed", "energy")
WORDS = {"pressure": "pressure", "speed": "speed", "energy": "energy density", "temperature": "temperature"}
TIED_BELOW = 0.05  # share of an effect's variance left by the others
STILL_BELOW = {"pressure": 0.04, "speed": 0.03, "energy": 0.04}  # standard deviation of the logarithm
STOPS_PER_EFFECT = 6


@dataclass(frozen=True)
class Reference:
    """Reference conditions, SI: K, Pa, rad/s, J/m2."""

    temperature: float
    pressure: float
    speed: float
    energy_density: float


@dataclass(frozen=True)
class Choice:
    """Effects kept in the model and, for each one left out, the reason; `tied` names pairs that move
    together.
    """

    kept: tuple[str, ...]
    dropped: dict[str, str]
    tied: tuple[tuple[str, str], ...] = ()
    energy_form: str = "linear"  # linear: energy density itself; log: its logarithm


def linear(
    pressure: np.ndarray,
    speed: np.ndarray,
    energy_density: np.ndarray,
    reference: Reference,
    energy_form: str = "linear",
) -> np.ndarray:
    """All candidate effects, centred at the reference, shape (n, 3); SI in, dimensionless out (energy per
    J/mm2).
    """
    energy = np.asarray(energy_density, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.column_stack(
            [
                np.log(np.asarray(pressure, float) / reference.pressure),
                np.log(np.asarray(speed, float) / reference.speed),
                np.log(energy / reference.energy_density)
                if energy_form == "log"
                else (energy - reference.energy_density) / 1e6,
            ]
        )


def levels(kept: tuple[str, ...], reference: Reference, energy_form: str) -> np.ndarray:
    """The reference's conditions in the units of the effects in `kept`, (k,): NaN of those that are logarithms."""
    energy = np.nan if energy_form == "log" else reference.energy_density / 1e6
    return np.array([energy if name == "energy" else np.nan for name in kept])


def left_alone(column: np.ndarray, others: np.ndarray) -> float:
    """Share of a column's variance that the others (with a constant) do not explain."""
    total = column - column.mean()
    if not np.any(total):
        return 0.0
    basis = np.column_stack([np.ones(column.size), others])
    misfit = column - basis @ np.linalg.lstsq(basis, column, rcond=None)[0]
    return float(misfit @ misfit / (total @ total))


def separable(logs: np.ndarray, temperature_basis: np.ndarray, missing: tuple[str, ...] = ()) -> Choice:
    """Which effects the design separates; `logs` (n, 3) are the logarithms in the order of NAMES, `missing`
    not recorded.

    An effect counts as tied to another one when a smooth function of it (its square too) explains it: at one
    inertia and one end speed energy density is a function of start speed, though not a straight one.
    """
    dropped: dict[str, str] = {}
    kept = []
    for k, name in enumerate(NAMES):
        if name in missing:
            dropped[name] = f"{WORDS[name]} was not recorded"
        elif logs[:, k].std() < STILL_BELOW[name]:
            dropped[name] = f"{WORDS[name]} was not varied enough to show an effect"
        else:
            kept.append(name)
    tied: list[tuple[str, str]] = []
    while kept:
        shares = {
            name: left_alone(column_of(logs, name), others_of(logs, name, kept, temperature_basis)) for name in kept
        }
        worst = min(shares, key=lambda name: shares[name])
        if shares[worst] >= TIED_BELOW:
            break
        partner = _partner(worst, kept, logs, temperature_basis)
        if partner == "temperature":
            dropped[worst] = f"{WORDS[worst]} moved with temperature in this design: the two can't be separated"
            kept.remove(worst)
            continue
        out = _stands_back(worst, partner)
        stays = partner if out == worst else worst
        tied.append((stays, out))
        dropped[out] = (
            f"{WORDS[out]} and {WORDS[stays]} moved together in this design: the two can't be separated, "
            f"{WORDS[stays]} carries their joint effect"
        )
        kept.remove(out)
    return Choice(tuple(kept), dropped, tuple(tied))


def column_of(logs: np.ndarray, name: str) -> np.ndarray:
    return logs[:, NAMES.index(name)]


def others_of(logs: np.ndarray, name: str, kept: list[str], temperature_basis: np.ndarray) -> np.ndarray:
    """Temperature's basis with every other kept effect and its square."""
    rest = [column_of(logs, other) for other in kept if other != name]
    return np.column_stack([temperature_basis, *rest, *[(c - c.mean()) ** 2 for c in rest]])


def tie(stays: np.ndarray, out: np.ndarray) -> np.ndarray:
    """Polynomial (for numpy.polyval) of an effect over the one that it is tied to: a parabola, a line where only two levels
    were run, whose scatter would bend a parabola anyhow between them."""
    levels = np.unique(np.round(10 * (stays - stays.min()) / max(float(np.ptp(stays)), 1e-12))).size
    return np.polyfit(stays, out, min(2, max(levels - 1, 0)))


def _partner(name: str, kept: list[str], logs: np.ndarray, temperature_basis: np.ndarray) -> str:
    """What an effect is tied to: temperature when that alone explains it, else the effect that explains
    most of it.
    """
    column = column_of(logs, name)
    if len(kept) == 1 or left_alone(column, temperature_basis) < TIED_BELOW:
        return "temperature"
    others = [other for other in kept if other != name]
    return min(others, key=lambda o: left_alone(column, others_of(logs, name, [name, o], temperature_basis)))


def _stands_back(a: str, b: str) -> str:
    """Of a tied pair the one left out: energy density stays before speed, and either before pressure."""
    order = ("energy", "speed", "pressure")
    return max((a, b), key=order.index)
