"""One live line on a terminal while a run works; on a pipe, in a file or on a terminal that cannot move its cursor, nothing.

No thread draws it: the one who listens to the engine asks for it anew, so a fork or a signal finds one thread as before.
"""

from __future__ import annotations

import contextlib
import os
import sys
import time
from collections.abc import Callable, Iterator
from typing import Any, Protocol, TextIO

from pipeline.archive.scan import printable

REFRESH_S = 0.25


class Screen(Protocol):
    """Where a run tells how far it is."""

    every_s: float | None  # seconds between two calls of `draw`; None where there is nothing to draw

    def draw(self) -> None: ...
    def say(self, text: str) -> None: ...


class Plain:
    """Lines of complaint alone."""

    every_s: float | None = None

    def draw(self) -> None:
        pass

    def say(self, text: str) -> None:
        print(text, file=sys.stderr, flush=True)


class Live:
    """The line, below all that is said meanwhile."""

    every_s: float | None = REFRESH_S

    def __init__(self, live: Any, line: Callable[[], str]) -> None:
        self._live, self._line, self._drawn = live, line, -REFRESH_S

    def draw(self) -> None:
        from rich.text import Text

        if time.monotonic() - self._drawn >= REFRESH_S:
            self._live.update(Text(printable(self._line()), no_wrap=True, overflow="ellipsis"), refresh=True)
            self._drawn = time.monotonic()

    def say(self, text: str) -> None:
        from rich.text import Text

        self._live.console.print(Text(text), soft_wrap=True)


def moves(stream: TextIO) -> bool:
    """Whether a line can be drawn over on the stream."""
    return stream.isatty() and os.environ.get("TERM", "dumb") not in ("dumb", "unknown", "")


@contextlib.contextmanager
def shown(line: Callable[[], str], stream: TextIO | None = None) -> Iterator[Screen]:
    """Show what `line` says for as long as the block lasts; nothing of it stays."""
    stream = sys.stderr if stream is None else stream
    if not moves(stream):
        yield Plain()
        return
    from rich.live import Live as Drawn

    with Drawn(
        console=console(stream), auto_refresh=False, transient=True, redirect_stdout=False, redirect_stderr=False
    ) as live:
        live.console.show_cursor(True)  # a command that is killed must not leave a terminal without
        screen = Live(live, line)
        screen.draw()
        yield screen


def console(stream: TextIO) -> Any:
    """Rich's way to the stream: control characters on a terminal only, whatever the environment says of colours."""
    from rich.console import Console

    return Console(file=stream, force_terminal=stream.isatty(), highlight=False, markup=False, emoji=False)
