"""The page of the study of wear rates."""

from __future__ import annotations

from tests.studies.wear_rates import LEAST, SPLITS, Fit, coverage, ratio, too_long, width

LEVELS = (("test", "one test"), ("compound", "compound"))


def text(found: list[Fit]) -> str:
    lines = [
        "# Wear rates and lives from coarse readings",
        "",
        "Written by `python -m tests.studies.wear_rates --write`; nothing here is typed by hand.",
        "",
        *(
            []
            if len(found) >= 2000
            else [f"A part of the study: {len(found)} fits of over 2,000. Shares of so few say little.", ""]
        ),
        f"{len(found)} fits: {sum(f.level == 'test' for f in found)} of single tests, {sum(f.level == 'compound' for f in found)} of compounds of "
        "one to three specimens. Everything is over the truth: of a test its own specimen's true loss per stop, of a compound the mean "
        "specimen's. Rate and line: mean of rate / truth over fits of five and more intervals. Held: 95 % intervals that hold the "
        "truth, over all fits. Width: median half-width over the truth. Line: a plain straight line, least squares of the "
        "readings' mean over the stops; all means are of as many readings, so that equal weights are theirs.",
        "",
        "| fits | n | identified | rate by readings | held | width | rate by law or measured | held | width | line | held | width |",
        "|---|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    for level, words in LEVELS:
        lines.append(_row(f"{words}, all", [f for f in found if f.level == level]))
    for title, key in SPLITS:
        for level, words in LEVELS:
            own = [f for f in found if f.level == level]
            lines += [
                _row(f"{words}, {title}: {value}", [f for f in own if key(f) == value])
                for value in sorted({key(f) for f in own}, key=str)
            ]
    lines += ["", *_lives(found), "", *_why_wide(found), "", *_narrow(found)]
    return "\n".join(lines) + "\n"


def _row(name: str, some: list[Fit]) -> str:
    cells = [name, str(len(some)), f"{sum(f.identified for f in some) / len(some):.0%}"]
    for which in ("readings", "law", "line"):
        every = [getattr(f, which) for f in some]
        many = [getattr(f, which) for f in some if f.case.intervals >= LEAST]
        cells += (
            [
                f"{ratio(many):.3f}" if any(many) else "-",
                f"{coverage(every):.1%}",
                f"{width(every):.1%}",
            ]
            if any(every)
            else ["-"] * 3
        )
    return f"| {' | '.join(cells)} |"


def _lives(found: list[Fit]) -> list[str]:
    lines = [
        "## Lives",
        "",
        "Of a duty like one of the test's blocks, from the true loss over that block. A life is given by an identified law, or by the "
        "measured rate where none is; not given where the measured loss does not differ from zero.",
        "",
        "| fits | lives given | by the measured rate | lower end above the truth | life / truth, median | lives without ground |",
        "|---|---|---|---|---|---|",
    ]
    groups = [(words, [f for f in found if f.level == level]) for level, words in LEVELS]
    groups += [
        (f"{title}: {v}", [f for f in found if key(f) == v])
        for title, key in SPLITS
        for v in sorted({key(f) for f in found}, key=str)
    ]
    groups.append(("all", found))
    for name, some in groups:
        given = [f for f in some if f.life]
        middle = sorted(f.life.value for f in given if f.life)
        lines.append(
            f"| {name} | {len(given)} of {len(some)} | {sum(not f.identified for f in given)} | {too_long(f.life for f in given):.1%} "
            f"| {middle[len(middle) // 2]:.3f} | {sum(f.ungrounded for f in some)} |"
        )
    lines += [
        "",
        "Lives without ground: of a duty two and a half times as heavy as the test's stops, where no law is identified.",
    ]
    return lines


def _why_wide(found: list[Fit]) -> list[str]:
    """Where intervals hold the truth in more than 99 %, why they are wide."""
    where: dict[str, list[str]] = {}
    for title, key in SPLITS:
        for level, words in LEVELS:
            for value in sorted({key(f) for f in found}, key=str):
                some = [f for f in found if f.level == level and key(f) == value]
                for which, name in (("readings", "rate by readings"), ("law", "rate by law or measured")):
                    every = [getattr(f, which) for f in some]
                    if any(every) and coverage(every) > 0.99:
                        group = f"{words}, {name}: {_reason(level, which, title, value)}"
                        where.setdefault(group, []).append(f"{title} {value} ({coverage(every):.1%})")
    lines = [f"- {group}. {'; '.join(splits)}." for group, splits in where.items()]
    given = [f.life for f in found if f.life]
    if too_long(given) < 0.01:
        lines.append(
            f"- lives ({1 - too_long(given):.1%} of the lower ends lie below the truth): they are those of a further use. Where the truth "
            "is one law, as in two of the three programs, uses do not depart from it at all; but what a few coarse readings show is that "
            "they may, and where every block has its own rate they do."
        )
    return [
        "## Where intervals are wider than 95 % asks for",
        "",
        *(lines or ["None holds the truth in more than 99 %."]),
    ]


def _narrow(found: list[Fit]) -> list[str]:
    """Where intervals hold the truth in less than 93 %."""
    lines = []
    for title, key in SPLITS:
        for level, words in LEVELS:
            for value in sorted({key(f) for f in found}, key=str):
                some = [f for f in found if f.level == level and key(f) == value]
                for which, name in (("readings", "rate by readings"), ("law", "rate by law or measured")):
                    every = [getattr(f, which) for f in some]
                    if any(every) and coverage(every) < 0.93:
                        lines.append(f"- {words}, {name}: {title} {value}: {coverage(every):.1%} of {len(some)}.")
    if lines:
        lines += [
            "",
            "Repeats taken one after the other do not show a scatter that is common to an occasion. The laws' residuals do, but only "
            "where they are too large by chance of one in a hundred, and a program that no law describes hides it; what is then said of "
            "the first and last reading is by the repeats alone. Read again after the part was taken out and put back, or at more points "
            "of the program: repeats of that kind show it.",
        ]
    return ["## Where intervals are narrower", "", *(lines or ["None holds the truth in less than 93 %."])]


def _reason(level: str, which: str, title: str, value: object) -> str:
    if level == "compound":
        return "the scatter between specimens that the method expects (8 %, four degrees of freedom) is larger than what so few show"
    if title == "scale (mm)" or (title == "scatter (µm)" and value == 5.0):
        return (
            "readings within a step of the scale are given its rounding, step / sqrt(12), as normal noise; true rounding errors end at "
            "half a step, and those of the first and last reading alone bound the rate"
        )
    if value == "every block its own rate":
        if which == "law":
            return "where no law is identified the interval is that of a further use, not of these stops' mean"
        return "residuals of a law that is a little wrong pass for the readings' noise, which they widen"
    return "few residuals tell the noise, and an assumed noise is kept where it asks for more"
