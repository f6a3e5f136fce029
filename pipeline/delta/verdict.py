"""What a change of method did, in a few sentences: verdicts, figures, stops, and by which setting."""

from __future__ import annotations

import re
from collections import Counter

from pipeline.delta.comparable import percent
from pipeline.results.delta import Comparable, Conclusion, Figures
from pipeline.results.shares import Share, Shares
from pipeline.wording import counted

NAMED = 3  # of what changed, in a sentence
HEAD = re.compile(r"[:,]")


def sentences(
    changed: list[Conclusion],
    figures: Figures,
    comparable: Comparable,
    summary_only: list[str],
    shares: Shares | None = None,
) -> list[str]:
    """Verdicts that changed, figures that moved, where stops compare, by which setting; and tests that cannot be reduced anew."""
    said = [_verdicts([row for row in changed if row.kind == "verdict"]), of_figures(figures), comparable.text]
    said += [text] if shares is not None and (text := of_settings(shares)) else []
    if summary_only:
        said.append(f"Kept as reduced rows and not reduced anew: {', '.join(summary_only)}.")
    return said


def _verdicts(changed: list[Conclusion]) -> str:
    if not changed:
        return "No verdict changed."
    names = [f"{row.what} of {row.name}" for row in changed]
    return f"{counted(len(changed), 'verdict')} changed: {few(names)}."


def of_figures(figures: Figures) -> str:
    """How many figures moved, and how many of them beyond their intervals."""
    known = figures.inside + figures.beyond
    if not figures.compared:
        return "No sheet gives a figure by both methods."
    if not known:
        return f"No figure with an interval moved{f'; {figures.no_interval} without one did' if figures.no_interval else ''}."
    moved = f"{counted(known, 'figure')} with an interval moved"
    if not figures.beyond:
        return f"{moved}, {'inside it' if known == 1 else 'all inside their intervals'}."
    if known == 1:
        return f"{moved}, beyond it: {groups(figures)}."
    inside = f"{figures.inside} inside their intervals" if figures.inside else "none inside it"
    return f"{moved}: {inside}, {figures.beyond} beyond: {groups(figures)}."


def of_settings(shares: Shares) -> str:
    """How far each setting alone moves mu, from the temperature where it does so least to that where most; empty without shares."""
    if shares.together is None or not shares.together.classes:
        return ""
    if len(shares.settings) == 1:
        return f"All that moved in the tests themselves is the doing of {shares.settings[0].name}."
    named = [f"{one.name} {means(one)}" for one in shares.settings[:NAMED]]
    more = len(shares.settings) - NAMED
    rest = f"; {counted(more, 'more setting')} less" if more > 0 else ""
    together = f"; interaction {means(shares.interaction)}" if shares.interaction else ""
    return f"Mean change of µ by temperature, each setting alone: {'; '.join(named)}{rest}{together}."


def means(share: Share) -> str:
    """The lowest and the highest mean of a class of temperature."""
    low, high = (percent(end(row.mean for row in share.classes)) for end in (min, max))
    return f"{low}\u00a0%" if low == high else f"{low} to {high}\u00a0%"


def groups(figures: Figures) -> str:
    """What moved beyond its interval, by what it is about: up to the first colon or comma of its name."""
    about = Counter(HEAD.split(one.what, maxsplit=1)[0] for one in figures.moved if one.moved == "beyond")
    named = [name if often == 1 else f"{name} ({often})" for name, often in about.most_common(NAMED)]
    more = sum(about.values()) - sum(often for _, often in about.most_common(NAMED))
    return f"{', '.join(named)} and {more} more" if more else ", ".join(named)


def few(names: list[str]) -> str:
    """The first of several names, and how many more there are."""
    more = len(names) - NAMED
    return "; ".join(names) if more <= 1 else f"{'; '.join(names[:NAMED])}; and {more} more"
