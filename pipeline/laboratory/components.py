"""Components of variance of one value per specimen: specimen, batch and state of the rig, in any unbalanced design.

    y_i = mu(i) + batch(i) + state(i) + specimen_i + error_i       Var = s_b^2 + s_r^2 + s_s^2 + v_i

with mu a level of each compound (fixed), batch and state of the rig crossed and random, and v_i the known variance of
the value itself (its stops and blocks). Estimates are restricted maximum likelihood, none below zero; in balanced data
they are the closed forms of the analysis of variance.

Intervals are generalized ones (Weerahandi, JASA 88, 1993, p. 899; Burdick and Graybill, Confidence Intervals on Variance
Components, 1992; both from memory) on the sums of squares of Henderson's third method: each of specimen, batch and
state adjusted for the others,

    SS_s = residual,  SS_b = R(batch | state),  SS_r = R(state | batch),   SS / E(SS) ~ chi^2(nu) / nu

so that a component, which is a difference of mean squares, is drawn as often as the chi-squares that stand behind it.
The likelihood's own intervals are far too narrow with the handful of batches and the two or three states that a
laboratory has. A component without a degree of freedom is not estimated at all: nothing parts it from the others.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from pipeline.constants import Array

Part = Literal["specimen", "batch", "rig"]
PARTS: tuple[Part, ...] = ("specimen", "batch", "rig")
DRAWS, SEED = 20_000, 5725
LARGEST = 600  # values up to which the likelihood is maximised; beyond, the sums of squares say the same
WHY: dict[Part, str] = {
    "specimen": "no batch has two specimens in one state of a rig: their scatter is not parted from the batches'",
    "batch": "batches are not parted from the states of the rigs: no state saw two batches",
    "rig": "states of the rigs are not parted from the batches: no batch ran in two states",
}
ALONE: dict[Part, str] = {
    "specimen": WHY["specimen"],
    "batch": "one batch says nothing about the scatter between batches",
    "rig": "one state of one rig says nothing about the scatter between states",
}


@dataclass(frozen=True)
class Square:
    """A sum of squares: its size, degrees of freedom, and E(SS) = sum(weights) s_part^2 + df s_s^2 + known."""

    sum: float
    df: int
    weights: Array  # (df,) one of each degree of freedom; unequal where the design is unbalanced
    known: float

    @property
    def own(self) -> float:
        return float(self.weights.sum())

    def effective(self, part: float, specimen: float) -> float:
        """Degrees of freedom of the chi-square that its distribution is nearest to (Satterthwaite)."""
        sizes = self.weights * max(part, 0.0) + max(specimen, 0.0) + self.known / self.df
        return float(sizes.sum() ** 2 / (sizes**2).sum()) if sizes.max() > 0 else float(self.df)


@dataclass(frozen=True)
class Estimate:
    """A variance with its 95 % interval; `df` of the mean square that it rests on."""

    variance: float
    low: float
    high: float
    df: int

    @property
    def sd(self) -> tuple[float, float, float]:
        """Standard deviation and its interval."""
        return tuple(float(np.sqrt(max(x, 0.0))) for x in (self.variance, self.low, self.high))  # type: ignore[return-value]


@dataclass(frozen=True)
class Components:
    """What was estimated; `why` says of each other part what keeps it from it. result: variance of a specimen's value
    about its batch and state, its own known variance included; over_rigs: that and the states' on top.
    """

    found: dict[Part, Estimate]
    why: dict[Part, str]
    result: Estimate | None
    over_rigs: Estimate | None


def dummies(labels: Sequence[Hashable]) -> Array:
    """(n, levels) of ones and zeros, levels in the order of their first value."""
    levels = list(dict.fromkeys(labels))
    place = {level: i for i, level in enumerate(levels)}
    out = np.zeros((len(labels), len(levels)))
    out[np.arange(len(labels)), [place[label] for label in labels]] = 1.0
    return out


def components(
    values: ArrayLike,
    batch: Sequence[Hashable],
    state: Sequence[Hashable],
    *,
    level: Sequence[Hashable] | None = None,
    variances: ArrayLike | None = None,
) -> Components:
    """Components of values (n,), one a specimen; labels (n,) of batch, rig's state and compound (`level`, None for
    one); variances (n,) of the values themselves.
    """
    y = np.asarray(values, float)
    v = np.zeros(len(y)) if variances is None else np.asarray(variances, float)
    x = dummies(["all"] * len(y) if level is None else level)
    z: dict[Part, Array] = {"batch": dummies(batch), "rig": dummies(state)}
    y = y - y.mean() if len(y) else y
    squares = _squares(y, x, z, v)
    why = _undetermined(squares, z)
    known = {part: square for part, square in squares.items() if square.df > 0}
    if "specimen" not in known:
        return Components({}, why | {p: WHY["specimen"] for p in known}, None, None)
    drawn = _drawn(known)
    moments = {part: max(0.0, _solved(known, part)) for part in known}
    best = reml(y, x, {p: z[p] for p in known if p != "specimen"}, v, moments) if len(y) <= LARGEST else moments
    found = {part: _estimate(best[part], drawn[part], known[part].df) for part in known}
    residual = known["specimen"]
    total = residual.sum / residual.df
    mean_square = drawn["mean square"]
    result = _estimate(total, mean_square, residual.df)
    over = (
        _estimate(total + best["rig"], mean_square + np.maximum(drawn["rig"], 0.0), known["rig"].df)
        if "rig" in known
        else None
    )
    return Components(found, why, result, over)


def _squares(y: Array, x: Array, z: dict[Part, Array], v: Array) -> dict[Part, Square]:
    """The three sums of squares, each adjusted for all the others."""
    whole = _basis(np.hstack([x, *z.values()]))
    left = y - whole @ (whole.T @ y)
    spent = float((whole**2 * v[:, None]).sum())
    df = len(y) - whole.shape[1]
    residual = Square(float(left @ left), df, np.ones(max(df, 0)), float(v.sum()) - spent)
    found: dict[Part, Square] = {"specimen": residual}
    for part, own in z.items():
        without = _basis(np.hstack([x, *(other for name, other in z.items() if name != part)]))
        gained = float(((whole.T @ y) ** 2).sum() - ((without.T @ y) ** 2).sum())
        rank = whole.shape[1] - without.shape[1]
        inner, outer = whole.T @ own, without.T @ own
        weights = np.linalg.eigvalsh(inner.T @ inner - outer.T @ outer)[::-1][:rank]
        known = float((whole**2 * v[:, None]).sum() - (without**2 * v[:, None]).sum())
        found[part] = Square(max(gained, 0.0), rank, np.maximum(weights, 0.0), known)
    return found


def _basis(x: Array) -> Array:
    """Orthonormal columns that span those of x."""
    u, s, _ = np.linalg.svd(x, full_matrices=False)
    return np.asarray(u[:, s > 1e-9 * max(float(s[0]) if len(s) else 0.0, 1.0)], float)


def _undetermined(squares: dict[Part, Square], z: dict[Part, Array]) -> dict[Part, str]:
    why = {}
    for part, square in squares.items():
        if square.df <= 0:
            alone = part != "specimen" and z[part].shape[1] < 2
            why[part] = (ALONE if alone else WHY)[part]
    return why


def _solved(squares: dict[Part, Square], part: Part) -> float:
    """The moment estimate: sums of squares set equal to what is expected of them."""
    residual = squares["specimen"]
    specimen = (residual.sum - residual.known) / residual.df
    if part == "specimen":
        return specimen
    own = squares[part]
    return (own.sum - own.known - own.df * specimen) / own.own


def _drawn(squares: dict[Part, Square]) -> dict[str, Array]:
    """Generalized pivots (DRAWS,) of each component, and of the residual mean square; the same in every run."""
    rng = np.random.default_rng(SEED)
    residual = squares["specimen"]
    mean_square = residual.sum / rng.chisquare(residual.df, DRAWS)
    specimen = mean_square - residual.known / residual.df
    found: dict[str, Array] = {"mean square": mean_square, "specimen": specimen}
    for part in ("batch", "rig"):
        if part in squares:
            own = squares[part]
            free = own.effective(_solved(squares, part), _solved(squares, "specimen"))
            expected = free * own.sum / rng.chisquare(free, DRAWS)
            found[part] = (expected - own.known - own.df * specimen) / own.own
    return found


def _estimate(variance: float, drawn: Array, df: int) -> Estimate:
    low, high = (max(0.0, float(q)) for q in np.quantile(drawn, [0.025, 0.975]))
    return Estimate(variance, min(low, variance), max(high, variance), df)


def reml(y: Array, x: Array, z: dict[Part, Array], v: Array, start: dict[Part, float]) -> dict[Part, float]:
    """Variances >= 0 by restricted maximum likelihood: of the specimens and of each factor of `z`.

    y (n,), x (n, p), z (n, levels) each, v (n,) known variances, `start` where to begin.
    """
    from scipy.optimize import minimize

    names: list[Part] = ["specimen", *z]
    scale = float(y @ y) / max(len(y) - 1, 1)
    if scale <= 0:
        return dict.fromkeys(names, 0.0)
    x = _basis(x)
    kernels = [np.eye(len(y)), *(own @ own.T for own in z.values())]
    own = np.diag(v / scale)

    def criterion(s: Array) -> tuple[float, Array]:
        """Minus twice the restricted log-likelihood of variances s^2 (of `scale`), and its slope."""
        matrix = own + sum(a * a * k for a, k in zip(s, kernels, strict=True))
        inverse = np.linalg.inv(matrix + 1e-12 * np.eye(len(y)))
        xvx = x.T @ inverse @ x
        project = inverse - inverse @ x @ np.linalg.solve(xvx, x.T @ inverse)
        py = project @ y
        value = -np.linalg.slogdet(inverse)[1] + np.linalg.slogdet(xvx)[1] + float(y @ py) / scale
        slope = [2 * a * (np.sum(project * k) - float(py @ k @ py) / scale) for a, k in zip(s, kernels, strict=True)]
        return float(value), np.array(slope)

    begin = np.sqrt(np.maximum([start.get(name, 0.0) / scale for name in names], 1e-4))
    tries = [begin, np.full(len(names), 0.5)]
    # slopes in the standard deviation vanish at zero, so zero itself is tried beside the optimum
    best = min((minimize(criterion, t, jac=True, method="L-BFGS-B", options={"ftol": 1e-13, "gtol": 1e-9}) for t in tries),
               key=lambda found: float(found.fun))  # fmt: skip
    s = np.abs(best.x)
    for i in np.argsort(s):
        without = s.copy()
        without[i] = 0.0
        if (i or v.min() > 0) and criterion(without)[0] <= criterion(s)[0] + 1e-9:
            s = without
    return {name: float(a * a * scale) for name, a in zip(names, s, strict=True)}
