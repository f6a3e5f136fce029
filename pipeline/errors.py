"""Bad input, told in one way: the file, the line, what was found, what is accepted, what to do.

`InputError` is the one exception for it. The command line prints it without a traceback; stages turn it into a finding.
`Unfit` is what a check of a single value raises; whoever knows the file and the line makes a `Complaint` of it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

MOST = 60  # told in one line
Place = tuple[str | int, ...]  # of a value in a settings file: keys, and numbers of list entries from 0


@dataclass(frozen=True)
class Complaint:
    """One thing that is wrong in a file or a call.

    line: None where the file has none; key: the place in a settings file, entries counted from 1; accepted: words that hold a
    colon say themselves what they list.
    """

    file: str
    found: str
    accepted: str = ""
    mend: str = ""
    line: int | None = None
    key: str = ""

    @property
    def words(self) -> str:
        """Without the file."""
        place = [f"line {self.line}" if self.line is not None else "", self.key]
        return ": ".join([*filter(None, place), _said(self.found, self.accepted, self.mend)])

    def __str__(self) -> str:
        return f"{self.file}: {self.words}" if self.file else self.words


class InputError(Exception):
    """Input that cannot be used; `str(error)` is the whole message, `complaints` its parts where they are known."""

    def __init__(self, *said: str | Complaint) -> None:
        self.complaints = tuple(one for one in said if isinstance(one, Complaint))
        super().__init__(_joined(said))


class Unfit(ValueError):
    """A value that cannot be used. at: where, below the value that was checked; beside: other places that it rests on."""

    def __init__(
        self, found: str, accepted: str = "", mend: str = "", *, at: Place = (), beside: Iterable[Place] = ()
    ) -> None:
        self.found, self.accepted, self.mend, self.at, self.beside = found, accepted, mend, at, tuple(beside)
        super().__init__(_said(found, accepted, mend))

    def below(self, *path: str | int) -> Unfit:
        """The same, told of a value further up, of which this one is a part."""
        return Unfit(
            self.found, self.accepted, self.mend, at=(*path, *self.at), beside=[(*path, *b) for b in self.beside]
        )

    @classmethod
    def of(cls, error: ValueError) -> Unfit:
        """Any refusal of a value as one of this kind."""
        return error if isinstance(error, Unfit) else cls(str(error))

    def with_(self, accepted: str) -> Unfit:
        """The same, with more that is accepted."""
        return Unfit(self.found, f"{self.accepted}; {accepted}", self.mend, at=self.at, beside=self.beside)


def _said(*parts: str) -> str:
    found, accepted, mend = parts
    listed = accepted if not accepted or ":" in accepted else f"accepted: {accepted}"
    return "; ".join(filter(None, (found, listed, mend)))


def _joined(said: tuple[str | Complaint, ...]) -> str:
    """One line; the file once where all are of it."""
    if len(said) > MOST:
        left = len(said) - MOST
        return f"{_joined(said[:MOST])}; and {left} more"
    if len(said) > 1 and all(isinstance(one, Complaint) for one in said):
        files = {one.file for one in said if isinstance(one, Complaint)}
        if len(files) == 1:
            words = "; also ".join(one.words for one in said if isinstance(one, Complaint))
            return f"{files.pop()}: {words}"
    return "; also ".join(map(str, said))
