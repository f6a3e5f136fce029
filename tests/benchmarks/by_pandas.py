"""The reduction of `tests.benchmarks.raw` as an engineer would script it with pandas and scipy: the yardstick of speed.

    python -m tests.benchmarks.by_pandas FOLDER RESULT.parquet

The same method in outline and the same kinds of checks as `channels` and `stops`: canonical units and a kept table of channels;
brakings by pressure and speed; zeros at rest with robust means and their autocorrelation; lag by correlation of the build-ups; a
zero-phase low-pass; mu and its averages over the evaluation window; scatter about a spline; ripple by shaft order; work and energy
balance; temperatures; single wild samples, dropouts, held and cut values, jumps, losses, coarse steps, torque beside the braking. It
shares no code with the product. It knows one form of file, one stop a file, no schedule, and says nothing of what it cannot do.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import interpolate, signal

UNITS = {
    "t": (1.0, 0.0),
    "n": (np.pi / 30, 0.0),
    "Mb": (1.0, 0.0),
    "p": (1e5, 0.0),
    "T1": (1.0, 273.15),
    "T2": (1.0, 273.15),
    "T3": (1.0, 273.15),
    "p2": (1e5, 0.0),
    "Ta": (1.0, 273.15),
    "v": (1.0, 0.0),
}
INERTIA, RADIUS, THRESHOLD = 26.0, 0.134, 0.4e5
AREA = sum(np.pi / 4 * d**2 for d in (0.030, 0.034, 0.038))
ON, OFF, TURNING = 1e5, 0.6e5, 1.0
CUTOFF, ORDER = 30.0, 2


def ingested(folder: Path, into: Path) -> pd.DataFrame:
    """All recordings as one table in SI, written beside the result as the product does."""
    parts, seen = [], set()
    for number, path in enumerate(sorted((folder / "recordings").glob("*.csv")), start=1):
        frame = pd.read_csv(path)
        for name, (factor, offset) in UNITS.items():
            frame[name] = pd.to_numeric(frame[name], errors="coerce") * factor + offset
        digest = hash(frame.to_numpy().tobytes())
        if digest in seen:
            continue
        seen.add(digest)
        frame.insert(0, "recording", number)
        parts.append(frame)
    table = pd.concat(parts, ignore_index=True)
    table.to_parquet(into.with_suffix(".channels.parquet"), compression="zstd")
    return table


def rest(values: pd.Series) -> tuple[float, float]:
    """Mean at rest without outliers and its standard uncertainty, autocorrelation allowed for."""
    centre = values.median()
    spread = 1.4826 * (values - centre).abs().median()
    kept = values[(values - centre).abs() <= 5 * spread].to_numpy()
    return float(kept.mean()), float(kept.std(ddof=1) / np.sqrt(effective(kept)))


def effective(values: np.ndarray) -> float:
    centred = values - values.mean()
    n = values.size
    correlation = signal.correlate(centred, centred, method="fft")[n - 1 : n - 1 + max(n // 3, 2)]
    correlation = correlation / correlation[0]
    pairs = correlation[1 : 1 + 2 * ((correlation.size - 1) // 2)].reshape(-1, 2).sum(axis=1)
    negative = np.flatnonzero(pairs <= 0)
    return float(np.clip(n / (1 + 2 * pairs[: negative[0] if negative.size else None].sum()), 1, n))


def wild(values: pd.Series) -> pd.Series:
    """Single wild samples by the running median (Hampel)."""
    off = values - values.rolling(7, center=True, min_periods=1).median()
    sigma = 1.4826 * off.abs().rolling(15, center=True, min_periods=1).median().clip(lower=off.abs().median())
    return off.abs() > np.maximum(10 * sigma, 0.25 * values.abs().quantile(0.95))


def longest_run(values: pd.Series) -> int:
    return int(values.groupby(values.ne(values.shift()).cumsum()).size().max())


def checks(frame: pd.DataFrame, braking: slice, start: float, end: float) -> list[str]:
    inside, found = frame.iloc[braking], []
    steps = frame["t"].diff().iloc[1:]
    if (steps <= 0).any():
        found.append("time goes back")
    if (steps > 5 * steps.median()).any():
        found.append("gap")
    for name in ("Mb", "p", "n"):
        if inside[name].isna().any():
            found.append(f"dropout {name}")
        if longest_run(inside[name]) >= 10:
            found.append(f"held {name}")
        top = inside[name].abs()
        if name != "n" and longest_run(top.where(top == top.max())) >= 5:
            found.append(f"cut {name}")
    for name in ("Mb", "p"):
        if wild(frame[name]).any():
            found.append(f"spike {name}")
        counts = inside[name].value_counts(normalize=True)
        often = np.sort(counts[counts >= 0.1].index.to_numpy())
        if often.size >= 2 and np.diff(often).min() > 0.08 * np.abs(often).max():
            found.append(f"coarse {name}")
    plateau, torque = inside["p"].iloc[len(inside) // 2 :].median(), inside["Mb"].iloc[len(inside) // 2 :].median()
    smooth = inside["p"].rolling(3, center=True).median()
    followed = np.log(inside["Mb"].rolling(3, center=True).median()).diff(4).abs()
    with np.errstate(invalid="ignore"):
        jump = (inside["p"].diff().abs() > 0.15 * plateau) & (smooth > 0.6 * plateau)
    if (jump & ~(followed > 0.4 * np.log(smooth).diff(4).abs())).any():
        found.append("pressure jumps")
    around = inside["Mb"].rolling(101, center=True, min_periods=1).median()
    lost = (inside["Mb"] < 0.5 * around) & (inside["p"] > 0.8 * plateau) & (around > 0.3 * torque)
    if lost.sum() > 2:
        found.append("torque lost")
    beside = frame[(frame["t"] < start - 0.1) | (frame["t"] > end + 0.35)]
    if (beside["Mb"] > 0.2 * torque).sum() >= 3:
        found.append("torque without pressure")
    if (frame["n"].diff().abs() > 0.1 * frame["n"].max()).any():
        found.append("speed jumps")
    if (frame["T1"].diff().abs() > 200).any() or not frame["T1"].between(223, 1640).all():
        found.append("thermocouple")
    return found


def braking_of(frame: pd.DataFrame, level: float) -> slice:
    above = frame["p"] - level
    on = np.flatnonzero((above > ON) & (frame["n"] > TURNING))
    open_again = np.flatnonzero(above.to_numpy()[on[0] :] <= OFF)
    return slice(int(on[0]), int(on[0] + (open_again[0] if open_again.size else len(frame) - on[0])))


def surveyed(frame: pd.DataFrame) -> dict[str, object]:
    quiet = frame["p"] < frame["p"].min() + 0.2 * (frame["p"].max() - frame["p"].min())
    level = frame["p"][quiet].median()
    braking = braking_of(frame, level)
    start, end = frame["t"].iloc[braking.start], frame["t"].iloc[braking.stop - 1]
    before = frame[(frame["t"] > start - 2.1) & (frame["t"] < start - 0.1)]
    after = frame[(frame["t"] > end + 0.3) & (frame["t"] < end + 10.3)]
    pressure, torque = rest(before["p"]), rest(before["Mb"])
    built = frame.iloc[max(braking.start - 60, 0) : braking.start + 120]
    rates = [np.diff(low_passed(built[name].to_numpy(), 200.0)) for name in ("p", "Mb")]
    lag = np.argmax(signal.correlate(rates[1], rates[0], method="fft")) - (rates[0].size - 1)
    return {
        "braking": braking,
        "start": start,
        "end": end,
        "pressure": pressure,
        "torque": torque,
        "after": rest(after["Mb"]),
        "lag": lag,
    }


def low_passed(values: np.ndarray, rate: float) -> np.ndarray:
    return signal.sosfiltfilt(signal.butter(ORDER, CUTOFF, fs=rate, output="sos"), values)


def reduced(frame: pd.DataFrame, seen: dict[str, object], zero: float, drag: float) -> dict[str, object]:
    braking = seen["braking"]
    start, end = seen["start"], seen["end"]
    near = frame[(frame["t"] > start - 1) & (frame["t"] < end + 1)]
    t, w = near["t"].to_numpy(), near["n"].to_numpy()
    rate = 1 / np.median(np.diff(t))
    raw = near["Mb"].to_numpy() - zero - drag
    torque = low_passed(raw, rate)
    pressure = low_passed(near["p"].to_numpy() - seen["pressure"][0], rate)
    with np.errstate(divide="ignore", invalid="ignore"):
        mu = torque / (2 * AREA * (pressure - THRESHOLD) * RADIUS)
    inside = (t >= start) & (t <= end)
    plateau = np.median(pressure[inside & (t > (start + end) / 2)])
    first = t[inside & (pressure >= 0.95 * plateau)][0]
    last = t[inside & (w >= w[inside][-1] + 0.03 * w[inside][0])][-1]
    window = (t >= first) & (t <= last) & (pressure > 0.1 * plateau)
    weights = {"time": np.gradient(t), "distance": w * np.gradient(t), "energy": torque * w * np.gradient(t)}
    row: dict[str, object] = {
        f"mu_{name}": np.average(mu[window], weights=weight[window]) for name, weight in weights.items()
    }
    row |= {
        "mu": row["mu_distance"],
        "start_s": start,
        "end_s": end,
        "lag_s": seen["lag"] / rate,
        "pressure_bar": pressure[window].mean() / 1e5,
    }
    row |= {
        "mu_min": np.quantile(mu[window], 0.02),
        "mu_max": np.quantile(mu[window], 0.98),
        "torque_nm": torque[window].mean(),
    }
    tenth = (last - first) / 10
    row |= {
        "mu_start": mu[(t >= first) & (t <= first + tenth)].mean(),
        "mu_end": mu[(t >= last - tenth) & (t <= last)].mean(),
    }
    bite = t[inside & (pressure >= 0.5 * plateau)][0]
    row["mu_bite"] = mu[(t >= bite) & (t <= bite + 0.5)].mean()
    share = np.linspace(0, 1, int(window.sum()))
    trend = interpolate.make_lsq_spline(share, mu[window], np.r_[[0.0] * 4, np.linspace(0, 1, 13)[1:-1], [1.0] * 4])
    left = mu[window] - trend(share)
    row["mu_u"] = np.hypot(left.std() / np.sqrt(effective(left)), 0.01 * row["mu"])
    angle = np.r_[0.0, np.cumsum(np.diff(t[window]) * (w[window][1:] + w[window][:-1]) / 2)]
    turns = angle / angle[-1]
    knots = np.r_[[0.0] * 4, np.linspace(0, 1, 8)[1:-1], [1.0] * 4]
    smooth = interpolate.BSpline.design_matrix(np.clip(turns, 0, 1), knots, 3).toarray()
    for order in (1, 2):
        design = np.column_stack([smooth, *(wave(n * angle) for n in (1, 2) for wave in (np.cos, np.sin))])
        solution = np.linalg.lstsq(design, raw[window], rcond=None)[0]
        row[f"ripple_{order}_pct"] = (
            100 * np.hypot(*solution[smooth.shape[1] :].reshape(2, 2)[order - 1]) / raw[window].mean()
        )
    work = np.trapezoid((raw * w)[inside], t[inside])
    row |= {
        "energy_kj": work / 1e3,
        "energy_ratio": (work + np.trapezoid(drag * w[inside], t[inside]))
        / (INERTIA / 2 * (w[inside][0] ** 2 - w[inside][-1] ** 2)),
    }
    warm = frame[["t", "T1"]]
    row |= {
        "temperature_initial_c": warm["T1"][(warm["t"] >= start - 0.5) & (warm["t"] < start)].mean() - 273.15,
        "temperature_end_c": warm["T1"][(warm["t"] - end).abs() <= 0.05].mean() - 273.15,
        "temperature_mean_c": near["T1"].to_numpy()[window].mean() - 273.15,
        "temperature_peak_c": warm["T1"][warm["t"] >= start].rolling(5).median().max() - 273.15,
    }
    return row | {"findings": checks(frame, braking, start, end)}


def reduce_all(table: pd.DataFrame) -> pd.DataFrame:
    frames = [frame for _, frame in table.groupby("recording")]
    seen = [surveyed(frame) for frame in frames]
    turning = np.median([one["after"][0] for one in seen])
    still = np.median([one["torque"][0] for one in seen])
    return pd.DataFrame(
        [reduced(f, one, still, max(turning - still, 0.0)) for f, one in zip(frames, seen, strict=True)]
    )


def main() -> None:
    folder, result = Path(sys.argv[1]), Path(sys.argv[2])
    begun = time.process_time()
    table = ingested(folder, result)
    rows = reduce_all(table)
    rows.to_parquet(result)
    print(time.process_time() - begun)


if __name__ == "__main__":
    main()
