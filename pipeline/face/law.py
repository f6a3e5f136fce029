"""The law at the face: ln mu as a function of the face's temperature, the pressure and the sliding speed of the moment.

    ln mu = s(T) + [b_p + c_p(T)] ln p/p0 + [b_w + c_w(T)] ln w/w0 + batch + specimen + cell + scatter

s is a penalised spline whose stiffness may change along the temperature; c_p and c_w let the effects change slowly with it
and are drawn to zero unless the stops ask for them. Batches are taken as they were tested, the law is their mean. A
specimen has a level and a shift of its flank, both random. *cell* is a
random level, and a shift along the temperature, common to all stops run at equal conditions: what the law gets wrong there, so that
many stops at one condition do not outvote few at another, and so that a condition that was not run has this much to be wrong by.

Conductivity, flux into the disc and what its face loses while braking are fitted with all this, each held by what was known before (`pipeline.face.inputs`). Friction shows them: the same face temperature
is met early in a warm stop and late in a cold one, and only with the right heat do the two agree. Each step solves the model
linearised in them; variances follow by the fixed point of Fellner and Schall (Wood & Fasiolo 2017, Biometrics 73, 1071).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from pipeline.constants import Array
from pipeline.face.inputs import SPAN
from pipeline.face.samples import SEGMENTS, Segmented
from pipeline.face.scatter import Scatter, fitted
from pipeline.face.temperature import Faces
from pipeline.friction import smooth

SMOOTHERS, HATS = 4, 4
HEAT = 3  # uncertain heat inputs: ln k/k0, ln flux factor, ln of the loss' factor
KNOT_K, MOST_KNOTS = 14.0, 48
ROUNDS, VARIANCE_ROUNDS = 12, 12
HUBER = 2.0
LEAST_VARIANCE, MOST_BEND, MOST_VARIANCE = 1e-8, 0.1, 1e3
# what is expected beside what is found, and as how many cells or specimens that counts
PRIORS = {"cell": (0.003, 2.0), "flank": (1.5, 2.0), "level": (0.012, 2.0), "shift": (3.0, 2.0)}  # relative or K
CLOSE = 0.02  # standard deviations of the heat inputs' step that ends the search


@dataclass(frozen=True)
class Axis:
    """Temperature axis of the spline in K and the references of pressure (Pa) and speed (rad/s)."""

    low: float
    high: float
    knots: int
    pressure: float
    speed: float

    @property
    def columns(self) -> int:
        return self.knots + smooth.DEGREE

    def rows(self, kelvin: Array, pressure: Array, speed: Array, *, slope: bool = False) -> Array:
        """Fixed part's columns for flat arrays [m]: spline, ln p, ln w, ln p x hats, ln w x hats; `slope` in K."""
        basis = smooth.bspline_basis(kelvin, self.low, self.high, self.knots, slope=slope)
        p, w = np.log(pressure / self.pressure), np.log(speed / self.speed)
        hats = smooth.hats(kelvin, self.low, self.high, HATS)
        if slope:
            step = 1.0
            hats = (smooth.hats(kelvin + step, self.low, self.high, HATS) - hats) / step
            p_own, w_own = np.zeros_like(p), np.zeros_like(w)
        else:
            p_own, w_own = p, w
        return np.column_stack([basis, p_own, w_own, hats * p[:, None], hats * w[:, None]])

    @property
    def fixed(self) -> int:
        return self.columns + 2 + 2 * HATS


@dataclass(frozen=True)
class Block:
    """Columns whose coefficients are random: penalty matrix over them and the rank of it."""

    name: str
    at: slice
    penalty: Array
    rank: float


@dataclass(frozen=True)
class Law:
    """A fitted law. Coefficients: fixed part, the heat inputs (HEAT), batches', then specimens' levels and shifts, then cells."""

    axis: Axis
    segmented: Segmented
    faces: Faces
    theta: Array
    theta_u: Array  # before the stops were looked at
    coefficients: Array
    covariance: Array
    scatter: Scatter
    variances: dict[str, float]
    design: Array  # [stops, SEGMENTS, columns], with the heat inputs' slopes
    residuals: Array  # [stops, SEGMENTS]
    steepness: Array
    weights: Array
    cells: np.ndarray
    specimens: np.ndarray
    batches: Array
    converged: bool
    information: Array = field(repr=False)  # normal matrix with penalties

    @property
    def cell_sd(self) -> float:
        return float(np.sqrt(self.variances["cell"]))

    @property
    def cell_kelvin(self) -> float:
        return float(np.sqrt(self.variances["flank"]))

    @property
    def places(self) -> dict[str, slice]:
        return places(self.axis, self.specimens, self.cells, self.batches)

    @property
    def batch_sd(self) -> float:
        """Standard deviation of the batches tested about their mean, relative; 0 where batches cannot be told from specimens."""
        shifts = np.unique(self.batches, axis=0) @ self.coefficients[self.places["batch"]]
        return float(shifts.std()) if self.batches.shape[1] else 0.0


def places(axis: Axis, specimens: np.ndarray, cells: np.ndarray, batches: Array) -> dict[str, slice]:
    """Where each part of the coefficients stands."""
    count = int(specimens.max()) + 1
    count = count if count > 1 else 0
    at = {"fixed": slice(0, axis.fixed), "heat": slice(axis.fixed, axis.fixed + HEAT)}
    first = axis.fixed + HEAT + batches.shape[1]
    at["batch"] = slice(axis.fixed + HEAT, first)
    at["level"] = slice(first, first + count)
    at["shift"] = slice(first + count, first + 2 * count)
    first, many = first + 2 * count, int(cells.max()) + 1
    at["cell"] = slice(first, first + many)
    at["flank"] = slice(first + many, first + 2 * many)
    return at


def fit(
    segmented: Segmented,
    faces: Faces,
    theta_u: Array,
    cells: np.ndarray,
    specimens: np.ndarray,
    batches: Array | None = None,
) -> Law:
    """Fit the law; cells and specimens number the stops' conditions and specimens from 0.

    batches: contrasts [stops, batches - 1] that sum to zero over the batches, where they can be told from specimens.

    Raises LinAlgError where the stops cannot carry it.
    """
    samples = segmented.samples
    axis = axis_of(segmented, faces)
    batches = np.zeros((len(samples), 0)) if batches is None else batches
    at = places(axis, specimens, cells, batches)
    total = at["flank"].stop
    blocks = _blocks(axis, at)
    variances = {b.name: 1.0 for b in blocks} | {name: sd**2 for name, (sd, _) in PRIORS.items()}
    variances |= {b.name: 1e-3 for b in blocks if b.name.startswith("bend")}
    variances |= {"pressure": 1e-3, "speed": 1e-3}
    scatter = Scatter(0.01, 0.006, 2.0, 0.01, 1.5)
    theta, coefficients = np.zeros(HEAT), np.zeros(total)
    weights = np.ones(len(samples))
    steep = np.zeros(segmented.y.shape)
    converged, before, damping = False, np.zeros(HEAT), 1.0
    for turn in range(ROUNDS):
        design, steep = _design(axis, at, segmented, faces, theta, coefficients, cells, specimens, batches)
        whitened, y = _whitened(design, segmented.y, scatter, steep, weights)
        normal, right = whitened.T @ whitened, whitened.T @ y
        # the heat's slopes were taken at theta: what is solved for is the step, and its prior pulls the sum to zero
        coefficients, covariance, variances, information = _solved(
            normal, right, blocks, variances, at["heat"], theta, theta_u, fixed=turn == 0
        )
        step = coefficients[at["heat"]]
        residuals = segmented.y - design @ coefficients
        damping = max(damping / 2, 0.25) if step @ before < 0 else min(damping * 1.5, 1.0)
        held, before = np.clip(damping * step, -0.7 * theta_u, 0.7 * theta_u), step
        theta = np.clip(theta + held, -SPAN * theta_u, SPAN * theta_u)
        if turn > 0:
            scatter = fitted(residuals, steep, weights, scatter)
            weights = _stray(residuals, scatter, steep)
        if turn > 4 and (np.abs(step) < CLOSE * theta_u).all():
            converged = True
            break
    final = coefficients.copy()
    final[at["heat"]] = theta
    return Law(
        axis, segmented, faces, theta, theta_u, final, covariance, scatter, variances, design, residuals, steep, weights,
        cells, specimens, batches, converged, information,
    )  # fmt: skip


def axis_of(segmented: Segmented, faces: Faces) -> Axis:
    """The spline's axis over every temperature that the face may have had, references at the medians."""
    samples = segmented.samples
    kelvin = faces.kelvin[..., samples.inside]
    low, high = float(kelvin.min()) - 5.0, float(kelvin.max()) + 5.0
    knots = int(np.clip(np.ceil((high - low) / KNOT_K), 6, MOST_KNOTS))
    pressure, speed = (float(np.median(a[samples.inside])) for a in (samples.pressure, samples.speed))
    return Axis(low, high, knots, pressure, speed)


def _design(
    axis: Axis,
    at: dict[str, slice],
    segmented: Segmented,
    faces: Faces,
    theta: Array,
    coefficients: Array,
    cells: np.ndarray,
    specimens: np.ndarray,
    batches: Array,
) -> tuple[Array, Array]:
    """Columns of every segment [stops, SEGMENTS, columns] and the slope of ln mu per K [stops, SEGMENTS] there."""
    samples = segmented.samples
    shape = samples.time.shape
    kelvin, in_heat = faces.at(theta)
    use = samples.inside
    fixed = np.zeros((*shape, axis.fixed))
    fixed[use] = axis.rows(kelvin[use], samples.pressure[use], samples.speed[use])
    slope = np.zeros(shape)
    sloping = axis.rows(kelvin[use], samples.pressure[use], samples.speed[use], slope=True)
    slope[use] = sloping @ coefficients[at["fixed"]]
    steep = segmented.mean(slope)
    out = np.zeros((shape[0], SEGMENTS, at["flank"].stop))
    out[:, :, at["fixed"]] = segmented.mean(fixed)
    out[:, :, at["heat"]] = segmented.mean(slope[..., None] * in_heat)
    out[:, :, at["batch"]] = batches[:, None, :]
    rows = np.arange(shape[0])
    if at["level"].stop > at["level"].start:
        out[rows, :, at["level"].start + specimens] = 1.0
        out[rows, :, at["shift"].start + specimens] = steep
    out[rows, :, at["cell"].start + cells] = 1.0
    out[rows, :, at["flank"].start + cells] = steep
    return out, steep


def _blocks(axis: Axis, at: dict[str, slice]) -> list[Block]:
    """The random parts: bends of the spline by stretch of temperature, changing effects, specimens, cells."""
    k = axis.columns
    differences = np.diff(np.eye(k), n=2, axis=0)
    centre = np.linspace(axis.low, axis.high, k - 2)
    weights = smooth.hats(centre, axis.low, axis.high, SMOOTHERS)
    found = [
        Block(f"bend {q}", slice(0, k), differences.T @ (weights[:, q, None] * differences), 0.0)
        for q in range(SMOOTHERS)
    ]
    first = k + 2
    found += [
        Block(name, slice(first + i * HATS, first + (i + 1) * HATS), np.eye(HATS), HATS)
        for i, name in enumerate(("pressure", "speed"))
    ]
    for name in ("level", "shift", "cell", "flank"):
        size = at[name].stop - at[name].start
        if size:
            found.append(Block(name, at[name], np.eye(size), size))
    return found


def _whitened(design: Array, y: Array, scatter: Scatter, steep: Array, weights: Array) -> tuple[Array, Array]:
    """Design and response with unit scatter, [stops x SEGMENTS, columns] and alike."""
    lower = np.linalg.cholesky(scatter.covariance(steep))
    inverse = np.linalg.inv(lower) * np.sqrt(weights)[:, None, None]
    white = inverse @ design
    return white.reshape(-1, design.shape[-1]), (inverse @ y[:, :, None]).ravel()


def _solved(
    normal: Array, right: Array, blocks: list[Block], variances: dict[str, float], heat: slice, theta: Array, theta_u: Array, fixed: bool
) -> tuple[Array, Array, dict[str, float], Array]:  # fmt: skip
    """Coefficients, their covariance, the variances after their fixed point, and the penalised normal matrix."""
    variances = dict(variances)
    known = np.zeros_like(normal)
    index = np.arange(heat.start, heat.stop)
    known[index, index] = theta_u**-2
    pull = right.copy()
    pull[heat] -= theta / theta_u**2
    k = next(b for b in blocks if b.name == "bend 0").at.stop
    weights = np.array([np.diag(_bend_weights(b.penalty, k)) for b in blocks if b.name.startswith("bend")])
    for _ in range(1 if fixed else VARIANCE_ROUNDS):
        penalty = known.copy()
        for block in blocks:
            penalty[block.at, block.at] += block.penalty / variances[block.name]
        information = normal + penalty
        covariance = np.asarray(np.linalg.inv(information), float)
        coefficients = covariance @ pull
        if fixed:
            break
        total = sum(w / variances[f"bend {q}"] for q, w in enumerate(weights))
        for block in blocks:
            own = coefficients[block.at]
            size = float(own @ block.penalty @ own)
            used = float(np.trace(covariance[block.at, block.at] @ block.penalty)) / variances[block.name]
            if block.name.startswith("bend"):
                q = int(block.name.split()[1])
                rank = float((weights[q] / variances[block.name] / total).sum())
            else:
                rank = block.rank
            free = max(rank - used, 1e-3)
            if block.name in PRIORS:
                sd, count = PRIORS[block.name]
                size, free = size + count * sd**2, free + count
            most = MOST_BEND if block.name.startswith("bend") else MOST_VARIANCE
            variances[block.name] = float(np.clip(size / free, LEAST_VARIANCE, most))
    return coefficients, covariance, variances, information


def _bend_weights(penalty: Array, k: int) -> Array:
    """The weights of second differences back from D' diag(w) D."""
    differences = np.diff(np.eye(k), n=2, axis=0)
    inverse = np.linalg.pinv(differences)
    return inverse.T @ penalty @ inverse


def _stray(residuals: Array, scatter: Scatter, steep: Array) -> Array:
    """Weights by Huber's psi of a stop's misfit over all its segments."""
    inverse = np.linalg.inv(scatter.covariance(steep))
    misfit = np.sqrt(np.einsum("sa,sab,sb->s", residuals, inverse, residuals) / residuals.shape[1])
    return np.minimum(1.0, HUBER / np.maximum(misfit, 1e-9))
