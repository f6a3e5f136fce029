"""What each setting does alone, and what is left to them together.

From the first method, one setting of the second is changed at a time; d_s is what that moves, d what all together move. The rest,
d - sum of d_s, is interaction: what settings do only in company. Everything is told of a stop relative to the first method's mu, so that
it adds up stop by stop and so do means over stops. Stops without mu in one of the runs are left out of all of them and
counted. Ends of windows, in kelvin, add up in the same way; words do not, and are told as they are under each setting.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import reduce

import numpy as np
import polars as pl

from pipeline.delta import per_stop
from pipeline.delta.alone import MOVED_BY, Side
from pipeline.delta.conclusions import of_test
from pipeline.results.delta import Conclusion
from pipeline.results.shares import INTERACTION, TOGETHER, AloneAnswer, ClassMove, EndMove, SettingShare, Share
from pipeline.vocabulary import SHARES, conform

Runs = Mapping[str, Mapping[str, Side]]  # name of the setting (or TOGETHER) -> test -> the test under it
Asked = Mapping[str, Sequence[Conclusion]]  # test -> conclusions on which the two methods differ


def moves(first: Mapping[str, Side], runs: Runs) -> pl.DataFrame:
    """A row a stop of the first method with mu in every run: test, stop, temperature_initial_c, and a column of relative change by run.

    INTERACTION is TOGETHER less all others.
    """
    alone = [name for name in runs if name != TOGETHER]
    tables = []
    for test, side in first.items():
        base = side.stops.filter(pl.col("mu").is_not_null()).select("stop", "temperature_initial_c")
        own = [_relative(test, side, runs[name][test], name) for name in runs if test in runs[name]]
        if len(own) == len(runs):
            joined = reduce(lambda left, right: left.join(right, on="stop", how="inner"), own, base)
            tables.append(joined.with_columns(test=pl.lit(test)))
    columns = ["test", "stop", "temperature_initial_c", *runs]
    found = pl.concat(tables) if tables else pl.DataFrame(schema={name: pl.Float64() for name in columns})
    rest = pl.col(TOGETHER) - pl.sum_horizontal([pl.col(name) for name in alone] or [pl.lit(0.0)])
    return found.select(columns).with_columns(rest.alias(INTERACTION)).sort("test", "stop")


def _relative(test: str, first: Side, run: Side, name: str) -> pl.DataFrame:
    pairs = per_stop.matched(test, first.stops, run.stops).filter(
        pl.col("mu_difference").is_not_null(), pl.col("mu_a") != 0
    )
    return pairs.select(pl.col("stop_a").alias("stop"), (pl.col("mu_difference") / pl.col("mu_a")).alias(name))


def classes(moved: pl.DataFrame, name: str) -> list[ClassMove]:
    """The change by class of initial temperature; moved: as `moves` gives it."""
    rows = []
    for low, high in per_stop.CLASSES:
        part = per_stop.within(moved, "temperature_initial_c", low, high)
        if len(part):
            rows.append(_class(part, name, low, high))
    return rows


def _class(part: pl.DataFrame, name: str, low: float | None, high: float | None) -> ClassMove:
    values = part[name].to_numpy()
    p05, p95 = np.quantile(values, [0.05, 0.95])
    return ClassMove(low_c=low, high_c=high, stops=len(values), mean=values.mean(), p05=p05, p95=p95)


def share(first: Mapping[str, Side], run: Mapping[str, Side], moved: pl.DataFrame, name: str, wanted: Asked) -> Share:
    """What one run moves."""
    gained = lost = changed = 0
    answers: list[AloneAnswer] = []
    windows = []
    for test, side in run.items():
        pairs = per_stop.matched(test, first[test].stops, side.stops)
        gained, lost = gained + pairs["stop_a"].null_count(), lost + pairs["stop_b"].null_count()
        both = pairs.filter(pl.col("stop_a").is_not_null(), pl.col("stop_b").is_not_null())
        changed += len(both.filter(pl.col("status_a").ne_missing(pl.col("status_b"))))
        windows.append(ends(test, first[test], side) if _fitted(name, first[test], side) else EndMove(test=test))
        found = {row.what: row for row in of_test(test, first[test].concluded, side.concluded)}
        answers += [
            AloneAnswer(test=test, what=row.what, answer=found[row.what].b if row.what in found else None)
            for row in wanted.get(test, ())
        ]
    return Share(
        classes=classes(moved, name), every=_class(moved, name, None, None) if len(moved) else None, windows=windows, gained=gained,
        lost=lost, status_changed=changed, answers=answers,
    )  # fmt: skip


def _fitted(name: str, first: Side, run: Side) -> bool:
    """Whether the run's window is its own: a setting that can move it may have kept the first method's, as nothing was fitted again."""
    movable = name.partition(".")[0] in MOVED_BY["friction"]
    return not movable or run.concluded.friction is not first.concluded.friction


def ends(test: str, first: Side, run: Side) -> EndMove:
    """How far the ends of the test's window move."""
    old, new = (side.concluded.friction.window if side.concluded.friction else None for side in (first, run))
    if old is None or new is None:
        return EndMove(test=test)
    return EndMove(test=test, low_k=new.low_c - old.low_c, high_k=new.high_c - old.high_c)


def interaction(moved: pl.DataFrame, alone: Sequence[SettingShare], together: Share) -> Share:
    """What all together move beyond the sum of each alone."""
    windows = []
    for place, end in enumerate(together.windows):
        parts = [one.windows[place] for one in alone if one.why is None]
        low, high = (_rest(getattr(end, key), [getattr(part, key) for part in parts]) for key in ("low_k", "high_k"))
        windows.append(EndMove(test=end.test, low_k=low, high_k=high))
    return Share(
        classes=classes(moved, INTERACTION), every=_class(moved, INTERACTION, None, None) if len(moved) else None, windows=windows
    )  # fmt: skip


def amount(moved: pl.DataFrame, name: str) -> float:
    """Mean amount by which a run moves a stop; 0 without stops."""
    return float(moved[name].abs().mean() or 0.0) if len(moved) else 0.0  # type: ignore[arg-type]


def with_mu(first: Mapping[str, Side], second: Mapping[str, Side]) -> int:
    """Stops with mu by both methods."""
    pairs = (per_stop.matched(test, first[test].stops, second[test].stops) for test in first)
    return sum(int(one["mu_difference"].is_not_null().sum()) for one in pairs)


def table(moved: pl.DataFrame) -> pl.DataFrame:
    """shares.parquet: a row a stop and run, in the order of the settings."""
    runs = [name for name in moved.columns if name not in ("test", "stop", "temperature_initial_c")]
    long = moved.unpivot(runs, index=["test", "stop"], variable_name="setting", value_name="mu_relative")
    return conform(long, SHARES)


def _rest(whole: float | None, parts: Sequence[float | None]) -> float | None:
    if whole is None or any(part is None for part in parts):
        return None
    return whole - sum(part for part in parts if part is not None)
