"""statements.html: which statements of issued results no longer hold, and by what; from statements.json."""

from __future__ import annotations

from collections import Counter
from typing import Any

from pipeline.delta.issued import NO_INTERVAL
from pipeline.delta.releases import ONLY_TODAY
from pipeline.delta.verdict import few
from pipeline.report import render
from pipeline.results.releases import OfMethod, Release, Statement
from pipeline.wording import counted

CAUSES = {
    "method": "settings of the method",
    "software": "software",
    "data": "recordings, cards or wear readings",
    "target": "target or duties",
    "not recorded": "nothing recorded differs",
}
VERDICTS = ("Conclusions", "Targets")  # parts whose statements are words that someone acts on


def page(found: Release) -> str:
    """The page; no script."""
    methods = [of_method(one) for one in found.methods]
    return render.page(
        "statements.html",
        title="Issued statements and today's",
        a=found.a,
        b=found.b,
        methods=methods,
        unmatched=found.unmatched,
    )


def of_method(one: OfMethod) -> dict[str, Any]:
    """One method's part of the page."""
    broken = [row for row in one.statements if row.holds is False]
    unsaid = [row for row in one.statements if row.holds is None]
    return {
        "name": one.a if one.a == one.b else f"{one.a} to {one.b}",
        "verdict": verdict(one),
        "short": short(one),
        "held": any(row.holds for row in one.statements),
        "tone": "bad" if broken else "open" if unsaid or one.not_compared else "good",
        "verdicts": [_row(row) for row in broken if row.part in VERDICTS],
        "beyond": [_row(row) for row in figures_of(broken)[0]],
        "bare": [_row(row) for row in figures_of(broken)[1]],
        "unsaid": [_row(row) for row in unsaid],
        "subjects": [
            [subject.name, CAUSES[cause.kind], "; ".join(cause.what)]
            for subject in one.subjects
            for cause in subject.causes
        ],
        "not_compared": [[row.file, row.why] for row in one.not_compared],
    }


def verdict(one: OfMethod) -> list[str]:
    """What changed, in sentences: verdicts and answers first, then figures, then by what."""
    broken = [row for row in one.statements if row.holds is False]
    said_again = {row.part in VERDICTS for row in one.statements if row.holds is not None}
    words = [row for row in broken if row.part in VERDICTS]
    beyond, bare = figures_of(broken)
    partly = any(row.holds is None for row in one.statements) or any(row.why != ONLY_TODAY for row in one.not_compared)
    of_those = " of those that can be compared" if partly else ""
    said = [f"No verdict changed{of_those}."] if True in said_again else ["No verdict can be compared."]
    if words:
        said = [f"{counted(len(words), 'verdict')} changed: {few([f'{row.what} of {row.of}' for row in words])}."]
    if beyond:
        named = few([f"{row.what} ({row.of})" for row in beyond])
        said.append(f"{counted(len(beyond), 'figure')} no longer within what was issued: {named}.")
    elif False in said_again:
        said.append(f"No figure{of_those} left the interval that it was issued with.")
    if bare:
        said.append(f"{counted(len(bare), 'figure')} moved that had no interval.")
    kinds = [kind for kind in CAUSES if any(kind in row.causes for row in broken)]
    if kinds == ["not recorded"]:
        said.append("Nothing recorded differs.")
    elif kinds:
        said.append(f"By {' or '.join(CAUSES[kind] for kind in kinds)}{', not separated' if len(kinds) > 1 else ''}.")
    unsaid = sum(row.holds is None for row in one.statements)
    said += [f"Of {counted(unsaid, 'statement')} it cannot be said."] if unsaid else []
    return said


def figures_of(broken: list[Statement]) -> tuple[list[Statement], list[Statement]]:
    """Figures that no longer hold: those that an interval was issued with, those without."""
    figures = [row for row in broken if row.part not in VERDICTS]
    return [row for row in figures if row.why != NO_INTERVAL], [row for row in figures if row.why == NO_INTERVAL]


def _row(row: Statement) -> list[str]:
    why = f"{row.why}; by {causes(row)}" if row.causes else row.why
    return [row.of, row.part, row.what, row.issued, row.now or "not stated", why]


def causes(row: Statement) -> str:
    """What may have changed a statement, in words."""
    named = [CAUSES[kind] for kind in row.causes] or [CAUSES["not recorded"]]
    return named[0] if len(named) == 1 else f"{', '.join(named[:-1])} or {named[-1]}, not separated"


def short(one: OfMethod) -> str:
    """Counts in a line."""
    counts = Counter(row.holds for row in one.statements)
    lost = f"; not compared: {counted(len(one.not_compared), 'place')}" if one.not_compared else ""
    return (
        f"{counts[True]} of {len(one.statements)} issued statements hold, {counts[False]} no longer hold, of {counts[None]} it "
        f"cannot be said{lost}"
    )


def lines(found: Release, most: int = 40) -> list[str]:
    """The same for a terminal: counts, what no longer holds with its causes, what cannot be compared."""
    said = []
    for one in found.methods:
        said.append(f"{one.a} and {one.b}: {' '.join(verdict(one))}")
        said.append(f"  {short(one)}")
        said += [f"  {s.name}: {CAUSES[c.kind]}: {_few(c.what)}" for s in one.subjects for c in s.causes]
        lost = [row for row in one.statements if row.holds is False]
        beyond, bare = figures_of(lost)
        broken = [*(row for row in lost if row.part in VERDICTS), *beyond, *bare]
        for row in broken[:most]:
            said.append(
                f"  {row.of}: {row.part}: {row.what}: {row.issued} -> {row.now or 'not stated'} ({row.why}; by {causes(row)})"
            )
        said += [f"  and {len(broken) - most} more; --into writes all"] if len(broken) > most else []
        said += [f"  {row.file}: {row.why}" for row in one.not_compared]
    return said + [f"method {name}: on one side only" for name in found.unmatched]


def _few(items: list[str]) -> str:
    return "; ".join(items) if len(items) <= 3 else f"{'; '.join(items[:3])}; and {len(items) - 3} more"
