"""Faults that only the row of all stops shows: a channel that leaves the schedule in the middle of a test, a
thermocouple that no longer follows the heat, disc and pad thermocouples exchanged, a clock set back.

A step is looked for by the split of the stops that explains most (Bai 1994, least squares), and told only where it is
large for the engineer and far outside the stops' own scatter: a healthy test must stay silent.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.constants import MAD_TO_SD
from pipeline.findings import Finding, finding, of_each

LEAST_STOPS = 4  # stops on either side of a step
STEP_SIGMAS = 8.0
LEVEL_STEP = 0.05  # of the schedule's level
RISE_KEPT = 0.7  # of the rise per energy that a bonded thermocouple shows


def best_split(values: np.ndarray, least: int = LEAST_STOPS) -> tuple[int, float, float] | None:
    """(first index after the step, size of the step, its standard error) of the best split of `values` (n,), finite.

    The error is from the scatter about the two medians (1.4826 times the median absolute deviation). None for short
    series.
    """
    n = values.size
    if n < 2 * least:
        return None
    total, count = np.cumsum(values), np.arange(1, n + 1)
    k = np.arange(least, n - least + 1)
    before, after = total[k - 1] / count[k - 1], (total[-1] - total[k - 1]) / (n - count[k - 1])
    gain = k * (n - k) / n * (before - after) ** 2
    at = int(k[np.argmax(gain)])
    low, high = float(np.median(values[:at])), float(np.median(values[at:]))
    apart = np.concatenate([np.abs(values[:at] - low), np.abs(values[at:] - high)])
    sigma = MAD_TO_SD * float(np.median(apart))
    return at, high - low, sigma * np.sqrt(1 / at + 1 / (n - at))


def level_steps(stops: pl.DataFrame, schedule: pl.DataFrame) -> list[Finding]:
    """Pressure or speed that leaves the schedule's level from some stop on.

    stops: the stops table; schedule: row (schedule_row), pressure_bar, speed_rpm wanted (null where none is).
    A step by more than a quarter strikes the stops on its side, one finding each; a small one is told of the test.
    """
    joined = stops.join(schedule, left_on="schedule_row", right_on="row", how="left").sort("stop")
    found: list[Finding] = []
    for channel, measured, wanted in (
        ("pressure", "pressure_plateau_bar", "wanted_bar"),
        ("speed", "speed_start_rpm", "wanted_rpm"),
    ):
        rows = joined.filter((pl.col(measured) > 0) & (pl.col(wanted) > 0))
        off = (rows[measured] / rows[wanted]).log().to_numpy()
        split = best_split(off)
        if split is None:
            continue
        at, step, u = split
        if abs(step) < max(np.log1p(LEVEL_STEP), STEP_SIGMAS * u):
            continue
        found += _level_findings(channel, rows, off, at, float(np.exp(step)))
    return found


def _level_findings(channel: str, rows: pl.DataFrame, off: np.ndarray, at: int, ratio: float) -> list[Finding]:
    first, file = int(rows["stop"][at]), rows["file"][at]
    candidates = [
        f"a gain of the {channel} sensor that changed",
        f"another {channel} than the schedule's on the rig",
    ]
    evidence = {
        "from_stop": first,
        "ratio": ratio,
        "before": float(np.exp(np.median(off[:at]))),
        "after": float(np.exp(np.median(off[at:]))),
        "candidates": candidates,
    }
    text = (
        f"{channel} steps by a factor {ratio:.3g} against the schedule at stop {first}. Candidates: "
        f"{'; '.join(candidates)}"
    )
    result = [finding("level_step", text, channel=channel, file=file, evidence=evidence)]
    if abs(np.log(ratio)) > np.log(1.25):
        wrong = rows[at:] if abs(np.median(off[at:])) > abs(np.median(off[:at])) else rows[:at]
        text = f"{channel} is off the schedule by the step at stop {first}"
        evidence = {"from_stop": first, "ratio": ratio}
        result += of_each(
            wrong.select("stop", "file").iter_rows(), "level_step", text, channel=channel, evidence=evidence
        )
    return result


def debonded(stops: pl.DataFrame, heat_capacity: np.ndarray) -> list[Finding]:
    """A thermocouple whose rise per energy falls from some stop on, conditions allowed for.

    heat_capacity: (n,) of the disc at each stop's temperature, any unit. The log of rise x heat capacity / energy is
    regressed on log energy, log duration and initial temperature with a step; the step must take 30 % or more of the
    rise.
    """
    rise = (stops["temperature_peak_c"] - stops["temperature_initial_c"]).to_numpy().astype(float)
    energy, duration = (stops[name].to_numpy().astype(float) for name in ("energy_kj", "duration_s"))
    with np.errstate(invalid="ignore", divide="ignore"):
        y = np.log(np.maximum(rise, 0.5) * heat_capacity / energy)
        columns = np.column_stack(
            [np.ones(y.size), np.log(energy), np.log(duration), stops["temperature_initial_c"].to_numpy() / 100.0]
        )
    good = np.isfinite(y) & np.isfinite(columns).all(axis=1) & (stops["kind"] != "drag").to_numpy()
    y, columns, number = y[good], columns[good], stops["stop"].to_numpy()[good]
    if y.size < 4 * LEAST_STOPS:
        return []
    at = LEAST_STOPS + int(np.argmin(step_squares(y, columns)[LEAST_STOPS : y.size - LEAST_STOPS + 1]))
    _, step, u, apart = _step_fit(y, columns, at)
    if step > np.log(RISE_KEPT) or abs(step) < STEP_SIGMAS * u or apart > 0.9:
        return []
    first, kept = int(number[at]), float(np.exp(step))
    after = stops.filter(pl.col("stop") >= first)
    text = (
        f"disc temperature rises only {100 * kept:.0f} % of what the same energy gave before stop {first}: "
        "thermocouple loose or "
        "worn through"
    )
    evidence = {"from_stop": first, "rise_kept": kept}
    where = after.select("stop", "file").iter_rows()
    return of_each(where, "thermocouple_debonded", text, channel="disc_temperature", evidence=evidence)


def step_squares(y: np.ndarray, columns: np.ndarray) -> np.ndarray:
    """Sum of squares of y (n,) about columns (n, c) and a step from each of its places on (n,), all at once.

    What a step adds is the projection of the residual on that part of it which the columns leave (Frisch and Waugh
    1933); both are running sums, so that the work grows with n and not with its square.
    """
    basis, values, _ = np.linalg.svd(columns, full_matrices=False)
    basis = basis[:, values > values[0] * y.size * np.finfo(float).eps]
    residual = y - basis @ (basis.T @ y)
    gained = np.cumsum(residual[::-1])[::-1]
    known = np.cumsum(basis[::-1], axis=0)[::-1]
    free = np.arange(y.size, 0, -1) - np.square(known).sum(axis=1)
    return residual @ residual - np.where(free > 1e-9 * y.size, np.square(gained) / np.maximum(free, 1e-300), 0.0)


def _step_fit(y: np.ndarray, columns: np.ndarray, at: int) -> tuple[float, float, float, float]:
    """(sum of squares, step, its standard error, share of the step that the conditions explain) with a step at `at`."""
    step = (np.arange(y.size) >= at).astype(float)
    design = np.column_stack([columns, step])
    fit, *_ = np.linalg.lstsq(design, y, rcond=None)
    residual = y - design @ fit
    rss = float(residual @ residual)
    own, *_ = np.linalg.lstsq(columns, step, rcond=None)
    left = step - columns @ own
    free = float(left @ left)
    apart = 1 - free / float(np.var(step) * y.size)
    sigma = np.sqrt(rss / max(y.size - design.shape[1], 1))
    return rss, float(fit[-1]), float(sigma / np.sqrt(max(free, 1e-9))), apart


def swapped_thermocouples(stops: pl.DataFrame, rises: pl.DataFrame) -> list[Finding]:
    """Disc and pad thermocouples exchanged: the pad's outruns the disc's in braking, where the disc's did before or
    must.

    rises: recording, disc_k, pad_k: rise over each recording. The rubbed disc follows a braking first, the pad's
    thermocouple sits behind the face (common practice); a pad that is quicker from the first stop on is told as info
    only.
    """
    rows = (
        stops.join(rises, on="recording", how="inner").filter(pl.max_horizontal("disc_k", "pad_k") > 10.0).sort("stop")
    )
    if rows.height < 2 * LEAST_STOPS:
        return []
    turned = (rows["pad_k"] > 1.5 * rows["disc_k"].clip(lower_bound=1.0)).to_numpy()
    right = (rows["disc_k"] > 1.5 * rows["pad_k"].clip(lower_bound=1.0)).to_numpy()
    if turned.sum() < LEAST_STOPS:
        return []
    changed = right.sum() >= LEAST_STOPS
    struck = rows.filter(pl.Series(turned))
    if not changed and turned.mean() < 0.8:
        return []
    where = "in part of the test" if changed else "throughout the test"
    return [
        finding(
            "thermocouple_swapped",
            f"stop {s}: the pad's thermocouple outruns the disc's {where}: exchanged?",
            stop=s,
            file=f,
            channel="disc_temperature",
            evidence={"disc_rise_k": d, "pad_rise_k": p},
        )
        for s, f, d, p in struck.select("stop", "file", "disc_k", "pad_k").iter_rows()
    ]
