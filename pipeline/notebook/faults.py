"""One exception for all that a caller can mend: InputError, in the words of the command line."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pipeline import faults
from pipeline.errors import InputError


@contextmanager
def told(place: Path) -> Iterator[None]:
    """Faults of the machine and of the files at `place` as InputError; a fault of ours stays what it is."""
    try:
        yield
    except InputError:
        raise
    except Exception as error:
        said = faults.words_of(error, place)
        if said is None and isinstance(error, OSError):
            said = f"{error.filename or place}: {error.strerror}; correct the path or its permissions"
        if said is None:
            raise
        raise InputError(said) from error


@contextmanager
def named(subject: str) -> Iterator[None]:
    """Whom it is about before the words of an InputError, as a run's last lines have it."""
    try:
        yield
    except InputError as error:
        raise InputError(f"{subject}: {error}") from error
