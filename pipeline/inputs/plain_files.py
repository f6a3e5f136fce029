"""Small input files as bytes: plain files only, of bounded size, and where asked none that a link brings in from
outside.

A pipe or a device has no end, and a link may lead anywhere: neither is a settings file.
"""

from __future__ import annotations

from pathlib import Path

from pipeline.errors import InputError
from pipeline.inputs import seen


def plain_bytes(path: Path, limit: int, *, inside: Path | None = None) -> bytes:
    """The file's bytes. Raises InputError when it is not a plain file in the folder `inside`, or larger than `limit`,
    InputFault when a stage finds it other than the run that it is part of did."""
    try:
        if path.exists() and not path.is_file():
            raise InputError(f"{path.name}: is no plain file")
        if inside is not None and not path.resolve(strict=True).is_relative_to(inside.resolve()):
            raise InputError(f"{path.name}: is a link that leads out of {inside.name!r}; put the file itself there")
        with path.open("rb") as file:
            data = file.read(limit + 1)
    except (OSError, RuntimeError) as error:
        seen.refuse_lost(error, path)
        raise InputError(
            f"{path.name}: cannot be read ({getattr(error, 'strerror', None) or type(error).__name__})"
        ) from error
    if len(data) > limit:
        raise InputError(f"{path.name}: is too large for such a file (limit {limit} bytes)")
    seen.verify(path, data)
    return data
