"""The law as it stands in friction.json, and back: what a prediction works with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import polars as pl

from pipeline.constants import RAD_PER_S, ZERO_C, Array
from pipeline.face import braking
from pipeline.face.braking import Brake, Laws
from pipeline.face.inputs import Inputs
from pipeline.face.law import HEAT, Axis, Law
from pipeline.face.samples import Samples
from pipeline.face.scatter import Scatter
from pipeline.face.support import Hull, hull_of
from pipeline.heat.plate import Plate
from pipeline.heat.slab import Cooling
from pipeline.results import face as results

FULL = 0.97  # of a stop's own pressure: it has built up


@dataclass(frozen=True)
class Setting:
    """What is not the law's: brake numbers of the card, calibration, confidence and coverage."""

    brake: results.FaceBrake
    common: float
    confidence: float
    coverage: float
    built: float  # share of the pressure from which the method's window is
    average: Literal["distance", "time", "energy"]


def model_of(law: Law, inputs: Inputs, setting: Setting) -> results.FaceModel:
    """The file's form of a fitted law."""
    size = law.axis.fixed + HEAT
    samples = law.segmented.samples
    kelvin, _ = law.faces.at(law.theta)
    use = samples.inside & (law.weights[:, None] > 0)
    # a stop's own pressure, not that of its build-up
    pressure = np.repeat(samples.table["pressure_bar"].to_numpy()[:, None] * 1e5, use.shape[1], axis=1)
    # a stop was run from its start on, where the face is as warm as the disc; mu is taken once the pressure has built up
    begun = samples.table.filter(pl.Series(use.any(axis=1)))
    hull = hull_of(
        np.r_[kelvin[use], begun["temperature_initial_c"].to_numpy() + ZERO_C],
        np.r_[pressure[use], begun["pressure_bar"].to_numpy() * 1e5],
        np.r_[samples.speed[use], begun["speed_start_rpm"].to_numpy() * RAD_PER_S],
    )
    variances, s = law.variances, law.scatter
    return results.FaceModel(
        low_k=law.axis.low,
        high_k=law.axis.high,
        knots=law.axis.knots,
        pressure_pa=law.axis.pressure,
        speed_rad_s=law.axis.speed,
        coefficients=law.coefficients[:size].tolist(),
        covariance=law.covariance[:size, :size].tolist(),
        conductivity=inputs.conductivity.value,
        heat_share=inputs.share.value,
        convection=inputs.loss.value,
        heat_u=inputs.u.tolist(),
        cell_sd=law.cell_sd,
        cell_kelvin=law.cell_kelvin,
        build_up_s=build_up_of(samples),
        window_from=setting.built,
        average=setting.average,
        noise=s.noise,
        wander=s.wander,
        wander_range=s.range,
        level=s.level,
        kelvin=s.kelvin,
        specimen_sd=float(np.sqrt(variances["level"])) if law.specimens.max() else 0.0,
        batch_sd=law.batch_sd,
        batches=batches_of(law),
        specimen_shift=float(np.sqrt(variances["shift"])) if law.specimens.max() else 0.0,
        stops=len(samples),
        common=setting.common,
        confidence=setting.confidence,
        coverage=setting.coverage,
        hull=results.Hull(
            low=hull.low.tolist(), high=hull.high.tolist(), axes=list(hull.axes), planes=hull.equations.tolist()
        ),
        brake=setting.brake,
    )


def batches_of(law: Law) -> list[results.FaceBatch]:
    """Every batch's level over their mean; none where batches cannot be told from specimens."""
    at, names = law.places["batch"], law.segmented.samples.table["batch"].to_list()
    if not law.batches.shape[1]:
        return []
    first = {name: law.batches[names.index(name)] for name in sorted(set(names))}
    covariance = law.covariance[at, at]
    return [
        results.FaceBatch(name=name, level=float(row @ law.coefficients[at]), u=float(np.sqrt(row @ covariance @ row)))
        for name, row in first.items()
    ]


def build_up_of(samples: Samples) -> float:
    """Median length in s of an even build-up that would cost a stop as much: twice the integral of the pressure lacking to the
    stop's own, over it, until it is nearly reached."""
    own = samples.table["pressure_bar"].to_numpy()[:, None] * 1e5
    lacks = np.clip(1 - samples.pressure / own, 0.0, 1.0)
    lacks = (lacks + np.roll(lacks, 1, axis=1)) / 2
    lacks[:, 0] = 1.0
    step = np.diff(samples.time, axis=1, prepend=0.0)
    before = np.maximum.accumulate(samples.pressure, axis=1) < FULL * own
    return float(2 * np.median((lacks * step * before).sum(axis=1)))


def axis_of(model: results.FaceModel) -> Axis:
    return Axis(model.low_k, model.high_k, model.knots, model.pressure_pa, model.speed_rad_s)


def hull_back(model: results.FaceModel) -> Hull:
    hull = model.hull
    planes = np.array(hull.planes, float).reshape(-1, len(hull.axes) + 1)
    return Hull(np.array(hull.low), np.array(hull.high), tuple(hull.axes), planes)


def brake_of(model: results.FaceModel) -> Brake:
    b = model.brake
    return Brake(
        Plate(b.ring_area, b.half_thickness, b.density, b.heat_capacity),
        b.push,
        b.threshold,
        b.radius,
        model.build_up_s,
        model.window_from,
        model.average,
        None if b.ambient_k is None else Cooling(model.convection, b.radiation, b.ambient_k),
    )


def scatter_of(model: results.FaceModel) -> Scatter:
    return Scatter(model.noise, model.wander, model.wander_range, model.level, model.kelvin)


def drawn(model: results.FaceModel, count: int, seed: int = 0) -> Laws:
    """The best estimate in row 0, and `count` draws of coefficients and heat inputs together after it."""
    mean, covariance = np.array(model.coefficients), np.array(model.covariance)
    values, vectors = np.linalg.eigh((covariance + covariance.T) / 2)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    normal = np.random.default_rng(seed).normal(size=(count, mean.size))
    rows = np.vstack([mean, mean + normal @ root.T])
    theta: Array = np.clip(rows[:, -HEAT:], -2.5, 2.5)
    heat = (np.array([model.conductivity, model.heat_share, model.convection]) * np.exp(theta)).T
    return braking.laws(axis_of(model), rows[:, :-HEAT], *heat)
