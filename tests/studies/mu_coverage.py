"""Coverage of mu_u: simulated stops whose sensors err within their stated limits, against the truth.

    python -m tests.studies.mu_coverage [--share 1.0] [--seed 1] [--write]

Each test draws its torque and pressure calibration, radius, piston area, efficiency and threshold pressure anew from the limits that its card
states, and is reduced by the stops stage as any other. With --write the figures go to docs/mu_coverage_study.md.
"""

import argparse
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
import polars as pl
from scipy.stats import beta

from tests.stops.makers import AREA, EFFICIENCY, RADIUS, THRESHOLD, Application, Rig, reduce, write_test

STOPS = 500
PRESSURES = (8.0, 20.0, 40.0, 60.0)
TORQUE_SCALE, TORQUE_SHARE = 3000.0, 0.002
PRESSURE_SCALE, PRESSURE_SHARE = 160e5, 0.0025
RADIUS_LIMIT, AREA_SHARE, EFFICIENCY_SHARE = 0.5e-3, 0.005, 0.01
THRESHOLD_LIMIT = 0.1e5
SENSORS = (
    "sensors: {torque: {full_scale: 3000 N m, accuracy: 0.2 %}, pressure: {full_scale: 160 bar, accuracy: 0.25 %}, "
    "effective_radius: {accuracy: 0.5 mm}, piston_area: {accuracy: 0.5 %}, efficiency: {accuracy: 1 %}, "
    "threshold_pressure: {accuracy: 0.1 bar}}"
)
READINGS = {
    "gain and zero": "an error of gain of up to the limit at full scale, and an error of zero of up to the limit",
    "zero": "an error of zero of up to the limit, no error of gain",
    "gain": "an error of gain of up to the limit at full scale, no error of zero",
    "level": "an error of up to the limit at the working level that is not there at rest",
}


class Row(NamedTuple):
    """One stop: pressure level (bar), what was drawn, error of mu and its stated uncertainty, both relative to the truth."""

    reading: str
    pressure: float
    error: float
    u: float


def drawn(reading: str, rng: np.random.Generator, level: float) -> Rig:
    """A rig whose true geometry and sensors lie within the limits the card states."""

    def limit(half: float) -> float:
        return float(rng.uniform(-half, half))

    torque_gain, pressure_gain, torque_zero, pressure_zero = 1.0, 1.0, 0.0, 0.0
    if reading in ("gain and zero", "gain"):
        torque_gain, pressure_gain = 1 + limit(TORQUE_SHARE), 1 + limit(PRESSURE_SHARE)
    if reading in ("gain and zero", "zero"):
        torque_zero, pressure_zero = limit(TORQUE_SHARE * TORQUE_SCALE), limit(PRESSURE_SHARE * PRESSURE_SCALE)
    if reading == "level":
        torque = 2 * 0.42 * EFFICIENCY * level * 1e5 * AREA * RADIUS
        torque_gain = 1 + limit(TORQUE_SHARE * TORQUE_SCALE) / torque
        pressure_gain = 1 + limit(PRESSURE_SHARE * PRESSURE_SCALE) / (level * 1e5)
    # Efficiency enters as area does: the true product of both is what presses.
    area = AREA * (1 + limit(AREA_SHARE)) * (1 + limit(EFFICIENCY_SHARE))
    return replace(
        Rig(), torque_gain=torque_gain, pressure_gain=pressure_gain, torque_offset=torque_zero, pressure_offset=pressure_zero,
        radius=RADIUS + limit(RADIUS_LIMIT), area=area, threshold=THRESHOLD + limit(THRESHOLD_LIMIT),
    )  # fmt: skip


def study(share: float, seed: int, readings: tuple[str, ...] = tuple(READINGS)) -> list[Row]:
    """Rows of all stops; each test is one pressure level of four stops with one draw of its rig."""
    rows = []
    for reading in readings:
        rng = np.random.default_rng([seed, *reading.encode()])
        for i in range(max(round(STOPS * share / 4), 1)):
            pressure = PRESSURES[i % len(PRESSURES)]
            apps = [
                Application(pressure=pressure, speed=(w, 500), mu=float(rng.uniform(0.35, 0.5)), block=f"map {w}")
                for w in (1100, 1300, 1500, 1700)
            ]
            with tempfile.TemporaryDirectory() as folder:
                base = Path(folder)
                _, truths = write_test(
                    base, apps, drawn(reading, rng, pressure), seed=int(rng.integers(2**31)), sensors=SENSORS
                )
                stops = reduce(base).stops
            true = np.array([t.mu_distance for t in truths])
            error = stops["mu"].cast(pl.Float64).to_numpy() / true - 1
            u = stops["mu_u"].cast(pl.Float64).to_numpy() / true
            rows += [Row(reading, pressure, float(e), float(s)) for e, s in zip(error, u, strict=True)]
    return rows


class Figures(NamedTuple):
    stops: int
    coverage: float
    low: float  # 95 % interval of the coverage, tests counted once (their stops share the draw)
    high: float
    stated: float  # root mean square of mu_u, relative
    spread: float  # root mean square of the errors, relative
    ratio: float


def figures(rows: list[Row]) -> Figures:
    """Coverage of +-2 mu_u and stated over true spread."""
    error, u = np.array([r.error for r in rows]), np.array([r.u for r in rows])
    covered = np.abs(error) <= 2 * u
    tests = len(rows) // 4
    hits = float(covered.mean()) * tests
    low = float(beta.ppf(0.025, hits, tests - hits + 1)) if hits > 0 else 0.0
    high = float(beta.ppf(0.975, hits + 1, tests - hits)) if hits < tests else 1.0
    stated, spread = float(np.sqrt(np.mean(u**2))), float(np.sqrt(np.mean(error**2)))
    return Figures(len(rows), float(covered.mean()), low, high, stated, spread, stated / spread)


HEAD = """\
# Coverage of mu_u

Written by `python -m tests.studies.mu_coverage --write`; nothing here is typed by hand.

{stops} simulated stops a case, snubs at {pressures} bar, four to a test, every test with a calibration, radius, piston area,
efficiency and threshold pressure of its own drawn from the limits that its card states (rectangular): torque 0.2 % of 3000 N m, pressure 0.25 %
of 160 bar, radius 0.5 mm, piston area 0.5 %, efficiency 1 %, threshold 0.1 bar. Each is reduced by the stops stage with the default method.
Covered: the truth lies within 2 mu_u. Ratio: root mean square of mu_u over that of the true errors.

What "accuracy of full scale" means is an assumption. The one made: it bounds the sensor's error anywhere in its range, as
an error of zero and one of gain. The reading at rest before each stop takes the zero away, so mu_u holds the gain (the
limit over full scale, of any reading) and the rest reading's own uncertainty. The table shows what follows if the
errors are of another kind.

"""


def page(rows: list[Row], readings: tuple[str, ...] = tuple(READINGS)) -> str:
    """The study's page."""
    first = figures([r for r in rows if r.reading == readings[0]])
    text = HEAD.format(stops=first.stops, pressures=", ".join(f"{p:g}" for p in PRESSURES))
    text += "| errors drawn | pressure | stops | covered | 95 % interval | mu_u | true spread | ratio |\n|---|---|---|---|---|---|---|---|\n"
    for reading in readings:
        for pressure in (None, *PRESSURES):
            chosen = [r for r in rows if r.reading == reading and pressure in (None, r.pressure)]
            if not chosen:
                continue
            f = figures(chosen)
            level = "all" if pressure is None else f"{pressure:g} bar"
            text += (
                f"| {reading} | {level} | {f.stops} | {100 * f.coverage:.1f} % | {100 * f.low:.0f} to {100 * f.high:.0f} % | "
                f"{100 * f.stated:.2f} % | {100 * f.spread:.2f} % | {f.ratio:.2f} |\n"
            )
    text += "\n" + "\n".join(f"- {name}: {meaning}." for name, meaning in READINGS.items() if name in readings) + "\n"
    over = 100 * (first.coverage - 0.954)
    text += (
        f"\nTwo standard uncertainties of a normal error would cover 95.4 %. Limits are rectangular and never exceeded, so the "
        f"stated case covers {abs(over):.1f} points {'more' if over >= 0 else 'less'}. An error at the working level that is not "
        "there at rest would be a sensor far from straight; where a sensor's sheet allows that, state its accuracy without a "
        "full scale (in N m or bar): mu_u then takes the whole limit at the largest reading in use.\n"
    )
    return text


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--share", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    text = page(study(options.share, options.seed))
    if options.write:
        (Path(__file__).parents[2] / "docs" / "mu_coverage_study.md").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
