"""Times written as dates and times of day (ISO 8601) -> seconds on one clock for the whole test.

    time = (timestamp - midnight before the first recording's first timestamp) in s, kept to the microsecond

Accepted (ISO 8601-1:2019, 5.3 and 5.4): date and time with T or a blank between, seconds with a decimal point or comma, with a
zone (Z, +02:00, +02) or without; or the time of day alone. Dates with the day or the month first are read where the card says
which (`dates`): nothing in them tells. A time of day falls behind the one before where midnight has
passed: a day is added. What else makes it fall behind, or leap by an hour while samples go on, is a clock that was set
(summer time, by hand); nothing tells which side is right, so nothing is corrected and it is told.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import polars as pl

from pipeline.archive.written import Dates
from pipeline.findings import Finding, finding
from pipeline.recordings.chunk import Chunk, ClockKind
from pipeline.results.record import Recording

ISO = r"^(?:(\d{4}-\d{2}-\d{2})[T ]+|T)?(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,12}))?)?\s*(Z|[+-]\d{2}(?::?\d{2})?)?$"
EXAMPLE = "2026-03-02T14:05:09.25 or 14:05:09,25"
# 02.03.2026 14:05:09,25 or 3/2/2026 2:05:09 PM: which of the two is the day, the card says
WRITTEN = r"^(\d{1,2})[./-](\d{1,2})[./-](\d{4}|\d{2})[ ,T]+(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,12}))?)?\s*([AaPp])?\.?[Mm]?\.?$"
TWELVE = r"^(?:(.*\d)[T ]+)?(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,12}))?)?\s*([AaPp])\.?[Mm]\.?$"  # a clock of twelve hours
CENTURY = 69  # two-digit years from here on are 19.., those below 20.. (POSIX strptime, from memory)
DAY = 86400.0
US = 1_000_000
AN_HOUR_BACK = 3600.0 + 5.0  # s: by how much a clock is set back; further back between recordings is the next day
STEP = 1800.0  # s: clocks are set by whole half hours, where summer time sets them
KINDS: tuple[ClockKind, ...] = ("time of day", "local", "zoned")


def as_iso(text: pl.Series, dates: Dates) -> pl.Series:
    """Dates written day or month first as ISO 8601; what is not of that form as it is."""
    names = ("a", "b", "y", "h", "m", "s", "part", "half")
    parts = text.str.extract_groups(WRITTEN).struct.rename_fields(list(names)).struct.unnest()
    day, month = ("a", "b") if dates == "day_first" else ("b", "a")
    two = pl.col("y").cast(pl.Int64, strict=False)
    year = (
        pl.when(pl.col("y").str.len_chars() == 4).then(two).when(two < CENTURY).then(two + 2000).otherwise(two + 1900)
    )
    made = parts.select(
        pl.format(
            "{}-{}-{}T{}:{}:{}{}", year.cast(pl.String), pl.col(month).str.zfill(2), pl.col(day).str.zfill(2), _hours(),
            pl.col("m"), pl.col("s").fill_null("00"), pl.when(pl.col("part").is_null()).then(pl.lit("")).otherwise("." + pl.col("part")),
        )
    ).to_series()  # fmt: skip
    return made.zip_with(made.is_not_null(), text)


def _of_twelve(text: pl.Series) -> pl.Series:
    """Times of a clock of twelve hours (2:05:09 PM) as ISO 8601; others as they are."""
    if not text.str.contains(r"[AaPp]\.?[Mm]\.?$").any():
        return text
    parts = (
        text.str.extract_groups(TWELVE).struct.rename_fields(["date", "h", "m", "s", "part", "half"]).struct.unnest()
    )
    part = pl.when(pl.col("part").is_null()).then(pl.lit("")).otherwise("." + pl.col("part"))
    made = parts.select(
        pl.format(
            "{}T{}:{}:{}{}", pl.col("date").fill_null(""), _hours(), pl.col("m"), pl.col("s").fill_null("00"), part
        )
    ).to_series()
    return made.zip_with(made.is_not_null(), text)


def _hours() -> pl.Expr:
    """Hour of 24 from columns h and half (a, p or null of a clock of 24); 99 for none of a clock of twelve."""
    hour, late = pl.col("h").cast(pl.Int64), pl.col("half").str.to_lowercase() == "p"
    twelve = pl.col("half").is_not_null()
    hours = (
        pl.when(twelve & ((hour < 1) | (hour > 12))).then(99)
        .when(twelve).then(hour % 12 + 12 * late.cast(pl.Int64)).otherwise(hour)
    )  # fmt: skip
    return hours.cast(pl.String).str.zfill(2)


def parsed(
    cells: pl.Series, kind: ClockKind | None, dates: Dates = "iso"
) -> tuple[pl.Series, pl.Series, ClockKind | None]:
    """Microseconds (Float64, exact; since 1970 or since midnight), the mask of cells that are no timestamp, and the kind.

    kind: of the recording's timestamps so far; a cell of another kind counts as no timestamp. dates: how a date is written.
    """
    text = cells.cast(pl.String).str.strip_chars(" \t\r\u00a0'\"")
    text = text.set(text == "", None)
    text = _of_twelve(as_iso(text, dates) if dates != "iso" else text)
    names = ("date", "h", "m", "s", "part", "zone")
    parts = text.str.extract_groups(ISO).struct.rename_fields(list(names)).struct.unnest()
    whole = (
        pl.col("h").cast(pl.Int64) * 3600 + pl.col("m").cast(pl.Int64) * 60 + pl.col("s").cast(pl.Int64).fill_null(0)
    )
    zone = pl.col("zone").str.replace_all("[Z:]", "")
    minutes = zone.str.slice(1, 2).cast(pl.Int64, strict=False) * 60 + zone.str.slice(3, 2).cast(
        pl.Int64, strict=False
    ).fill_null(0)
    ahead = pl.when(zone.str.starts_with("-")).then(-minutes).otherwise(minutes).fill_null(0)
    days = pl.col("date").str.to_date("%Y-%m-%d", strict=False)
    possible = (pl.col("h").cast(pl.Int64) < 24) & (pl.col("m").cast(pl.Int64) < 60) & (
        pl.col("s").cast(pl.Int64).fill_null(0) < 60
    ) & (pl.col("date").is_null() | days.is_not_null()) & (pl.col("date").is_not_null() | pl.col("zone").is_null())  # fmt: skip
    found = parts.select(
        us=((days.cast(pl.Int32).cast(pl.Int64).fill_null(0) * 86400 + whole - ahead * 60) * US
        + (pl.col("part").fill_null("") + "000000").str.slice(0, 6).cast(pl.Int64)),
        kind=pl.when(pl.col("date").is_null()).then(0).when(pl.col("zone").is_null()).then(1).otherwise(2),
        possible=possible.fill_null(False),
    )  # fmt: skip
    good = found["possible"]
    if kind is None and good.any():
        kind = KINDS[int(found["kind"].filter(good)[0])]
    if kind is not None:
        good = good & (found["kind"] == KINDS.index(kind))
    values = found["us"].cast(pl.Float64)
    bad = text.is_not_null() & ~good
    return values.set(bad, float("nan")).set(text.is_null(), None), bad, kind


@dataclass
class Clock:
    """One clock for a test's recordings, read one after the other.

    origin: midnight from which it counts, µs since 1970 (0: midnight of an unknown day); leaps: per recording, by how much
    and where its clock was set.
    """

    origin: float | None = None
    kind: ClockKind | None = None
    kinds: dict[int, ClockKind] = field(default_factory=dict)
    ends: dict[int, float] = field(default_factory=dict)
    leaps: dict[int, list[tuple[float, float]]] = field(default_factory=dict)

    def seconds(self, number: int, chunks: Iterator[Chunk]) -> Iterator[Chunk]:
        """The chunks of recording `number` with their time in s on the clock; chunks without timestamps as they are."""
        before = max((end for n, end in self.ends.items() if n < number), default=None)
        day, last, steps = 0.0, None, np.inf
        self.leaps[number] = []
        for chunk in chunks:
            if chunk.clock is None or not chunk.rows.height:
                yield chunk
                continue
            self._begun(number, chunk)
            time = (chunk.rows["time"].to_numpy().astype(float) - (self.origin or 0.0)) / US
            known = np.isfinite(time)
            if chunk.clock == "time of day" and known.any():
                if last is None:
                    day = _first_day(time[known][0], before)
                time[known], day = _over_midnight(time[known] + day, last, day)
            values = time[known]
            between = np.diff(values if last is None else np.r_[last, values])
            steps = min(steps, float(np.median(between[between > 0])) if (between > 0).any() else np.inf)
            self.leaps[number] += _leaps(values, between, steps)
            last = float(values[-1]) if values.size else last
            self.ends[number] = last if last is not None else self.ends.get(number, -np.inf)
            rows = chunk.rows.with_columns(pl.Series("time", np.where(known, time, np.nan)))
            yield Chunk(rows, chunk.damage, chunk.units)

    def _begun(self, number: int, chunk: Chunk) -> None:
        assert chunk.clock is not None
        self.kinds.setdefault(number, chunk.clock)
        self.kind = self.kind or chunk.clock
        if self.origin is None:
            times = chunk.rows["time"].drop_nulls().drop_nans()
            if times.len():
                self.origin = 0.0 if chunk.clock == "time of day" else float(times[0] // (DAY * US) * DAY * US)

    @property
    def counts_from(self) -> str | None:
        """The midnight from which the clock counts, as text; None without timestamps."""
        if self.origin is None or self.kind is None:
            return None
        if self.kind == "time of day":
            return "midnight of the first recording's day"
        day = datetime.datetime.fromtimestamp(self.origin / US, datetime.UTC)
        return day.strftime("%Y-%m-%dT00:00:00") + ("Z" if self.kind == "zoned" else "")


def _first_day(first: float, before: float | None) -> float:
    """Days (s) to add to a recording's times of day: those of the recording before, and one where it falls far behind."""
    if before is None:
        return 0.0
    day = np.floor(before / DAY) * DAY
    return float(day + DAY if first + day < before - AN_HOUR_BACK else day)


def _over_midnight(time: np.ndarray, last: float | None, day: float) -> tuple[np.ndarray, float]:
    """Times with a day added each time that they fall back by more than half a day; the days added so far."""
    back = np.diff(time, prepend=time[0] if last is None else last) < -DAY / 2
    return time + DAY * np.cumsum(back), day + DAY * float(back.sum())


def _leaps(values: np.ndarray, between: np.ndarray, step: float) -> list[tuple[float, float]]:
    """(time before, leap) in s wherever a running clock goes back, or ahead by whole half hours to within two samples."""
    slack = max(2 * step, 0.01) if np.isfinite(step) else 0.01
    halves = np.round((between - step) / STEP) if np.isfinite(step) else np.zeros(between.size)
    ahead = (halves >= 1) & (halves <= 4) & (np.abs(between - step - halves * STEP) <= slack)
    at = np.flatnonzero((between < 0) | ahead)
    first = values.size - between.size
    return [(float(values[first + i]) - float(between[i]), float(between[i])) for i in at[:20]]


def findings_of(clock: Clock, recordings: Sequence[Recording]) -> list[Finding]:
    """What the clock did that a clock does not: inside recordings, and between them."""
    found = []
    for one in recordings:
        for at, leap in clock.leaps.get(one.recording, ()) if one.rows else ():
            text = f"{one.file}: its clock goes {_by(leap)} at {at:.3f} s"
            found.append(_finding(text, one.file, {"at_s": at, "leap_s": leap}, "suspect"))
    read = [one for one in recordings if one.rows and one.first_time is not None and one.last_time is not None]
    for before, after in pairwise(read):
        kinds = clock.kinds.get(before.recording), clock.kinds.get(after.recording)
        if None in kinds:
            continue
        gap = float(after.first_time or 0.0) - float(before.last_time or 0.0)
        evidence = {"after": before.file, "leap_s": gap}
        if kinds[0] != kinds[1]:
            text = f"{after.file}: its timestamps are {kinds[1]}, those of {before.file} {kinds[0]}: the time between is unknown"
            found.append(_finding(text, after.file, evidence, "suspect"))
        elif gap < 0:
            text = f"{after.file} begins {-gap:.1f} s before {before.file} ends: the clock was set back, or the order is wrong"
            found.append(_finding(text, after.file, evidence, "suspect"))
        elif kinds[0] == "local" and (night := _changed(clock, float(before.last_time or 0.0), gap)):
            text = (
                f"{after.file}: clocks are changed in many places in the night of {night} ({before.file} ends before it), and "
                "the timestamps have no zone: the time between may be an hour off"
            )
            found.append(_finding(text, after.file, evidence, "info"))
    return found


def _by(leap: float) -> str:
    return f"{'back' if leap < 0 else 'ahead'} by {abs(leap):.1f} s"


def _finding(text: str, file: str, evidence: dict[str, object], severity: str) -> Finding:
    return finding("clock_changed", text, file=file, channel="time", severity=severity, evidence=evidence)  # type: ignore[arg-type]


def _changed(clock: Clock, end: float, gap: float) -> str | None:
    """The night between end and end + gap in which summer time begins or ends: last Sunday of March or October (Directive
    2000/84/EC), second of March, first of November (Energy Policy Act of 2005, section 110; both from memory)."""
    start = datetime.datetime.fromtimestamp((clock.origin or 0.0) / US + end, datetime.UTC)
    stop = start + datetime.timedelta(seconds=min(gap, 400 * DAY))
    for year in range(start.year, stop.year + 1):
        for month, which in ((3, -1), (10, -1), (3, 1), (11, 0)):
            day = datetime.datetime(year, month, 1, 3, tzinfo=datetime.UTC)
            days = (day + datetime.timedelta(days=n) for n in range(31))
            sundays = [d for d in days if d.weekday() == 6 and d.month == month]
            if start < sundays[which] and stop > sundays[which] - datetime.timedelta(hours=1):
                return sundays[which].strftime("%Y-%m-%d")
    return None
