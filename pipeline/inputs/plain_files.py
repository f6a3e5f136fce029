"""Small input files as bytes: plain files only, of bounded size, and where asked none that a link brings in from
outside.

A pipe or a device has no end, and a link may lead anywhere: neither is a settings file.
"""

from __future__ import annotations

from pathlib import Path

from pipeline.errors import Complaint, InputError
from pipeline.inputs import seen

MADE_BY = {"test.yaml": "`stopsheet new-test FOLDER --from RECORDINGS`"}


def plain_bytes(path: Path, limit: int, *, inside: Path | None = None) -> bytes:
    """The file's bytes. Raises InputError when it is not a plain file in the folder `inside`, or larger than `limit`,
    InputFault when a stage finds it other than the run that it is part of did."""
    try:
        if path.exists() and not path.is_file():
            raise InputError(Complaint(path.name, "is no plain file", "a file", "put the file itself there"))
        if inside is not None and not path.resolve(strict=True).is_relative_to(inside.resolve()):
            words = f"is a link that leads out of {inside.name!r}"
            raise InputError(Complaint(path.name, words, "a file in the folder", "put the file itself there"))
        with path.open("rb") as file:
            data = file.read(limit + 1)
    except (OSError, RuntimeError) as error:
        seen.refuse_lost(error, path)
        words = f"cannot be read ({getattr(error, 'strerror', None) or type(error).__name__})"
        mend = "put it there, or correct its name or permissions"
        if isinstance(error, FileNotFoundError):
            words = "is not there"
            mend = f"write it; {MADE_BY[path.name]} makes one" if path.name in MADE_BY else mend
        raise InputError(Complaint(path.name, words, "a file that may be read", mend)) from error
    if len(data) > limit:
        words = f"is too large for such a file ({len(data):,} bytes or more)"
        raise InputError(Complaint(path.name, words, f"at most {limit:,} bytes", "see that it is the right file"))
    seen.verify(path, data)
    return data
