"""Invented compounds with a known friction map, at stop level.

mu = [cold + (hot - cold) S((T - flank)/width)] [1 + change S((T - 650 C)/50 K)] x (1 + sp ln p/p0)(1 + sw ln
w/w0)(1 + se (e - e0)), S the logistic function; a specimen multiplies all of it and may move the flank. Stops
scatter relatively, neighbours alike.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from tests.makers import stops_frame

P0, W0, E0 = 40.0, 1500.0, 23.0  # bar, rpm, J/mm2


@dataclass(frozen=True)
class Law:
    """A material's map: temperatures in degC, effects relative."""

    cold: float = 0.16
    hot: float = 0.47
    flank: float = 170.0
    width: float = 15.0
    change: float = -0.15
    pressure: float = -0.03
    speed: float = -0.05
    energy: float = 0.002  # per J/mm2
    scatter: float = 0.02
    correlation: float = 0.2
    adds: bool = False  # effects and scatter add, sized for hot friction, instead of multiplying

    def mu(
        self,
        t: np.ndarray,
        p: np.ndarray | float = P0,
        w: np.ndarray | float = W0,
        e: np.ndarray | float = E0,
    ) -> np.ndarray:
        """Mean mu at temperatures in degC, bar, rpm, J/mm2."""
        s = lambda x: 1 / (1 + np.exp(-x))  # noqa: E731
        t = np.asarray(t, float)
        curve = self.cold + (self.hot - self.cold) * s((t - self.flank) / self.width)
        curve = curve * (1 + self.change * s((t - 650) / 50))
        effects = (self.pressure * np.log(p / P0), self.speed * np.log(w / W0), self.energy * (e - E0))
        if self.adds:
            return curve + self.hot * sum(effects)
        return curve * (1 + effects[0]) * (1 + effects[1]) * (1 + effects[2])

    def sd(self, mu: np.ndarray) -> np.ndarray:
        """Standard deviation of single stops about their specimen's mu."""
        return self.scatter * (np.full_like(mu, self.hot) if self.adds else mu)


def some_law(rng: np.random.Generator) -> Law:
    """A random carbon-like material."""
    return Law(
        cold=rng.uniform(0.12, 0.22), hot=rng.uniform(0.38, 0.52), flank=rng.uniform(150, 200), width=rng.uniform(8, 22),
        change=rng.uniform(-0.25, 0.2), pressure=rng.uniform(-0.06, 0.02), speed=rng.uniform(-0.1, 0.02),
        energy=rng.uniform(-0.004, 0.004), scatter=rng.uniform(0.012, 0.03), correlation=rng.uniform(0.0, 0.4),
    )  # fmt: skip


def program(rng: np.random.Generator) -> pl.DataFrame:
    """Set-points of a test's map and check stops with the rig's scatter: block, purpose, temperature, bar,
    rpm, J/mm2.
    """
    rows: list[tuple[str, str, float, float, float, float]] = []

    def block(name: str, purpose: str, conditions: list[tuple[float, float, float, float]]) -> None:
        rows.extend((name, purpose, *c) for c in conditions)

    check = [(300.0, P0, W0, E0)] * 6
    block("check 1", "check", check)
    block(
        "temperature line",
        "map",
        [(t, P0, W0, E0) for t in (60, 100, 140, 160, 180, 200, 250, 300, 400, 500, 600) for _ in range(3)],
    )
    block("check 2", "check", check)
    block(
        "pressure line",
        "map",
        [(t, p, W0, E0) for t in (120, 350) for p in (10, 20, 40, 60, 80) for _ in range(2)],
    )
    block("speed line", "map", [(350, P0, w, E0) for w in (800, 1200, 1500, 2000) for _ in range(3)])
    block("check 3", "check", check)
    block(
        "energy line",
        "map",
        [(t, P0, W0, e) for t in (250, 450, 620) for e in (10, 20, 30, 40) for _ in range(2)],
    )
    block("check 4", "check", check)
    names, purposes, t, p, w, e = (list(column) for column in zip(*rows, strict=True))
    n = len(rows)
    return pl.DataFrame(
        {
            "block": names,
            "purpose": purposes,
            "temperature": np.array(t) + rng.normal(0, 5, n),
            "pressure": np.array(p) * (1 + rng.normal(0, 0.01, n)),
            "speed": np.array(w) * (1 + rng.normal(0, 0.003, n)),
            "energy": np.array(e) * (1 + rng.normal(0, 0.02, n)),
        }
    )


def scatter(rng: np.random.Generator, n: int, correlation: float) -> np.ndarray:
    """Standard normal stops, neighbours correlated."""
    e = rng.normal(size=n)
    for i in range(1, n):
        e[i] = correlation * e[i - 1] + np.sqrt(1 - correlation**2) * e[i]
    return e


def one_test(
    law: Law, rng: np.random.Generator, *, plan: pl.DataFrame | None = None, **columns: object
) -> pl.DataFrame:
    """The stops table of one test of this law; `plan` defaults to `program`."""
    plan = program(rng) if plan is None else plan
    t, p, w, e = (plan[name].to_numpy() for name in ("temperature", "pressure", "speed", "energy"))
    mu = law.mu(t, p, w, e)
    mu = mu + law.sd(mu) * scatter(rng, len(plan), law.correlation)
    return stops_frame(
        len(plan), block=plan["block"], purpose=plan["purpose"], mu=mu, pressure_bar=p, speed_start_rpm=w,
        energy_density_j_mm2=e, temperature_initial_c=t, mu_u_stop=0.01 * mu, **columns,
    )  # fmt: skip


def compound(
    law: Law,
    rng: np.random.Generator,
    *,
    batches: int = 1,
    specimens: int = 2,
    batch_sd: float = 0.0,
    specimen_sd: float = 0.02,
    flank_sd: float = 0.0,
    plan: pl.DataFrame | None = None,
    shifts: np.ndarray | None = None,
) -> pl.DataFrame:
    """Stops of all tests of a compound with `test`, `batch` and `specimen`; shifts relative, flank shifts in
    K.

    `shifts` gives the batches' own instead of drawing them.
    """
    shifts = rng.normal(0, batch_sd, batches) if shifts is None else shifts
    tables = []
    for b, shift in enumerate(shifts):
        for s in range(specimens):
            factor = 1 + shift + rng.normal(0, specimen_sd)
            own = replace(law, cold=law.cold * factor, hot=law.hot * factor, flank=law.flank + rng.normal(0, flank_sd))
            stops = one_test(own, rng, plan=plan)
            tables.append(stops.with_columns(test=pl.lit(f"t{b}{s}"), batch=pl.lit(f"b{b}"), specimen=pl.lit(f"s{s}")))
    return pl.concat(tables)
