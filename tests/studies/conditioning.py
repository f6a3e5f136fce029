"""What conditioning is worth: the error of mu with it, and without its parts, on recordings as bad as they come.

    python -m tests.studies.conditioning [--share 1.0] [--seed 1] [--write]

Torque 60 ms late and off by 2 % of full scale, drag torque, ripple at shaft orders 1 and 2, noise; every kind of braking.
With --write the figures go to docs/conditioning_study.md.
"""

import argparse
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from tests.stops.makers import Application, Rig, reduce, write_test

HARD = Rig(torque_delay=0.06, torque_offset=60.0, drag=(8.0, 0.06), ripple=(0.03, 0.02))
WAYS: dict[str, dict[str, Any]] = {
    "default method": {},
    "lag left in": {"conditioning": {"lag_correction": "false"}},
    "drag left in": {"reduction": {"drag_correction": "false"}},
    "both left in": {"conditioning": {"lag_correction": "false"}, "reduction": {"drag_correction": "false"}},
}
FULL_SCALE = 3000.0


def rise(s: np.ndarray) -> np.ndarray:
    """Cold carbon: 0.15 rising to 0.45 within the stop."""
    return 0.15 + 0.30 / (1 + np.exp(-(s - 1.0) / 0.25))


def kinds() -> dict[str, list[Application]]:
    """Brakings of every kind, from gentle to hard."""
    return {
        "snubs": [
            Application(pressure=p, speed=(w, 500), block=f"{p} {w}") for p in (10, 20, 40, 60) for w in (1200, 1500, 1800)
        ],
        "stops": [
            Application(kind="stop", speed=(w, 0), pressure=p, block=f"{p} {w}") for p in (10, 20, 40) for w in (1000, 1500)
        ],
        "drags": [
            Application(kind="drag", speed=(w, w), pressure=p, duration=6, block=f"{p} {w}", purpose="drag")
            for p in (6, 10, 20) for w in (600, 800)
        ],
        "torque-controlled snubs": [
            Application(speed=(w, 500), torque=t, mu=rise, block=f"{t} {w}") for t in (400, 800) for w in (1500, 1800)
        ],
        "cold stops with in-stop rise": [
            Application(kind="stop", speed=(w, 0), pressure=20, mu=rise, temperature=60, block=f"{w}")
            for w in (1000, 1200, 1500)
        ],
    }  # fmt: skip


def errors(apps: list[Application], ways: list[str], seeds: range) -> dict[str, np.ndarray]:
    """Way -> errors of mu over all stops and seeds; `nothing taken off` is the raw torque over the raw window."""
    found: dict[str, list[np.ndarray]] = {way: [] for way in ways}
    for seed in seeds:
        with tempfile.TemporaryDirectory() as folder:
            base = Path(folder)
            _, truths = write_test(base, apps, HARD, seed=seed)
            true = np.array([t.mu_distance for t in truths])
            for way in ways:
                stops = reduce(base, **WAYS[way]).stops
                found[way].append(stops["mu"].cast(pl.Float64).to_numpy() - true)
    return {way: np.concatenate(values) for way, values in found.items()}


def study(share: float, seed: int) -> dict[str, dict[str, np.ndarray]]:
    seeds = range(seed, seed + max(round(10 * share), 1))
    return {kind: errors(apps, list(WAYS), seeds) for kind, apps in kinds().items()}


def page(found: dict[str, dict[str, np.ndarray]]) -> str:
    """The study's page."""
    text = (
        "# What conditioning is worth\n\nWritten by `python -m tests.studies.conditioning --write`; nothing here is typed by hand.\n\n"
        "Recordings at 100 Hz with torque 60 ms late, 60 N m (2 % of 3000 N m) off, drag of 8 N m + 0.06 N m per rad/s, ripple "
        "of 3 and 2 % at shaft orders 1 and 2, noise of 4 N m, 0.08 bar and 0.5 rpm. Largest error of mu over the stops (root "
        "mean square in brackets), against the truth over the same window.\n\n| braking | stops | "
        + " | ".join(WAYS)
        + " | offset left in as well |\n|---|---|"
        + "---|" * (len(WAYS) + 1)
        + "\n"
    )
    for kind, by_way in found.items():
        cells = [f"{np.abs(e).max():.4f} ({np.sqrt(np.mean(e**2)):.4f})" for e in by_way.values()]
        apps = kinds()[kind]
        offset = np.array([HARD.torque_offset / torque_of(app) * mu_of(app) for app in apps])
        both = by_way["both left in"].reshape(-1, len(apps)) + offset
        cells.append(f"{np.abs(both).max():.4f} ({np.sqrt(np.mean(both**2)):.4f})")
        text += f"| {kind} | {by_way['default method'].size} | " + " | ".join(cells) + " |\n"
    return text + (
        "\nThe last column adds to the one before what 60 N m are worth at each stop's mean torque, as no method leaves an offset in.\n"
    )


def mu_of(app: Application) -> float:
    return float(app.mu) if not callable(app.mu) else 0.40


def torque_of(app: Application) -> float:
    """Torque at the level (N m), what an offset is compared with."""
    if app.torque is not None:
        return app.torque
    return 2 * mu_of(app) * 0.97 * (app.pressure - 0.4) * 1e5 * HARD.area * HARD.radius


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--share", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    text = page(study(options.share, options.seed))
    if options.write:
        (Path(__file__).parents[2] / "docs" / "conditioning_study.md").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
