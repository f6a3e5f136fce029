"""Which stops enter a map, and what of them: conditions, weights, order, specimens and batches."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

from pipeline.conditioning.time_base import median_known
from pipeline.friction import effects
from pipeline.friction.effects import Reference
from pipeline.friction.likelihood import SHIFT_PRIOR, Data, Group
from pipeline.friction.neighbourhood import around

ZERO_C = 273.15
COLUMNS = {"pressure": "pressure_bar", "speed": "speed_start_rpm", "energy": "energy_density_j_mm2"}
UNRECORDED_BELOW = 0.5  # share of stops with a condition below which the map does without it


def usable(stops: pl.DataFrame, purposes: Sequence[str], temperature_kind: str, use_suspect: bool) -> pl.DataFrame:
    """Stops that may enter a map: of these purposes, sound, with mu and temperature, and with pressure, speed
    and energy density as far as the test has them at all (an old table may lack one).
    """
    sound = ["ok", "suspect"] if use_suspect else ["ok"]
    stops = stops.filter(
        ~before_bedding(stops),
        pl.col("purpose").is_in(list(purposes)),
        pl.col("status").is_in(sound),
        pl.col("mu").is_finite() & (pl.col("mu") > 0),
        pl.col(f"temperature_{temperature_kind}_c").is_finite(),
    )
    needed = [pl.col(COLUMNS[name]) > 0 for name in effects.NAMES if name not in unrecorded(stops)]
    return stops.filter(pl.all_horizontal(needed)) if needed else stops


def before_bedding(stops: pl.DataFrame) -> pl.Expr:
    """True for stops run before their test's first bedding stop: a green check is not the material's
    friction.
    """
    bedding = pl.when(pl.col("purpose") == "bedding").then(pl.col("stop")).min()
    first = bedding.over("test") if "test" in stops.columns else bedding
    return (pl.col("stop") < first).fill_null(False)


def unrecorded(stops: pl.DataFrame) -> tuple[str, ...]:
    """Conditions that fewer than half of the stops have."""
    if stops.is_empty():
        return ()
    return tuple(
        name
        for name in effects.NAMES
        if (stops[COLUMNS[name]] > 0).fill_null(False).mean() < UNRECORDED_BELOW  # type: ignore[operator]
    )


def conditions(stops: pl.DataFrame, temperature_kind: str) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Temperature (K), pressure (Pa), start speed (rad/s), energy density (J/m2) of a stops table; null
    becomes NaN.
    """
    table = stops.select(
        pl.col(f"temperature_{temperature_kind}_c").cast(pl.Float64) + ZERO_C,
        pl.col("pressure_bar").cast(pl.Float64) * 1e5,
        pl.col("speed_start_rpm").cast(pl.Float64) * (np.pi / 30),
        pl.col("energy_density_j_mm2").cast(pl.Float64) * 1e6,
    )
    t, p, w, e = (column.fill_null(np.nan).to_numpy() for column in table.get_columns())
    return t, p, w, e


def reference_of(stops: pl.DataFrame, temperature_kind: str) -> Reference:
    """Reference conditions: medians of the check stops, of the map stops where there is no check; 1 where
    not recorded.
    """
    checks = stops.filter(pl.col("purpose") == "check")
    found = []
    for values in conditions(checks if len(checks) else stops, temperature_kind):
        finite = values[np.isfinite(values)]
        found.append(float(np.median(finite)) if finite.size else 1.0)
    return Reference(*found)


def data_of(used: pl.DataFrame, t: np.ndarray, effect: np.ndarray, link: str) -> Data:
    """The model's data of usable stops, sorted by test and stop; t (n,) in K, effect (n, c) centred at the
    reference.
    """
    names, contrasts = batch_contrasts(used)
    if contrasts is not None:
        effect = np.hstack([effect, contrasts[[names.index(batch) for batch in used["batch"]]]])
    mu = used["mu"].to_numpy()
    return Data(
        temperature=t,
        response=np.log(mu) if link == "log" else mu,
        linear=effect,
        weight_sd=own_scatter(used, t),
        series=labels(used, ["test"]) if "test" in used.columns else np.zeros(len(used), int),
        position=used["stop"].to_numpy().astype(float),
        steepness=np.zeros(len(used)),
        groups=random_factors(used),
        contrasts=contrasts,
    )


def random_factors(used: pl.DataFrame) -> tuple[Group, ...]:
    """From two specimens on: their level and the place of their flank."""
    if not {"batch", "specimen"} <= set(used.columns) or used.n_unique(["batch", "specimen"]) < 2:
        return ()
    own = labels(used, ["batch", "specimen"])
    return Group(own), Group(own, along=True, spread=SHIFT_PRIOR)


def batch_contrasts(used: pl.DataFrame) -> tuple[list[str], np.ndarray | None]:
    """Names of the batches and contrasts that sum to zero over them: the curve is then the mean of the
    batches tested.

    None where there is one batch, or no batch has two specimens: then batches and specimens cannot be told
    apart, and the specimens' scatter holds both.
    """
    if not {"batch", "specimen"} <= set(used.columns):
        return [], None
    names = used["batch"].unique(maintain_order=True).to_list()
    if len(names) < 2 or used.n_unique(["batch", "specimen"]) == len(names):
        return names, None
    return names, np.vstack([np.eye(len(names) - 1), -np.ones(len(names) - 1)])


def labels(frame: pl.DataFrame, columns: list[str]) -> np.ndarray:
    """Group numbers 0, 1 ... of rows alike in `columns`, in order of appearance."""
    keys = frame.select(pl.struct(columns).alias("key"))["key"].to_list()
    known: dict[tuple[object, ...], int] = {}
    return np.array([known.setdefault(tuple(key.values()), len(known)) for key in keys])


def own_scatter(used: pl.DataFrame, t: np.ndarray) -> np.ndarray:
    """Relative standard deviation of each stop from its own uncertainty, 1 for one like its neighbours in
    temperature.

    Half of a usual stop's variance is taken to be its own; only stops with an uncertainty unlike that of the
    stops around them are weighted otherwise, so that in-stop rise, which widens the uncertainty of all cold
    stops alike, changes nothing.
    """
    if "mu_u_stop" not in used.columns or used["mu_u_stop"].null_count() == len(used):
        return np.ones(len(used))
    u = used["mu_u_stop"].cast(pl.Float64).fill_null(np.nan).to_numpy() / used["mu"].to_numpy()
    usual = np.median(around(t, np.where(np.isfinite(u), u, median_known(u)), 15), axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(np.isfinite(u) & (usual > 0), u / usual, 1.0)
    return np.sqrt((1 + np.clip(ratio, 0.0, 10.0) ** 2) / 2)
