"""What is known of a test's recordings while they are read one after the other."""

from __future__ import annotations

from dataclasses import dataclass, field

from pipeline.errors import InputError
from pipeline.findings import Finding
from pipeline.recordings.timestamps import Clock
from pipeline.results.record import Recording


@dataclass
class Extent:
    """What of one file has reached the table."""

    rows: int = 0
    first_time: float | None = None
    last_time: float | None = None


@dataclass
class Progress:
    """What the recordings read so far have shown."""

    recordings: list[Recording] = field(default_factory=list)
    heads: set[str] = field(default_factory=set)
    digests: dict[str, str] = field(default_factory=dict)
    values: dict[str, str] = field(default_factory=dict)
    correlations: dict[str, float] = field(default_factory=dict)
    units: dict[tuple[str, str], list[str]] = field(default_factory=dict)  # (channel, unit said) -> files
    clock: Clock = field(default_factory=Clock)
    findings: list[Finding] = field(default_factory=list)


class Unusable(InputError):
    """The whole test cannot be used; `code` is the finding's."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code
