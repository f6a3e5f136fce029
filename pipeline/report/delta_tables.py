"""Tables of a change of method, as rows of cells: text, or a mark with its words, or a link."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from urllib.parse import quote

from markupsafe import Markup

from pipeline.delta.comparable import energy, moves, percent
from pipeline.report import numbers
from pipeline.results.delta import (
    BlockChange,
    Delta,
    Figure,
    MovedStop,
    Overview,
    Range,
    Setting,
    StatusChange,
    TemperatureClass,
)
from pipeline.results.shares import ClassMove, EndMove, SettingShare, Share, Shares
from pipeline.wording import counted

Rows = list[list[Any]]
SMALL = 0.01  # a move that is listed where no interval says what is small


def value(content: Any) -> str:
    """A setting or conclusion as text."""
    if content is None:
        return "not given"
    if isinstance(content, bool):
        return "yes" if content else "no"
    if isinstance(content, list):
        return ", ".join(value(item) for item in content)
    return f"{content:.6g}" if isinstance(content, float) else str(content)


def signed(change: float | None) -> str:
    """A change of mu with its sign, four decimals."""
    return "not given" if change is None else f"{change:+.4f}".replace("-", "−")


def span_c(low: float | None, high: float | None) -> str:
    """A class of temperatures: `below 100 °C`, `100 to 150 °C`, `from 600 °C`."""
    if low is None and high is None:
        return "all"
    if low is None:
        return f"below {high:.0f} °C"
    return f"from {low:.0f} °C" if high is None else f"{low:.0f} to {high:.0f} °C"


def link(method: str, test: str, stop: int | None) -> Any:
    """A stop's number as a link to that stop on the test's page of a method."""
    if stop is None:
        return "not found"
    address = f"../../{quote(method)}/tests/{quote(test)}/test.html#stop-{stop}"
    return Markup('<a href="{}">{}</a>').format(address, stop)


# Where µ compares


def comparable_heads(ranges: list[Range]) -> list[str]:
    """Heads of the table: all energies, then each class of energy density."""
    return ["Disc at stop start", "All stops", *(energy(*key).removeprefix("of ") for key in _energies(ranges))]


def _energies(ranges: list[Range]) -> list[tuple[float | None, float | None]]:
    return sorted({(r.low_j_mm2, r.high_j_mm2) for r in ranges}, key=lambda key: key[0] or 0.0)


def comparable_rows(classes: list[TemperatureClass], ranges: list[Range]) -> Rows:
    """By temperature, of all stops and by energy density: comparable or not, change of 90 % of the stops, their number."""
    energies = _energies(ranges)
    found = {(r.low_c, r.high_c, r.low_j_mm2, r.high_j_mm2): r for r in ranges}
    return [
        [
            span_c(row.low_c, row.high_c),
            _judged(row),
            *(_judged(found[row.low_c, row.high_c, *key]) if (row.low_c, row.high_c, *key) in found else "no stops" for key in energies),
        ]
        for row in classes
    ]  # fmt: skip


def _judged(row: TemperatureClass | Range) -> Markup:
    tone, word = {True: ("good", "comparable"), False: ("bad", "not comparable"), None: ("open", "not said")}[
        row.comparable
    ]
    stops = counted(row.stops, "stop").replace(" ", "\u00a0")
    return Markup('<span class="mark {}">{}</span> {} <span class="of">{}</span>').format(
        tone, word, moves([row]), stops
    )


# What each setting does alone


def share_heads(shares: Shares) -> list[str]:
    """Heads of the table of shares."""
    together = shares.together or Share()
    return [
        "Changed",
        "All stops (%)",
        *(f"{span_c(c.low_c, c.high_c)} (%)" for c in together.classes),
        *(f"Window, {end.test} (K)" for end in together.windows),
    ]


def share_rows(shares: Shares, settings: list[Setting]) -> Rows:
    """Each setting alone, the rest, and all together: mean change of mu with the range of 90 % of the stops; ends of windows."""
    values = {s.name: f"{value(s.a)} → {value(s.b)}" for s in settings}
    rows = [[_setting(one, values.get(one.name, "")), *_moved(one)] for one in shares.settings]
    if shares.interaction is not None:
        rows.append(
            [Markup('<i>interaction</i> <span class="of">together less each alone</span>'), *_moved(shares.interaction)]
        )
    if shares.together is not None:
        rows.append([Markup("<strong>together</strong>"), *_moved(shares.together)])
    return rows  # fmt: skip


def _setting(one: SettingShare, values: str) -> Markup:
    why = Markup('<br><span class="missing">{}</span>').format(one.why) if one.why else ""
    return Markup("{}<br><span class='of'>{}</span>{}").format(one.name, values, why)


def _moved(share: Share) -> list[Any]:
    every = [share.every] if share.every else []
    return [*(_class(row) for row in [*every, *share.classes]), *(_ends(end) for end in share.windows)]


def _class(row: ClassMove) -> Markup:
    low, high = percent(row.p05), percent(row.p95)
    shown = Markup("<strong>{}</strong>").format(percent(row.mean))
    return shown if low == high else shown + Markup(' <span class="of">({} to {})</span>').format(low, high)


def _ends(end: EndMove) -> str:
    low, high = (None if k is None else f"{k:+.1f}".replace("-", "−") for k in (end.low_k, end.high_k))
    return "not given" if low is None or high is None else f"low {low}, high {high}"


def share_notes(shares: Shares) -> list[str]:
    """Stops gained, lost or of another status, and answers, by each setting alone."""
    notes = []
    for one in shares.settings:
        counts = ((one.gained, "found anew"), (one.lost, "no longer found"), (one.status_changed, "of another status"))
        said = ", ".join(f"{n} {words}" for n, words in counts if n)
        notes += [f"{one.name} alone: stops {said}."] if said else []
        notes += [f"{one.name} alone: {a.what} of {a.test}: {value(a.answer)}." for a in one.answers]
    return notes


def sample_words(shares: Shares) -> str:
    """On what the shares were found."""
    tests = [test for test in shares.tests if test not in shares.left_out]
    said = f"On {len(tests)} of {shares.tests_of} tests ({', '.join(tests) or 'none'}), the first of each compound in the order of the archive"
    left = (
        f"; {shares.stops_of - shares.stops} more have no µ under one of them" if shares.stops_of > shares.stops else ""
    )
    return f"{said}; {counted(shares.stops, 'stop')} with µ every time{left}. {_how(shares)}"


def _how(shares: Shares) -> str:
    if len(shares.settings) > 1:
        return (
            f"Each test was reduced again by the first method with one setting of the second ({counted(shares.reductions, 'reduction')}). "
            "Changes are relative to the first method's µ: mean, and in brackets the range of 90 % of the stops; rows add up to the last."
        )
    return "One setting alone can move a test's results, so all of the change is its doing."


# Verdicts and figures


def figure_rows(figures: Iterable[Figure]) -> Rows:
    """Figures that moved: whose, which, by either method, and by how much."""
    return [
        [f.of, f.part, f.what, f.a, f.b, "" if f.relative is None else f"{percent(f.relative)}\u00a0%"] for f in figures
    ]


def moved_apart(content: Delta) -> dict[str, Rows]:
    """Rows of figures beyond and inside their intervals; of those without one the larger moves."""
    moved = content.figures.moved
    return {
        "beyond": figure_rows(f for f in moved if f.moved == "beyond"),
        "inside": figure_rows(f for f in moved if f.moved == "inside"),
        "bare": figure_rows(f for f in moved if f.moved == "no interval" and abs(f.relative or 1.0) >= SMALL),
    }


# Stops


def overview_rows(overview: Overview) -> list[tuple[str, str]]:
    """Counts over all stops."""
    counts = (
        ("Stops of either method", overview.stops),
        ("with µ in both", overview.with_mu_in_both),
        ("found by the first only", overview.only_a),
        ("found by the second only", overview.only_b),
        ("µ unchanged to the last digit", overview.mu_unchanged),
        ("energy unchanged", overview.energy_unchanged),
        ("energy changed", overview.energy_changed),
        ("status changed", overview.status_changed),
    )
    rows = [(text, str(count)) for text, count in counts if count is not None]
    quantiles = overview.change
    if quantiles is not None:
        rows += [
            ("Median change of µ", signed(quantiles.median)),
            ("5th percentile", signed(quantiles.p05)),
            ("95th percentile", signed(quantiles.p95)),
            ("Largest", signed(quantiles.largest)),
        ]
    return rows


def block_rows(blocks: list[BlockChange]) -> Rows:
    """Change of mu by test and block."""
    return [
        [
            r.test,
            r.block or "no block",
            r.purpose or "",
            str(r.stops),
            f"{r.mu_a:.4f}",
            f"{r.mu_b:.4f}",
            signed(r.median),
            signed(r.largest),
        ]
        for r in blocks
    ]


def largest_rows(rows: list[MovedStop], a: str, b: str) -> Rows:
    """The stops that moved most, with links to the stop on either method's page."""
    return [
        [
            r.test,
            r.block or "no block",
            link(a, r.test, r.stop_a),
            link(b, r.test, r.stop_b),
            f"{r.mu_a:.4f}",
            f"{r.mu_b:.4f}",
            f"{percent(r.mu_difference / r.mu_a)}\u00a0%" if r.mu_a else signed(r.mu_difference),
            numbers.fixed(r.temperature_initial_c, 0),
        ]
        for r in rows
    ]


def status_rows(rows: list[StatusChange], a: str, b: str) -> Rows:
    """Stops of another status, or that one method has alone."""
    return [
        [
            r.test,
            r.block or "no block",
            link(a, r.test, r.stop_a),
            link(b, r.test, r.stop_b),
            r.status_a or "not found",
            r.status_b or "not found",
        ]
        for r in rows
    ]
