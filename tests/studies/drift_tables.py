"""Tables of the drift study: what was aimed at and reached, verdicts by cause, onsets and losses, misses with reasons."""

from collections import Counter, defaultdict
from typing import NamedTuple

import numpy as np
from scipy.stats import beta

from pipeline.results.drift import OfStops

VERDICTS = ("none", "glazing-like", "fade", "bedding-in", "sensor", "moisture", "undetermined")
HEALTHY = 8  # healthy tests of a compound


class Row(NamedTuple):
    """One judged test: its cause, truth and answer."""

    cause: str
    true_onset: int | None
    true_loss: float
    answer: OfStops
    seconds: float


def interval(hits: int, of: int, confidence: float = 0.95) -> tuple[float, float]:
    """Clopper-Pearson interval of a share."""
    tail = (1 - confidence) / 2
    low = 0.0 if hits == 0 else float(beta.ppf(tail, hits, of - hits + 1))
    high = 1.0 if hits == of else float(beta.ppf(1 - tail, hits + 1, of - hits))
    return low, high


def by_cause(rows: list[Row]) -> dict[str, list[Row]]:
    out: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        out[row.cause].append(row)
    return out


def share_of(rows: list[Row], verdict: str) -> float:
    """Share of the rows with this verdict as their first."""
    return sum(r.answer.verdict == verdict for r in rows) / len(rows)


def confusion(rows: list[Row]) -> str:
    """Verdicts by cause, as a table."""
    lines = [
        "| cause | tests | " + " | ".join(VERDICTS) + " | glazing-like in also |",
        "|---|---|" + "---|" * (len(VERDICTS) + 1),
    ]
    for cause, own in by_cause(rows).items():
        counts = Counter(r.answer.verdict for r in own)
        also = sum("glazing-like" in r.answer.also for r in own)
        cells = " | ".join(str(counts[v]) if counts[v] else "" for v in VERDICTS)
        lines.append(f"| {cause} | {len(own)} | {cells} | {also or ''} |")
    return "\n".join(lines)


def onset_table(rows: list[Row]) -> str:
    """Onset and loss where the truth has them and the verdict is right."""
    lines = [
        "| cause | dated | onset within 10 stops | within 25 | interval holds the truth | median loss - truth | 90 % of errors within |",
        "|---|---|---|---|---|---|---|",
    ]
    for cause, own in by_cause(rows).items():
        dated = [r for r in own if r.true_onset and r.answer.onset_stop is not None and _right(r)]
        if len(dated) < 5:
            continue
        error = np.array([abs(r.answer.onset_stop - r.true_onset) for r in dated])
        held = np.mean([r.answer.onset_low <= r.true_onset <= r.answer.onset_high for r in dated])
        loss = np.array([r.answer.mu_loss_share - r.true_loss for r in dated if r.true_loss])
        sizes = f"{np.median(loss):+.3f} | {np.quantile(np.abs(loss), 0.9):.3f}" if len(loss) else " | "
        lines.append(
            f"| {cause} | {len(dated)} | {np.mean(error <= 10):.0%} | {np.mean(error <= 25):.0%} | {held:.0%} | {sizes} |"
        )
    return "\n".join(lines)


def _right(row: Row) -> bool:
    wanted = (
        "glazing-like"
        if row.cause.startswith("glazing")
        else "sensor"
        if row.cause.startswith("torque")
        else "undetermined"
    )
    return row.answer.verdict == wanted


def misses(rows: list[Row]) -> str:
    """Why tests with glazing were not called so, and why healthy ones were called anything."""
    lines = []
    for cause, own in by_cause(rows).items():
        if cause.startswith("glazing"):
            wrong = [r for r in own if "glazing-like" not in (r.answer.verdict, *r.answer.also)]
        elif cause.startswith("healthy"):
            wrong = [r for r in own if r.answer.verdict != "none"]
        else:
            wrong = [r for r in own if r.answer.verdict == "glazing-like"]
        reasons = Counter(_reason(r) for r in wrong)
        for reason, count in reasons.most_common(6):
            lines.append(f"| {cause} | {count} of {len(own)} | {reason} |")
    return "\n".join(["| cause | tests | reason |", "|---|---|---|", *lines])


def _reason(row: Row) -> str:
    verdict, why = row.answer.verdict, row.answer.evidence.why
    for mark, short in (
        ("no statistic passed", "no statistic passed its limit"),
        ("is not called a change", "change below the least that is called one"),
        ("a step and growth", "a step and growth with use could not be told apart"),
        ("it came as a step", "looked like a step"),
        ("grew with every stop", "looked like growth with any stop"),
        ("energy ratio changed", "energy ratio not clear"),
        ("brought friction back is not clear", "return after hard use not clear"),
        ("did not bring friction back", "no return after hard use"),
        ("brought friction back", "friction came back after hard use"),
        ("no low-energy use", "onset placed after the use"),
        ("grew with low-energy use", "grew with low-energy use, nothing recorded speaks against"),
    ):
        if mark in why:
            return f"{verdict}: {short}"
    return f"{verdict}: {why[:80]}"


def summary(rows: list[Row]) -> str:
    """The aims and what was reached."""
    groups = by_cause(rows)
    healthy = [r for c, own in groups.items() if c.startswith("healthy") for r in own]
    lines = ["| aim | reached | 95 % interval | tests |", "|---|---|---|---|"]

    def line_of(aim: str, hits: int, of: int) -> None:
        low, high = interval(hits, of)
        lines.append(f"| {aim} | {hits / of:.1%} | {low:.1%} to {high:.1%} | {of} |")

    def called(cause: str, verdict: str = "glazing-like") -> tuple[int, int]:
        own = groups[cause]
        return sum(verdict in (r.answer.verdict, *r.answer.also) for r in own), len(own)

    line_of(
        "healthy called glazing-like: 1 % at most",
        sum(r.answer.verdict == "glazing-like" for r in healthy),
        len(healthy),
    )
    line_of("healthy called anything: 1 % at most", sum(r.answer.verdict != "none" for r in healthy), len(healthy))
    line_of("glazing 8 % found: 95 %", *called("glazing 8 %"))
    line_of("glazing 5 % found: 80 %", *called("glazing 5 %"))
    torque = [called(c) for c in groups if c.startswith("torque")]
    line_of("torque drift called glazing-like: none", sum(h for h, _ in torque), sum(n for _, n in torque))
    for cause in ("declared fade", "fade in hot use", "bedding unfinished", "moisture, cold start"):
        line_of(f"{cause} called glazing-like: 2 % at most", *called(cause))
    dated = [r for r in groups["glazing 8 %"] if r.answer.onset_stop is not None]
    near = sum(abs(r.answer.onset_stop - r.true_onset) <= 10 for r in dated)
    line_of("onset of glazing 8 % within 10 stops: 80 %", near, max(1, len(dated)))
    return "\n".join(lines)


def report(rows: list[Row]) -> str:
    """The whole study as Markdown."""
    seconds = np.array([r.seconds for r in rows])
    return f"""# Drift verdicts: a simulated study

Written by `python -m tests.studies.drift_verdicts --write`; every figure comes from that run. {len(rows)} tests, judged from
their table of stops; compounds of {HEALTHY} healthy tests give the pooled scatter. Scatter of mu 1.5 to 2.5 % with an
autocorrelation of 0 to 0.5, a shift from block to block of up to 0.6 %, energy ratio scatter 0.2 to 0.6 %. The short program
has 31 checks in about 150 stops, the long one 59 in about 250. Time of one test: median {np.median(seconds):.2f} s, 95 %
{np.quantile(seconds, 0.95):.2f} s.

## Aims

{summary(rows)}

## Verdicts by cause

{confusion(rows)}

What the recorded channels can tell: a drift of the recorder alone leaves the schedule's pressure and is called sensor; an
offset shows at rest. A drift of the very sensor by which the rig controls changes neither the energy ratio nor the pressure
against the schedule: as a step it is undetermined, as a slow drift it is undetermined where high-energy use follows and
friction does not come back, and cannot be told from glazing where nothing follows; "pressure gain" is then named among
what is not excluded.

## Onset and loss

{onset_table(rows)}

The truth of the onset is the first stop with any loss at all. A loss that begins as the use begins is dated there unless the
stops speak against it; one that begins within the use has to be seen in stops of use against their scatter.

## Misses and false calls, with their reasons

{misses(rows)}
"""
