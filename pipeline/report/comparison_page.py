"""comparison.html: two compounds side by side, from comparison.json."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pipeline.report import numbers, render
from pipeline.results import version, write_text
from pipeline.results.comparison import Compared, Comparison, Fact
from pipeline.results.model import Interval, read

ORDER = {"different": 0, "undecided": 1, "equivalent": 2}


def run(*, into: Path) -> None:
    """Write `into`/comparison.html; no result comes from here."""
    found = read(into / "comparison.json", Comparison)
    write_text(into / "comparison.html", page(found))


def page(found: Comparison) -> str:
    """The page; no script."""
    rows = sorted(found.rows, key=lambda row: ORDER[row.verdict])
    return render.page(
        "comparison.html", title=f"{found.a} and {found.b}", found=found, software=version(), short=short(found),
        tone="bad" if not rows else "open" if any(row.verdict == "undecided" for row in rows) else "good",
        rows=[_row(row) for row in rows],
        shown=[[row.question, *map(numbers.worded, (row.a, row.b, row.why))] for row in found.shown],
        notes=[numbers.worded(note) for note in found.notes],
        columns=columns(found.facts), facts=[_fact(fact, columns(found.facts)) for fact in found.facts],
    )  # fmt: skip


def short(found: Comparison) -> str:
    """The answers in a line."""
    said = []
    for verdict in ORDER:
        names = [row.question for row in found.rows if row.verdict == verdict]
        said += [f"{verdict}: {'; '.join(names)}"] if names else []
    return ". ".join(text[:1].upper() + text[1:] for text in said)


def _row(row: Compared) -> list[str]:
    margin = "none stated" if row.margin is None else f"{row.margin[0]:.3g} to {row.margin[1]:.3g}"
    cells = [figure(one, row.unit) for one in (row.a, row.b)]
    sign = "a − b" if row.kind == "difference" else "a / b"
    return [row.question, *cells, f"{sign}: {figure(row.figure, row.unit if row.kind == 'difference' else '')}", margin,
            row.verdict, numbers.worded(row.conditions), numbers.worded(row.why)]  # fmt: skip


def figure(one: Interval, unit: str) -> str:
    """A figure with its interval and unit, or why it is not given."""
    if one.value is None:
        return f"{numbers.MISSING}: {one.why or 'no reason given'}"
    return numbers.with_interval(one.value, one.low, one.high, unit, None) + numbers.unit_suffix(
        numbers.unit_words(unit)
    )


def columns(facts: list[Fact]) -> list[str]:
    """Names of the facts in their order."""
    return list(dict.fromkeys(name for fact in facts for name in fact.facts))


def _fact(fact: Fact, names: list[str]) -> list[Any]:
    return [fact.batch, fact.compound, *(fact.facts.get(name) or "–" for name in names)]
