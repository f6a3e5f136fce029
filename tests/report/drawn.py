"""Valid results at random: the hand-made files with holes where a stage may leave one, odd numbers, and any number of stops.

A hole is a null (or an empty list) with its reason beside it, as the stages write it; every reason carries its own mark, so
that a page that swallows it is found. Odd numbers keep the files' form: negative wear, rates of zero, a chart without scatter.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl
from hypothesis import strategies as st

from tests.makers import stops_frame
from tests.report import contents

#: file, pattern of the place, how it is emptied, where its reason must stand
HOLES = (
    ("friction", "/window", "window_reason", "page sheet index"),
    ("friction", "/curve", "empty", ""),
    ("friction", "/surfaces", "empty", ""),
    ("friction", "/surfaces/0/mu", "blank", ""),
    ("friction", "/holds", "null", ""),
    ("friction", "/sides", "null", ""),
    ("friction", "/wanted_mu", "null", ""),
    ("friction", "/reference/energy_density_j_mm2", "whys", "sheet"),
    ("friction", "/landmarks/*", "interval", "page sheet"),
    ("friction", "/sensitivity/*", "interval", "page sheet"),
    ("friction", "/bedding/stops", "why", "page sheet"),
    ("friction", "/fade", "null", ""),
    ("friction", "/recovery", "null", ""),
    ("friction", "/recovery/stops", "null", ""),
    ("friction", "/bite/*", "null", ""),
    ("friction", "/bite", "null", ""),
    ("friction", "/pauses/0/bite_ratio", "null", ""),
    ("friction", "/pauses/0/temperature_c", "null", ""),
    ("friction", "/in_stop", "null", ""),
    ("friction", "/in_stop/classes/0/between_stops_per_100k", "null", ""),
    ("friction", "/in_stop/classes/0/rise_k", "null", ""),
    ("friction", "/in_stop/classes/0/agrees", "null", ""),
    ("friction", "/diagnostics", "null", ""),
    ("friction", "/model", "null", ""),
    ("friction", "/between/specimen_sd", "specimen_why", "sheet"),
    ("friction", "/between/batch_sd", "batch_why", ""),
    ("friction", "/by_batch/*/window", "window_reason", "sheet"),
    ("friction", "/by_batch/*/curve", "empty", ""),
    ("friction", "/further_batch", "interval", "sheet"),
    ("wear", "/components", "why", "page sheet"),
    ("wear", "/components/*/chosen", "_why", "page sheet"),
    ("wear", "/components/*/rates/*", "interval", "page sheet"),
    ("wear", "/components/*/models/*/chi2_per_dof", "null", ""),
    ("wear", "/components/*/models/*/aicc", "null", ""),
    ("wear", "/components/*/models/*/parameters/*", "interval", ""),
    ("wear", "/components/*/law/points", "empty", ""),
    ("wear", "/components/*/law/points/0", "interval", ""),
    ("wear", "/components/*/shares", "empty", ""),
    ("wear", "/components/*/intervals", "empty", ""),
    ("wear", "/components/*/intervals/*/predicted_um", "null", ""),
    ("wear", "/components/*/mass_to_thickness", "interval", "sheet"),
    ("drift", "/verdict", "why", "page sheet index"),
    ("drift", "/charts", "charts_reason", "page-figure"),
    ("drift", "/onset_low", "null", ""),
    ("drift", "/mu_loss", "null", ""),
    ("summary", "/energy_balance/ratio_median", "why", "page sheet"),
    ("summary", "/energy_balance/ratio_scatter", "null", ""),
    ("summary", "/mu_u_common_relative", "_why", "page sheet"),
    ("summary", "/budget", "empty", ""),
    ("summary", "/budget/0/relative_u", "why", "page"),
    ("summary", "/lag_s/value", "why", "page"),
    ("batches", "/batches", "unusable", "sheet"),
    ("batches", "/batches/*/mu", "interval", "sheet"),
    ("batches", "/batches/*/bite", "interval", "sheet"),
    ("batches", "/pairs", "empty", ""),
    ("batches", "/pairs/*/mu_difference", "interval", "sheet"),
    ("duty", "/duties", "unusable", "sheet"),
    ("duty", "/duties/*/window_share", "_why", "sheet"),
    ("duty", "/duties/*/life_km", "interval", "sheet"),
    ("duty", "/duties/*/opening_to_run", "_why", "sheet index"),
    ("duty", "/duties/*/sweep", "empty", ""),
    ("duty", "/duties/*/sweep/*/life_km", "null", ""),
)  # fmt: skip
#: file, pattern, and what its numbers may become
ODD = (
    ("wear", "/components/*/intervals/*/wear_um", "minus"),
    ("wear", "/components/*/intervals/*/wear_um", "zero"),
    ("wear", "/components/*/intervals/*/wear_u_um", "zero"),
    ("wear", "/components/*/intervals/*/predicted_um", "minus"),
    ("wear", "/components/*/rates/*/*", "minus"),
    ("wear", "/components/*/rates/*/*", "tiny"),
    ("wear", "/components/*/rates/*/*", "huge"),
    ("wear", "/components/*/shares/*/wear_um/*", "minus"),
    ("wear", "/components/*/law/points/*/value", "minus"),
    ("wear", "/components/*/law/points/*/value", "zero"),
    ("wear", "/components/*/map_and_duty/*/*", "minus"),
    ("friction", "/diagnostics/stops/*/influence", "minus"),
    ("friction", "/diagnostics/stops/*/influence", "huge"),
    ("friction", "/curve/*/tolerance_low", "minus"),
    ("friction", "/sensitivity/*/*", "zero"),
    ("drift", "/charts/cusum/limit", "zero"),
    ("drift", "/charts/residual/share/*", "zero"),
    ("drift", "/mu_loss", "minus"),
    ("summary", "/energy_balance/ratio_scatter", "zero"),
    ("batches", "/batches/*/wear_um_per_stop/*", "minus"),
    ("duty", "/duties/*/wear_um_per_cycle/*/*", "minus"),
    ("duty", "/duties/*/life_km/*", "huge"),
)  # fmt: skip
TURNED = {"minus": lambda v: -v, "zero": lambda v: 0.0, "tiny": lambda v: v * 1e-12, "huge": lambda v: v * 1e12}
NULLABLE = (
    "block", "purpose", "mu_bite", "mu_min", "mu_max", "mu_time", "temperature_initial_c", "temperature_peak_c", "pressure_bar",
    "energy_ratio", "energy_density_j_mm2", "power_density_w_mm2", "mu_u", "mu", "energy_kj",
)  # fmt: skip


#: files of a name that a test and its compound both have; what is done to one is done to both
BOTH = {"friction": ("friction", "compound-friction"), "wear": ("wear", "compound-wear")}


@dataclass(frozen=True)
class Drawn:
    """Results of one test and its compound: files by name, stops, and the marks of reasons by where they must stand."""

    files: dict[str, Any]
    stops: pl.DataFrame
    changes: tuple[Any, ...] = ()
    marks: dict[str, list[str]] = field(default_factory=dict)

    def __repr__(self) -> str:
        return f"Drawn({self.changes})"[:2000]

    def _repr_pretty_(self, printer: Any, _cycle: bool) -> None:
        """As hypothesis prints it: whole files would be too much for it, and hide what failed."""
        printer.text(repr(self))


def places(content: Any, pattern: str) -> Iterator[tuple[Any, Any]]:
    """Every (container, key) under a pattern; `*` stands for any key, `*_x` for keys that end so."""
    steps = pattern.split("/")[1:]
    heads: list[Any] = [content]
    for step in steps[:-1]:
        heads = [head[key] for head in heads for key in keys(head, step)]
    for head in heads:
        for key in keys(head, steps[-1]):
            yield head, key


def keys(here: Any, step: str) -> list[Any]:
    """The keys of a container that a step of a pattern names."""
    if isinstance(here, list):
        return list(range(len(here))) if step == "*" else [int(step)] if int(step) < len(here) else []
    if not isinstance(here, dict):
        return []
    if step.startswith("*"):
        return [
            key
            for key in here
            if key != "why" and key.endswith(step[1:]) and isinstance(here[key], dict | list | float | int)
        ]
    return [step] if here.get(step) is not None else []


def emptied(parent: Any, key: Any, how: str, why: str) -> None:
    """Leave a hole in a file, with its reason as the stages write it."""
    if how == "interval":
        parent[key] = {**parent[key], "value": None, "low": None, "high": None, "why": why}
        return
    parent[key] = {"empty": [], "unusable": [], "blank": [[None] * 4] * 3}.get(how)
    if how == "_why":
        parent[f"{key}_why"] = why
    elif how == "whys":
        parent["why"] = {**(parent.get("why") or {}), key: why}
    elif how not in ("null", "empty", "blank"):
        parent[how] = why


def stops_of(count: int, seed: int, unlike: frozenset[str]) -> pl.DataFrame:
    """A table of so many stops in blocks of all purposes, with holes in the columns of `unlike`."""
    rng = np.random.default_rng(seed)
    block = rng.integers(0, len(contents.PROGRAMME), max(count, 1)).cumsum() % len(contents.PROGRAMME) if count < 40 else (
        np.arange(count) * len(contents.PROGRAMME) // count)  # fmt: skip
    status = rng.choice(["ok", "ok", "ok", "suspect", "rejected"], count).astype(object)
    temperature = rng.uniform(20, 700, count)
    columns: dict[str, Any] = {
        "block": [contents.PROGRAMME[b][0] for b in block[:count]], "purpose": [contents.PROGRAMME[b][1] for b in block[:count]],
        "temperature_initial_c": temperature, "mu": contents.curve_mu(temperature) + rng.normal(0, 0.05, count),
        "status": list(status),
    }  # fmt: skip
    frame = stops_frame(count, **columns)
    holed = []
    for name in NULLABLE:
        hole = rng.random(count) < (0.4 if name in unlike else 0.0)
        if name.startswith("mu"):
            hole |= status == "rejected"
        holed.append(pl.when(pl.Series(hole)).then(None).otherwise(pl.col(name)).alias(name))
    codes = pl.Series([[] if s == "ok" else ["spike"] for s in status], dtype=pl.List(pl.String))
    return frame.with_columns(*holed, findings=codes) if count else frame


@st.composite
def results(draw: st.DrawFn, counts: tuple[int, ...] = (0, 1, 2, 37, 128)) -> Drawn:
    """Results of a usable test and of its compound."""
    count = draw(st.sampled_from(counts))
    stops = stops_of(count, draw(st.integers(0, 99)), draw(st.frozensets(st.sampled_from(NULLABLE), max_size=4)))
    verdict = draw(
        st.sampled_from(("none", "glazing-like", "fade", "bedding-in", "sensor", "moisture", "undetermined"))
    )
    known = stops.filter(pl.col("temperature_initial_c").is_not_null() & pl.col("block").is_not_null())
    files: dict[str, Any] = {
        "friction": contents.full_friction_json(), "compound-friction": contents.full_friction_json(compound="Marram 4"),
        "wear": contents.wear_json(), "compound-wear": contents.wear_json(compound="Marram 4"), "drift": contents.drift_json(known, verdict),
        "summary": contents.summary_json(stops, test="m4-a", method="first", unusable=None), "batches": contents.batches_json(),
        "duty": contents.duty_json(),
    }  # fmt: skip
    files = json.loads(json.dumps(files))  # parts that the hand-made files share would be emptied twice
    odd = draw(st.lists(st.sampled_from(ODD), max_size=6, unique=True))
    for name, pattern, how in odd:
        for parent, key in [place for own in BOTH.get(name, (name,)) for place in places(files[own], pattern)]:
            if isinstance(parent[key], float):
                parent[key] = TURNED[how](parent[key])
    marks: dict[str, list[str]] = {}
    # the deepest first, so that no hole is lost in one above it; those that would be are no longer asked for
    chosen = draw(st.lists(st.sampled_from(HOLES), max_size=8, unique=True))
    for number, (name, pattern, how, where) in enumerate(chosen):
        whole = all(not pattern.startswith(f"{other[1]}/") or other[0] != name for other in chosen)
        every = draw(st.booleans())
        for own in BOTH.get(name, (name,)) if whole else ():
            found = list(places(files[own], pattern))
            for place, (parent, key) in enumerate(found if every else found[:1]):
                mark = f"because of cause {number}x{place}x"
                emptied(parent, key, how, mark)
                read = "sheet" if own.startswith("compound") else "page index" if name in BOTH else where
                for page in set(where.split()) & set(read.split()):
                    marks.setdefault(page, []).append(mark)
    return Drawn(files, stops, (count, verdict, *odd, *chosen), marks)
