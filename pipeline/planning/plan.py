"""A plan: what a program shows or what a question needs, with everything that was assumed."""

from __future__ import annotations

from dataclasses import dataclass, field

from pipeline.planning.components import Scatter


@dataclass(frozen=True)
class Line:
    """One thing that a plan shows: a figure for the specimens' scatter as found and for the pessimistic end of its
    interval; None with `why`. unit "1" is a share or a chance."""

    key: str
    what: str
    unit: str
    as_found: float | None
    pessimistic: float | None = None
    why: str | None = None


@dataclass(frozen=True)
class Curve:
    """A figure against what is run: (x, as found, pessimistic); wanted: the level asked for."""

    name: str
    x: str
    y: str
    points: tuple[tuple[float, float | None, float | None], ...]
    wanted: float | None = None


@dataclass(frozen=True)
class Run:
    """What has to be run, for one case of the scatter: None where no program of the sizes tried is enough."""

    specimens: int | None
    stops: int | None
    hours: float | None
    why: str | None = None


@dataclass(frozen=True)
class Plan:
    """A plan of a compound; `run` by case of the specimens' scatter (as found, pessimistic)."""

    compound: str
    method: str | None
    question: str
    program: str
    run: dict[str, Run]
    lines: tuple[Line, ...]
    assumed: tuple[str, ...]
    undetermined: tuple[str, ...] = ()
    curves: tuple[Curve, ...] = ()
    blocks: str | None = None
    confidence: float = 0.95
    wanted: float = 0.8
    extra: dict[str, object] = field(default_factory=dict)


NAMES = {"mu": "mu", "bite": "bite", "wear": "logarithm of the disc's wear"}


def scatter_words(scatter: Scatter) -> str:
    """What is taken for the scatter of a quantity, and where from."""
    own = scatter.specimen
    ends = "no interval" if own.low is None or own.high is None else f"{own.low:.2g} to {own.high:.2g}"
    by_batch = ", ".join(f"{batch} {n}" for batch, n in scatter.specimens.items())
    stop = (
        f"; a reading's uncertainty gives it {scatter.stops.sd:.2g}"
        if scatter.quantity == "wear"
        else f"; sd of a stop {scatter.stops.sd:.2g}"
        + (f", neighbours alike by {scatter.stops.autocorrelation:.2f}" if scatter.stops.autocorrelation else "")
        + (f", a block's own shift {scatter.stops.block_sd:.2g}" if scatter.stops.block_sd else "")
    )
    return (
        f"{NAMES[scatter.quantity]}: sd between specimens of a batch {own.sd:.2g} ({ends}, {own.dof:.0f} degrees of "
        f"freedom; {own.source}; specimens {by_batch}){stop}"
    )


def no_better(as_found: float | None, pessimistic: float | None) -> float | None:
    """The half width of the pessimistic case, never below that as found.

    More scatter between specimens tells nothing more; where other sources decide (a duty's cooling), the draws of both cases
    may differ by a per cent either way.
    """
    return pessimistic if pessimistic is None or as_found is None else max(as_found, pessimistic)
