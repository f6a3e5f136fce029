"""The page of the study of decisions, and the figures that stand on it."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from scipy.stats import beta, binom

Record = dict[str, Any]
WANTED = (0.92, 0.98)
GLAZES_AT_MOST, UNRESERVED_AT_LEAST, SETTLED_AT_LEAST = 0.01, 0.60, 0.80
LOSS_WANTED = 0.05


class Share(NamedTuple):
    """How many of how many."""

    hits: int
    of: int

    @property
    def value(self) -> float:
        return self.hits / self.of if self.of else float("nan")

    @property
    def ends(self) -> tuple[float, float]:
        """Exact 95 % interval (Clopper and Pearson)."""
        k, n = self.hits, self.of
        low = float(beta.ppf(0.025, k, n - k + 1)) if k else 0.0
        return low, float(beta.ppf(0.975, k + 1, n - k)) if k < n else 1.0

    def words(self) -> str:
        if not self.of:
            return "none"
        low, high = self.ends
        return f"{100 * self.value:.1f} % ({self.hits} of {self.of}; {100 * low:.1f} to {100 * high:.1f})"


def share(answers: Iterable[bool]) -> Share:
    given = list(answers)
    return Share(sum(given), len(given))


def holds(interval: Record, truth: float) -> bool:
    """An end that is open holds everything on its side."""
    low, high = interval["low"], interval["high"]
    return (low is None or low <= truth) and (high is None or truth <= high)


def parameter(found: Sequence[Record], name: str) -> Share:
    given = [r["law"][name] for r in found if name in r["law"]]
    return share(holds(p, p["true"]) for p in given if p["low"] is not None or p["high"] is not None)


def off(found: Sequence[Record], name: str) -> float:
    """Median of a parameter's value over its truth."""
    return float(np.median([p["value"] / p["true"] for r in found if (p := r["law"].get(name))] or [np.nan]))


def lives(found: Sequence[Record], use: str | None = None, truth: str = "true") -> list[tuple[Record, bool]]:
    """(record of a life that is given, whether its interval holds the truth)"""
    every = [d["life"] for r in found for d in r["duties"] if use in (None, d["use"])]
    return [(one, holds(one, one[truth])) for one in every if one["value"] is not None]


def life(found: Sequence[Record], use: str | None = None, truth: str = "true") -> Share:
    return share(ok for _, ok in lives(found, use, truth))


def openings(found: Sequence[Record]) -> list[Record]:
    return [d["opening"] for r in found for d in r["duties"] if "opening" in d]


def glazing(found: Sequence[Record]) -> Share:
    """Of openings recommended without reservation, those that truly lose more than the target."""
    return share(o["sure_loss"] > LOSS_WANTED for o in openings(found) if o["sure"])


def unreserved(found: Sequence[Record]) -> Share:
    """Of compounds whose tests bracket the boundary, those that get an opening without reservation."""
    return share(bool(o["sure"]) for o in openings(found) if o["brackets"])


def settled(found: Sequence[Record]) -> Share:
    return share(o["settled"] for o in openings(found) if "settled" in o)


def settled_wrongly(found: Sequence[Record]) -> Share:
    """Of openings that the named test made free of reservation, those that truly lose more than the target."""
    return share(o["settled_loss"] > LOSS_WANTED for o in openings(found) if o.get("settled_loss") is not None)


def refused_wrongly(found: Sequence[Record]) -> Share:
    """Of openings that the named test was run at and ruled out, those that truly lose no more than the target."""
    return share(o["run_loss"] <= LOSS_WANTED for o in openings(found) if o.get("ruled_out"))


def logs(found: Sequence[Record]) -> list[Record]:
    """The logs that named tests asked for, and what they told."""
    return [o["log"] for o in openings(found) if o.get("log")]


def named(found: Sequence[Record]) -> Share:
    """Of openings reserved for a film, those whose answer names a test."""
    return share(
        "settled" in o
        for o in openings(found)
        if o["span"] and not o["sure"] and any(x.startswith("glazing") for x in o["not_excluded"])
    )


def _median(found: Sequence[Record], name: str) -> float:
    return float(np.median([one[name] for one in found] or [np.nan]))


def beyond(one: Share, bounds: tuple[float, float]) -> str:
    """Whether a share lies outside its bounds, and whether chance alone would put it there one time in a hundred."""
    if not one.of:
        return "not shown"
    low, high = bounds
    if low <= one.value <= high:
        return "inside"
    edge = low if one.value < low else high
    chance = binom.cdf(one.hits, one.of, edge) if one.value < low else binom.sf(one.hits - 1, one.of, edge)
    return "outside, within chance" if chance > 0.01 else "outside"


ROWS = (
    ("Ea", lambda f: parameter(f, "Ea"), WANTED),
    ("abrasion a", lambda f: parameter(f, "a"), WANTED),
    ("oxidation rate B at 600 °C", lambda f: parameter(f, "B"), WANTED),
    ("life, both duties", life, WANTED),
    ("life, gentle duty", lambda f: life(f, "gentle"), WANTED),
    ("life, hard duty", lambda f: life(f, "hard"), WANTED),
    ("glazes though unreserved", glazing, (0.0, GLAZES_AT_MOST)),
    ("unreserved where bracketed", unreserved, (UNRESERVED_AT_LEAST, 1.0)),
    ("settled by the named test", settled, (SETTLED_AT_LEAST, 1.0)),
)


def before() -> list[Record]:
    """The records of the state before uncertain heat inputs, laws by batch and glazing entered the decisions."""
    lines = (Path(__file__).parent / "decisions_before.jsonl").read_text().splitlines()
    return [json.loads(line) for line in lines]


CARRIED = (
    "The {again} compounds whose answer names a test were run anew with the newest of these revisions; the first answers of all of them were "
    "what they had been, and the records of the others are those of the run before.\n\n"
)


def text(found: Sequence[Record], seed: int) -> str:
    """The study as a page."""
    stated, wide = ([r for r in found if r["wide"] == w] for w in (1.0, 2.0))
    old = before()
    again = [r for r in found if not r.get("carried")]
    parts = [HEAD.format(seed=seed, stated=len(stated), wide=len(wide), before=len(old),
                         revisions="; ".join(sorted({r.get("revisions", "not noted") for r in found})))]  # fmt: skip
    if len(again) < len(found):
        parts[0] = parts[0].replace(
            "An interval is counted", CARRIED.format(again=len(again)) + "An interval is counted"
        )
    for name, count, bounds in ROWS:
        first, one, other = count(old), count(stated), count(wide)
        wanted = f"{100 * bounds[0]:.0f} to {100 * bounds[1]:.0f}"
        parts.append(
            f"| {name} | {wanted} | {first.words()} | {one.words()} | {beyond(one, bounds)} | {other.words()} |\n"
        )
    law = share(r["law"]["identified"] for r in stated)
    ratio = [one["value"] / one["true"] for one, _ in lives(stated, "hard")]
    given = share(d["life"]["value"] is not None for r in stated for d in r["duties"])
    measured = share(bool(d["life"]["ground"]) for r in stated for d in r["duties"] if d["life"]["value"] is not None)
    spans = openings(stated)
    parts.append(
        REST.format(
            ea=off(stated, "Ea"), b=off(stated, "B"), hard=float(np.median(ratio or [np.nan])),
            law=law.words(), given=given.words(), measured=measured.words(),
            shortest=life(stated, truth="shortest").words(), new=life(stated, truth="new").words(),
            span=share(o["span"] is not None for o in spans).words(),
            reserved=share(not o["sure"] for o in spans if o["span"]).words(),
            loses=share(o["loss"] > LOSS_WANTED for o in spans if o["span"] and not o["sure"]).words(),
            good=share(o["good"] for o in spans).words(), brackets=share(o["brackets"] for o in spans).words(),
            wrongly=settled_wrongly(stated).words(), refused=refused_wrongly(stated).words(),
            hours=float(np.median([o["hours"] for o in spans if o.get("hours")] or [np.nan])), named=named(stated).words(),
            logged=share(bool(o.get("log")) for o in spans if "settled" in o).words(), used=share(one["used"] for one in logs(stated)).words(),
            alone=sum(one["alone"] for one in logs(stated)), uses=_median(logs(stated), "uses"), now=_median(logs(stated), "within_now_k"),
            then=_median(logs(stated), "within_k"),
            cpu=sum(r["cpu_s"] for r in found) / max(len(found), 1),
        )
    )  # fmt: skip
    for name, kept in SPLITS:
        own = [r for r in stated if kept(r)]
        parts.append(f"| {name} | {parameter(own, 'Ea').words()} | {life(own).words()} | {glazing(own).words()} |\n")
    return "".join(parts)


SPLITS = (
    ("batches alike", lambda r: r["alike"]),
    ("batches unlike", lambda r: not r["alike"]),
    ("two batches", lambda r: r["batches"] == 2),
    ("three batches", lambda r: r["batches"] == 3),
    ("conductivity on the card", lambda r: r["conductivity_stated"]),
    ("conductivity not stated", lambda r: not r["conductivity_stated"]),
    ("glazes", lambda r: r["glazes"]),
    ("does not", lambda r: not r["glazes"]),
)

HEAD = """\
# Are decisions as honest as the numbers?

Written by `python -m tests.studies.decisions --count {stated} --wide {wide} --write`; nothing here is typed by hand. Seed {seed}; revisions of the
stages: {revisions}.

{stated} invented compounds, each of two or three batches of two specimens on a rig, read for wear after its blocks of use, with gentle
use at several temperatures and two power densities between checks; what cards and duties do not state exactly (conductivity, heat
share, thermocouple, cooling) is drawn from the uncertainty that the analysis says it takes. {wide} more from twice that uncertainty:
what a wrong statement of it does. Batches are alike in half of them, and differ by a factor of abrasion and one of oxidation in the
others. Two thirds glaze in gentle, cold use.

Conduction, film, abrasion and oxidation are a world's of its own (`tests/studies/decision_world.py`). The analysis gets stops, traces
of the braking, readings and cards, and does drift, wear laws and duty projection itself; the friction window is given to it as well
known as a map would know it, and the scatter of checks as it is. Two duties of each compound, a gentle and a hard one, are run
through by the world to the end of the disc's life. The test that an answer names is run by the world and given back. Where it asks for a log of the vehicle
before it, the world drives it first (`tests/studies/decision_log.py`: the true cooling and share of the heat, drives and days that differ, a
thermocouple with lag, noise and a bias whose standard deviation is that of the limits asked for, 3 K, normal and so now and then beyond them, sampled once a second), its files are read, cut and fitted as a user's are, and the test is
the one that the answer then names.

An interval is counted where it is given; an end left open holds all on its side. A life's truth is that of the batch it is said to
be of, else that of the mean specimen. An opening without reservation glazes where at any of its openings the true film costs more
than 5 % of mu within one use. The tests bracket the boundary where one gentle block truly lost 3 % or more and, at some opening that
truly holds window and film, every braking is at least as hot and as hard as a block that lost less than 1 %.

In brackets: counts, and the exact 95 % interval of the share. "Within chance": a true share at the bound would do that more often
than once in a hundred such studies.

"Before" is the state in which heat inputs were taken as certain, laws and lives were those of all batches together, and an opening to
run asked for the friction window alone.

| figure | wanted, % | before, {before} compounds | now, {stated} compounds | | {wide} from twice the uncertainty |
|---|---|---|---|---|---|
"""
REST = """
Beside these, of the compounds from the stated uncertainty: a law identified {law}; lives given {given}, of which by measured rates alone {measured};
a life's interval holds the truly shortest batch's life {shortest}, and the truth by the rate of a new disc {new}. Openings to run
given {span}, of which with a reservation {reserved}; those reserved truly lose more than the target {loses}. Answers reserved for a film
that name a test {named}; {logged} of these ask for a log of the vehicle before it (medians: {uses:.0f} uses, temperatures at which brakings begin known
to {then:.0f} K instead of {now:.0f} K), of the logs {used} told the cooling well enough to be used, and {alone} alone made an opening free; openings that the named test made free of reservation and that truly lose more than the target {wrongly};
openings that it ruled out and that truly hold {refused}; it takes {hours:.1f} h (median). An opening that
truly holds both exists {good}; the tests bracket the boundary {brackets}. CPU time of a compound: {cpu:.1f} s.

Medians of what was found over the truth: Ea {ea:.3f}, B {b:.2f}, life on the hard duty {hard:.2f}. Both the world and the analysis let
the face radiate itself; of the rig's long pauses the world's disc cools as one once it is even, and the analysis has its face some kelvin under the mean
throughout.

| of these | Ea | life | glazes though unreserved |
|---|---|---|---|
"""
