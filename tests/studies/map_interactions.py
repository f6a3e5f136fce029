"""Does the friction map follow compounds whose friction is made at the face? Before and after temperature interacts.

    python -m tests.studies.map_interactions [--first 0] [--count 40] [--seed 1] [--files] [--into part.json]
    python -m tests.studies.map_interactions --write part.json ...      # the page from the parts of one or more runs

Compounds of `tests.studies.face_compounds`, four of five with friction made at the face, the fifth separable. Each is
analysed twice: by the map as it was (one curve times fixed effects, all misfit called scatter) and by the map as it is. The
target band of mu is drawn so that the truth leaves it on a slope: its lower limit 8 to 18 % below the highest true mean. With
--files the compounds go through raw recordings, channels and reduction first.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import time
from collections.abc import Callable, Iterable
from contextlib import ExitStack
from dataclasses import asdict, dataclass
from pathlib import Path
from unittest.mock import patch

import numpy as np
import polars as pl
from scipy import special

from pipeline.friction import places, result
from pipeline.friction.comparison import best_map, folds_of, left_out_errors
from pipeline.friction.wanted import Wanted
from pipeline.method import Method, settings_of
from pipeline.method.friction import Friction
from pipeline.recordings import stage as channels
from pipeline.results.friction_map import Window, WindowEstimate
from pipeline.stops import stage as reduction
from tests.studies import face_compounds, face_files
from tests.studies.face_compounds import Made, Truth

SETTINGS = Friction()
STEEP = 0.05  # of mu per 100 K: where the criteria count
NEAR_K = 15.0
AT_MOST_CPU = 2.0  # after over before
NOWHERE = 999.0  # K off, of an end that is not given at all
PAGE = Path("docs/friction_interactions_study.md")


@dataclass(frozen=True)
class Judged:
    """One analysis of one compound; shares over the curve's temperatures, None where there is none of the kind."""

    number: int
    world: str  # face or separable
    specimens: int
    way: str  # before or after
    interacts: bool
    mean: float | None  # share covered by the mean's band, all supported temperatures
    mean_steep: float | None  # where mu slopes
    tolerance: float
    tolerance_steep: float | None
    scatter: float  # printed over true, median over temperatures
    bias: float  # largest relative error of the curve
    off: list[float]  # K of each end on a slope by best estimate; NOWHERE without one
    held: list[bool]  # inside its interval, of ends that the band limits
    careful_off: list[float]  # the same of the window's own ends, stated with confidence
    careful_held: list[bool]
    careful: list[float]  # K by which that end lies inside the truth's, negative outside
    cell_rms: float
    half_width: float
    cpu_s: float


def judged(made: Made, number: int, world: str, way: str, seed: int) -> Judged:
    """Analyse a compound's stops and hold the result against its truth."""
    rng = np.random.default_rng([seed, number, 7])
    c = made.compound
    inside = np.linspace(c.starts[0] - 15, c.starts[-1] + 15, 70)
    began = time.process_time()
    compared = best_map(made.stops, SETTINGS, temperature="initial", interactions=way == "after")
    reference = compared.map.reference
    truth = made.truth(inside, reference.pressure / 1e5, reference.speed * 30 / np.pi)
    top = float(truth.mu.max())
    wanted = (top * (1 - rng.uniform(0.08, 0.18)), top * 1.2)
    judging = time.process_time() - began
    with ExitStack() as stack:
        if way == "before":  # as it was, without windows at other conditions
            stack.enter_context(patch.object(places, "corners", return_value=[]))
        began = time.process_time()
        found = result.of_map(compared.map, SETTINGS, Wanted(mu=wanted), 0.0)
        cpu = judging + time.process_time() - began
    rows = np.array(
        [[p.temperature_c, p.mu, p.low, p.high, p.tolerance_low, p.tolerance_high, p.scatter] for p in found.curve]
    )
    t = rows[:, 0]
    mu, sd = np.interp(t, truth.start, truth.mu), np.interp(t, truth.start, truth.sd)
    steep = np.abs(np.interp(t, truth.start, np.gradient(truth.mu, truth.start))) * 100 >= STEEP
    covered = (rows[:, 2] <= mu) & (mu <= rows[:, 3])
    holds = special.ndtr((rows[:, 5] - mu) / sd) - special.ndtr((rows[:, 4] - mu) / sd) >= SETTINGS.coverage
    true = true_ends(truth, wanted, float(t[0]), float(t[-1]))
    off, held, _ = ends_of(found.window_estimate, true)
    careful_off, careful_held, careful = ends_of(found.window, true)
    errors = left_out_errors(compared.map, folds_of(compared.map))
    return Judged(
        number, world, c.specimens, way, compared.map.fit.data.interaction is not None,
        float(covered.mean()), share(covered, steep), float(holds.mean()), share(holds, steep),
        float(np.median(rows[:, 6] / sd)), float(np.abs(rows[:, 1] / mu - 1).max()), off, held, careful_off, careful_held, careful,
        float(np.sqrt(np.mean(errors**2))), float(np.median((rows[:, 3] - rows[:, 2]) / 2 / rows[:, 1])), cpu,
    )  # fmt: skip


def share(good: np.ndarray, among: np.ndarray) -> float | None:
    return float(good[among].mean()) if among.any() else None


def true_ends(truth: Truth, wanted: tuple[float, float], low: float, high: float) -> dict[str, float]:
    """The ends of the true window that lie on a slope, degC, by side."""
    ends = zip(("low", "high"), truth.ends(wanted, low, high), strict=True)
    return {side: at for side, at in ends if at is not None and abs(truth.slope_per_100c(at)) >= STEEP}


def ends_of(
    window: Window | WindowEstimate | None, true: dict[str, float]
) -> tuple[list[float], list[bool], list[float]]:
    """Distance, hit and careful distance of the true ends, degC by side."""
    off, held, careful = [], [], []
    for side, at in true.items():
        if window is None:
            off.append(NOWHERE)
            continue
        end, outward = (window.low_c, -1) if side == "low" else (window.high_c, 1)
        interval = window.low_interval_c if side == "low" else window.high_interval_c
        off.append(abs(end - at))
        careful.append((at - end) * outward)
        if interval.low is not None and interval.high is not None:
            held.append(bool(interval.low - 0.5 <= at <= interval.high + 0.5))
    return off, held, careful


def through_files(made: Made, number: int, root: Path) -> Made:
    """The same compound with the stops that its raw recordings reduce to."""
    tables = []
    for folder in face_files.write(made, root / "archive", number, name=f"face-{number}"):
        kept = {"channels": root / f"{folder.name}.parquet", "record": root / f"{folder.name}.json"}
        channels.run(folder, kept["channels"], kept["record"])
        into = root / "results" / "default" / "tests" / folder.name
        reduction.run(folder=folder, **kept, settings=settings_of(Method(), "stops"), into=into)
        specimen = folder.name[-1].upper()
        tables.append(
            pl.read_parquet(into / "stops.parquet").with_columns(
                test=pl.lit(folder.name), batch=pl.lit("F-1"), specimen=pl.lit(specimen)
            )
        )
    return Made(made.compound, pl.concat(tables), made.run)


def study(first: int, count: int, seed: int, *, files: bool = False) -> list[Judged]:
    """Both analyses of compounds number `first` on."""
    rows = []
    for number in range(first, first + count):
        separable = number % 5 == 4
        made = face_compounds.draw([seed, number], separable=separable)
        if files:
            with tempfile.TemporaryDirectory() as folder:
                made = through_files(made, number, Path(folder))
        world = "separable" if separable else "face"
        rows += [judged(made, number, world, way, seed) for way in ("before", "after")]
    return rows


def gathered(rows: Iterable[Judged], pick: Callable[[Judged], list[float] | list[bool]]) -> np.ndarray:
    return np.array([v for row in rows for v in pick(row)], float)


def figures(rows: list[Judged]) -> dict[str, str]:
    """The lines of a column of the page."""
    off, held = gathered(rows, lambda r: r.off), gathered(rows, lambda r: r.held)
    careful_off, careful_held = gathered(rows, lambda r: r.careful_off), gathered(rows, lambda r: r.careful_held)
    careful = gathered(rows, lambda r: r.careful)
    steep = [r.mean_steep for r in rows if r.mean_steep is not None]
    tolerance = [r.tolerance_steep for r in rows if r.tolerance_steep is not None]
    return {
        "compounds": str(len(rows)),
        "temperature interacts in the chosen form": f"{np.mean([r.interacts for r in rows]):.2f}",
        "window ends on a slope": str(off.size),
        f"of these within {NEAR_K:.0f} C of the truth (wanted 0.90)": f"{np.mean(careful_off <= NEAR_K):.3f}" if off.size else "",
        "median distance, C": f"{np.median(careful_off):.1f}" if off.size else "",
        "not beyond the truth": f"{np.mean(careful >= -0.5):.3f} of {careful.size}" if careful.size else "",
        "inside their 95 % interval (wanted 0.92 to 0.98)": with_chance(careful_held),
        f"best estimate of the end within {NEAR_K:.0f} C of the truth (wanted 0.90)": f"{np.mean(off <= NEAR_K):.3f}" if off.size else "",
        "its median distance, C": f"{np.median(off):.1f}" if off.size else "",
        "truth inside the best estimate's 95 % interval (wanted 0.92 to 0.98)": with_chance(held),
        "mean's 95 % band covers, where mu slopes (wanted 0.92 to 0.98)": f"{np.mean(steep):.3f}" if steep else "",
        "the same at all temperatures": f"{np.mean([r.mean for r in rows]):.3f}",
        "tolerance band holds 90 % of new stops, where mu slopes (wanted 0.93 or more)": f"{np.mean(tolerance):.3f}" if tolerance else "",
        "the same at all temperatures ": f"{np.mean([r.tolerance for r in rows]):.3f}",
        "printed scatter over true, median (wanted 0.8 to 1.2)": f"{np.median([r.scatter for r in rows]):.2f}",
        "the same, 10 and 90 % of compounds": "{:.2f} to {:.2f}".format(*np.quantile([r.scatter for r in rows], [0.1, 0.9])),
        "largest error of the curve at its reference, median": f"{100 * np.median([r.bias for r in rows]):.1f} %",
        "rms error of a left-out cell, median": f"{100 * np.median([r.cell_rms for r in rows]):.2f} %",
        "half width of the mean's band, median": f"{100 * np.median([r.half_width for r in rows]):.2f} %",
        "CPU time of map and windows, median": f"{np.median([r.cpu_s for r in rows]):.2f} s",
    }  # fmt: skip


def with_chance(held: np.ndarray) -> str:
    """A share with its 95 % interval by chance alone (Clopper and Pearson 1934)."""
    if not held.size:
        return ""
    hits, n = int(held.sum()), held.size
    low = special.betaincinv(hits, n - hits + 1, 0.025) if hits else 0.0
    high = special.betaincinv(hits + 1, n - hits, 0.975) if hits < n else 1.0
    return f"{hits / n:.3f} of {n} ({low:.3f} to {high:.3f})"


def table(rows: list[Judged], columns: dict[str, Callable[[Judged], bool]]) -> list[str]:
    """Figures of each kind, before and after, as lines of Markdown."""
    every = {
        f"{name}, {way}": figures([r for r in rows if chosen(r) and r.way == way])
        for name, chosen in columns.items()
        for way in ("before", "after")
        if any(chosen(r) for r in rows)
    }
    names = list(next(iter(every.values())))
    lines = ["| | " + " | ".join(every) + " |", "|---|" + "---|" * len(every)]
    return lines + [
        f"| {name.strip()} | " + " | ".join(column[name] for column in every.values()) + " |" for name in names
    ]


def times(rows: list[Judged]) -> str:
    """CPU time of all compounds of a kind, after over before, as a line."""
    told = []
    for name, chosen in {"all": lambda _: True, **COLUMNS}.items():
        before, after = (sum(r.cpu_s for r in rows if chosen(r) and r.way == way) for way in ("before", "after"))
        if before:
            told.append(f"{name} {after / before:.2f}")
    return f"CPU time after over before, sums over the compounds (wanted at most {AT_MOST_CPU:g}): {'; '.join(told)}."


COLUMNS: dict[str, Callable[[Judged], bool]] = {
    "one specimen, face": lambda r: r.world == "face" and r.specimens == 1,
    "several, face": lambda r: r.world == "face" and r.specimens > 1,
    "separable": lambda r: r.world == "separable",
}


NOTES = (
    "The truth of a window's end is where the middle 90 % of true stops at the reference conditions leave the target band; only ends",
    f"where mu slopes by {STEEP} or more per 100 C count. Two figures answer to it. The best estimate (`window_estimate`) says where",
    "the end is. The window's own end (all rows that do not name the best estimate) says up to where one may run: it is the careful side, stated with 95 % confidence; where",
    "two or three specimens were run, stops of a further specimen are meant, and what two specimens leave open of the next",
    f"one moves it inwards, whatever the map. An end that is not given at all stands as {NOWHERE:.0f} C. Behind a share of intervals",
    "stands where 95 % of such shares lie by chance of the compounds drawn. The rms error of a left-out",
    "cell is over all cells of a compound, each predicted from the others. What the method takes for usual was set on compounds of",
    "other seeds than those below. CPU time is that of choosing the map and of all that friction.json says of it; after, four",
    "windows at other conditions are in it, before there are none.",
)


def page(parts: dict[str, list[Judged]]) -> str:
    """The study's page from the rows of each level."""
    lines = [
        "# Does the map follow friction that is made at the face?",
        "",
        "Written by `python -m tests.studies.map_interactions --write`; nothing here is typed by hand.",
        "",
        *str(__doc__).split("\n\n")[2].splitlines(),
        "",
        *NOTES,
    ]
    words = {"stops": "At stop level", "files": "Through raw recordings"}
    for level, rows in parts.items():
        if rows:
            lines += ["", f"## {words[level]}", "", *table(rows, COLUMNS)]
        if rows and level == "stops":
            lines += ["", times(rows)]
    return "\n".join([*lines, ""])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--files", action="store_true")
    parser.add_argument("--into", type=Path)
    parser.add_argument("--write", type=Path, nargs="+")
    options = parser.parse_args()
    level = "files" if options.files else "stops"
    parts: dict[str, list[Judged]] = {"stops": [], "files": []}
    if options.write:
        for file in options.write:
            for kind, rows in json.loads(file.read_text(encoding="utf-8")).items():
                parts[kind] += [Judged(**row) for row in rows]
    else:
        parts[level] = study(options.first, options.count, options.seed, files=options.files)
    text = page(parts)
    print(text)
    if options.into:
        kept = {kind: [asdict(row) for row in rows] for kind, rows in parts.items() if rows}
        options.into.write_text(json.dumps(kept), encoding="utf-8")
    if options.write:
        PAGE.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
