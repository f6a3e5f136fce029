"""First stops after a pause, and bite: what a mean over a block hides.

After hours of rest carbon has taken up moisture, and its first stops may bite badly (a pause also ends a warm
run). They are set against the map's mu at their own conditions, where the data support it, else against the
later stops of their block.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.friction.map import FrictionMap
from pipeline.results.friction_history import Pause
from pipeline.results.friction_map import Bite, BiteAt

BACK = 0.03
LOOKED_AT = 8  # stops after a pause
COLDEST_SHARE = 0.1


def pauses(stops: pl.DataFrame, map_: FrictionMap | None, *, shortest: float, level: float = 1.0) -> list[Pause]:
    """Every pause of at least `shortest` seconds with its first stop over what is expected there, and
    stops to normal. `level` is the specimen's own level over the map's, where the map is of several.
    """
    ordered = stops.filter(pl.col("purpose").is_not_null()).sort("stop").with_row_index("row")
    bounds = ordered.filter(pl.col("idle_before_s").is_finite() & (pl.col("idle_before_s") >= shortest))
    found = []
    for row in bounds.iter_rows(named=True):
        after = ordered.slice(row["row"], LOOKED_AT)
        after = after.filter(
            (pl.col("block") == row["block"]) & pl.col("mu").is_finite() & (pl.col("status") != "rejected")
        )
        if after.is_empty() or after["stop"][0] != row["stop"] or row["purpose"] == "bedding":
            continue
        expected, source = expectation(after, map_)
        if expected is None:
            continue
        expected = expected * level if source == "map" else expected
        ratio = after["mu"].to_numpy() / expected
        back = np.flatnonzero(np.abs(ratio - 1) <= BACK)
        found.append(
            Pause(
                stop=row["stop"],
                block=row["block"],
                pause_h=row["idle_before_s"] / 3600,
                temperature_c=row["temperature_initial_c"],
                mu=row["mu"],
                ratio=float(ratio[0]),
                against=source,
                bite_ratio=None if row["mu_bite"] is None else float(row["mu_bite"] / expected[0]),
                stops_to_normal=int(back[0]) + 1 if back.size else None,
            )
        )
    return found


def expectation(after: pl.DataFrame, map_: FrictionMap | None) -> tuple[np.ndarray | None, str]:
    """Expected mu of each stop after the pause and where it comes from."""
    if map_ is not None:
        at = map_.predict_stops(after)
        if at.supported.all():
            return at.mu, "map"
    if len(after) < 4:
        return None, ""
    return np.full(len(after), float(np.median(after["mu"].to_numpy()[2:]))), "later stops of the block"


def bite(map_: FrictionMap) -> Bite:
    """mu_bite and its ratio to mu at the reference checks and in the coldest tenth of the map's stops."""
    used = map_.stops.filter(pl.col("mu_bite").is_finite())
    if used.is_empty():
        return Bite(why="no stop has a bite")
    temperature = f"temperature_{map_.temperature_kind}_c"
    checks = used.filter(pl.col("purpose") == "check")
    coldest = used.sort(temperature).head(max(int(COLDEST_SHARE * len(used)), 1))
    return Bite(
        reference=_bite_of(checks if len(checks) else used, temperature),
        coldest=_bite_of(coldest, temperature),
    )


def _bite_of(part: pl.DataFrame, temperature: str) -> BiteAt:
    ratio = (part["mu_bite"] / part["mu"]).to_numpy()
    return BiteAt(
        temperature_c=float(np.median(part[temperature].to_numpy())),
        mu_bite=float(part["mu_bite"].to_numpy().mean()),
        mu=float(part["mu"].to_numpy().mean()),
        ratio=float(ratio.mean()),
        stops=len(part),
    )
