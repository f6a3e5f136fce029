"""Compounds whose batches wear unlike by part, simulated with their truth, for what is said of batches.

A specimen's loss is integrated over the fine histories of `makers` and is a E + B (oxidation time), both rates its
batch's times its own factor. The factors of a specimen on its two rates are drawn alike, unlike or halfway.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import block_diag

from pipeline.results.model import Interval
from pipeline.wear.batch_fit import ByBatch, by_batch
from pipeline.wear.between_specimens import SCATTER_DOF, with_scatter
from pipeline.wear.chi2 import Problem
from pipeline.wear.exposure import joined
from pipeline.wear.inference import Inference, infer
from pipeline.wear.laws import LAWS, design
from pipeline.wear.predict import interval
from pipeline.wear.selection import with_model_u
from tests.wear import makers

TRUTH = {"a": 7.0, "B": 0.05, "Ea": 150.0}
EXPECTED, APART = 0.08, 0.3


@dataclass(frozen=True)
class Piece:
    """A program run once: exposure, groups of its intervals, work and oxidation time at unit rate of each interval."""

    made: makers.Program
    groups: np.ndarray
    work: np.ndarray
    oxidised: np.ndarray


def piece(blocks: tuple[makers.Block, ...], seed: int) -> Piece:
    made = makers.program(blocks, np.random.default_rng(seed))
    after = made.after
    run = np.arange(1, len(made.stops) + 1)
    groups = ((run > after[:-1, None]) & (run <= after[1:, None])).astype(float)
    return Piece(
        made, groups, groups @ made.stops.energy_mj, groups @ makers.oxidation_time(TRUTH["Ea"], made)
    )  # fmt: skip


@dataclass(frozen=True)
class Batch:
    """Factors of a batch on abrasion and oxidation, its specimens, the program that each runs."""

    mechanical: float
    oxidative: float
    programs: tuple[Piece, ...]


def fitted(
    batches: list[Batch],
    rng: np.random.Generator,
    *,
    scatter: float = EXPECTED,
    together: float = 0.5,
    u_um: float = 2.0,
) -> tuple[Inference, ByBatch]:
    """The compound's oxidation law and its batches' from readings of u_um, specimens apart by `scatter` in each part."""
    losses, covariances, stops, groups, of_batch, of_specimen = [], [], [], [], [], []
    for b, batch in enumerate(batches):
        for program in batch.programs:
            common, *own = rng.normal(size=3)
            logs = scatter * (np.sqrt(together) * common + np.sqrt(1 - together) * np.array(own))
            a, o = np.exp(logs) * [batch.mechanical * TRUTH["a"], batch.oxidative * TRUTH["B"]]
            error = rng.normal(0, u_um, len(program.work) + 1)
            losses.append(a * program.work + o * program.oxidised + np.diff(error))
            k = len(program.work)
            step = np.eye(k, k + 1, 1) - np.eye(k, k + 1)
            covariances.append(u_um**2 * step @ step.T)
            stops.append(program.made.stops)
            groups.append(program.groups)
            of_batch += [b] * k
            of_specimen += [len(covariances) - 1] * k
    specimens = np.array(of_specimen)
    problem = Problem(
        LAWS["oxidation"],
        design(joined(stops), block_diag(*groups)),
        makers.CONSTANTS,
        np.concatenate(losses),
        block_diag(*covariances),
        60.0 * len(covariances),
        between_dof=SCATTER_DOF + len(covariances) - 1,
    )
    found = infer(with_scatter(with_model_u(problem, 0.01), specimens, EXPECTED), 0.95)
    return found, by_batch(found, np.array(of_batch), specimens, EXPECTED, APART)


def wear_of(fit: ByBatch, number: int, stops: Piece, confidence: float = 0.95) -> Interval:
    """Loss of a batch's mean specimen over all the program's stops, by its law and draws."""
    law, one = LAWS["oxidation"], fit.batches[number]
    columns = law.terms(stops.made.stops, one.sets[:, 2], makers.CONSTANTS).sum(axis=1)
    value = law.columns(stops.made.stops, one.parameters[2], makers.CONSTANTS).sum(axis=0) @ one.parameters[:2]
    return interval(float(value), (columns * one.sets[:, :2]).sum(axis=1), confidence)


def true_wear(batch: Batch, stops: Piece) -> float:
    work, oxidised = stops.work.sum(), stops.oxidised.sum()
    return float(batch.mechanical * TRUTH["a"] * work + batch.oxidative * TRUTH["B"] * oxidised)
