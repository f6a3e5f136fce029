"""The engineer's own hand in words: which stops were excluded and why, and what the test's map would say with them."""

from pipeline.archive.card import Card
from pipeline.archive.exclusions import Exclusion
from pipeline.report.numbers import fixed
from pipeline.results.drift import TestDrift
from pipeline.results.friction import TestFriction
from pipeline.results.friction_map import Window

MOST = 12  # stops named in a sentence


def stops_words(stops: tuple[int, ...] | list[int]) -> str:
    """`stop 12`, `stops 12, 13` or, where there are many, the first of them and their number."""
    named = ", ".join(map(str, stops[:MOST]))
    more = f" and others, {len(stops)} in all" if len(stops) > MOST else ""
    return f"stop{'s' if len(stops) > 1 else ''} {named}{more}"


def who(exclusion: Exclusion) -> str:
    """Who decided, and when."""
    date = exclusion.date.isoformat() if exclusion.date else "date not stated"
    return f"{exclusion.by or 'name not stated'}, {date}"


def sentences(card: Card | None, friction: TestFriction, drift: TestDrift) -> list[str]:
    """Of a test's page: each exclusion with its reason, then what would be without them; [] without exclusions."""
    if card is None or friction.excluded is None:
        return []
    said = [f"Excluded by hand, {stops_words(one.stops)}: {one.reason} ({who(one)})." for one in card.exclude]
    return [*said, would_be(friction), *drift_would_be(drift)]


def would_be(friction: TestFriction) -> str:
    """The test's window as it would be with the excluded stops, beside the window as used."""
    excluded = friction.excluded
    if excluded is None:
        return ""
    if excluded.why:
        return f"Without the exclusion the friction window would be the same: {excluded.why}."
    with_them = _window(excluded.window, excluded.window_reason)
    return f"Without the exclusion the friction window would be {with_them}; as used it is {_window(friction.window, friction.window_reason)}."


def drift_would_be(drift: TestDrift) -> list[str]:
    """The drift verdict as it would be with the excluded stops, beside the one as used; [] without such stops."""
    with_them = drift.excluded
    if with_them is None:
        return []
    would = _verdict(with_them.verdict, with_them.onset_stop, with_them.mu_loss)
    used = _verdict(drift.verdict, drift.onset_stop, drift.mu_loss)
    return [f"Without the exclusion the drift verdict would be {would}; as used it is {used}."]


def _verdict(verdict: str | None, onset: int | None, loss: float | None) -> str:
    said = verdict or "not given"
    said += "" if onset is None else f", first affected stop {onset}"
    return said + ("" if loss is None else f", loss of µ {fixed(loss, 3)}")


def _window(window: Window | None, why: str | None) -> str:
    if window is None:
        return f"none ({why or 'no reason written'})"
    return f"{fixed(window.low_c, 0)} °C to {fixed(window.high_c, 0)} °C with a mean µ of {fixed(window.mu_mean, 3)}"
