"""Which recordings a test has, in which order, and their bytes.

A recording is trusted in nothing: a pattern stays inside the test's folder, links that lead out are
refused, and what is not a plain file is left alone.
"""

from __future__ import annotations

import errno
import gzip
import os
import re
import shutil
import stat
import tempfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from pipeline.archive.scan import natural_key, printable
from pipeline.errors import Complaint, InputError
from pipeline.recordings.limits import Unpacked

NOT_RECORDINGS = ("test.yaml",)
NOT_THERE = (errno.ENOENT, errno.ENOTDIR, errno.EBADF, errno.ELOOP)
PIECE_BYTES = 1 << 20  # of a read: room is made for all that is asked for, however short the file
MOST_LOOKED_AT = 2000  # files, to tell what a pattern could be


def recording_files(folder: Path, pattern: str, *, besides: tuple[str, ...] = ()) -> list[Path]:
    """Files of the test that match the pattern, in the order run: natural sort of the paths.

    Digit runs count as integers, upper and lower case are alike, .gz and .zst do not count. Hidden files,
    test.yaml and the names in `besides` (the wear readings) are no recordings. Raises InputError when the
    pattern cannot be used or matches nothing.
    """
    if "\0" in pattern or pattern.startswith(("/", "\\", "~")) or ".." in re.split(r"[/\\]", pattern):
        words = f"{pattern[:80]!r} must stay inside the test's folder"
        raise InputError(_of_pattern(words, "write recordings/*.csv"))
    left_out = {*NOT_RECORDINGS, *besides}
    try:
        found = [
            path
            for path in folder.glob(pattern)
            if not path.name.startswith(".")
            and path.relative_to(folder).as_posix() not in left_out
            and _stands_for_one(path, pattern)
        ]
    except (ValueError, OSError, RuntimeError, re.error, IndexError) as error:
        raise InputError(_of_pattern(f"{pattern[:80]!r} is no usable pattern", "write recordings/*.csv")) from error
    if not found:
        raise InputError(_of_pattern(f"{pattern[:80]!r} matches no file", _there(folder, left_out)))
    return sorted(found, key=lambda path: order_key(path.relative_to(folder).as_posix()))


def _of_pattern(found: str, mend: str) -> Complaint:
    accepted = "a pattern that matches files in the test's folder, such as recordings/*.csv"
    return Complaint("test.yaml", found, accepted, mend, key="recordings.files")


def _there(folder: Path, left_out: set[str]) -> str:
    """What to write for the files that are there; what may not be looked into holds none that could be read."""
    there = [
        path
        for path in [*_entries(folder), *(path for one in _entries(folder) for path in _entries(one))][:MOST_LOOKED_AT]
        if _is_file(path) and path.relative_to(folder).as_posix() not in left_out and not path.name.startswith(".")
    ]
    kinds = {(path.parent / f"*{path.suffix}").relative_to(folder).as_posix(): None for path in there if path.suffix}
    some = " or ".join(printable(kind) for kind in list(kinds)[:3])
    return f"write {some}" if some else "put the recordings there"


def _entries(folder: Path) -> list[Path]:
    try:
        return sorted(folder.iterdir())
    except OSError:
        return []


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:
        return False


def order_key(path: str) -> tuple[list[tuple[int, int, str]], str]:
    """Natural key of a relative path; equal ones (0001.csv, 0001.csv.gz) by their bytes."""
    return natural_key(path), path


def shown(path: Path, folder: Path) -> str:
    """The path relative to the test's folder, as text that a file and a terminal can carry."""
    return printable(path.relative_to(folder).as_posix())


def _stands_for_one(path: Path, pattern: str) -> bool:
    """Whether something matched is meant as a recording; what cannot be read as one is reported, never passed over.

    A link to nothing stands for a recording that was there, a pipe or a device for one that a program was to write. A
    folder counts where the pattern asks for an ending of its name; `recordings/*` takes no folder for a recording.
    """
    try:
        if not path.is_dir():
            return path.exists() or path.is_symlink()
    except OSError:  # it may not be looked at, which is told when it is to be read
        return True
    return bool(Path(pattern).suffix) and "*" not in Path(pattern).suffix


def refuse_outside(path: Path, folder: Path) -> None:
    """InputError when the file is not there, cannot be looked at, is no plain file, or a link that leads out of the test's
    folder or to nothing.
    """
    try:
        link = path.is_symlink()
        kind = _kind(path)
    except OSError as error:
        words = f"cannot be looked at ({error.strerror or type(error).__name__})"
        raise InputError(_no_file(words, "see its permissions and its disk")) from error
    if not link and not kind:
        raise InputError(_no_file("is not there", "put it there"))
    try:
        inside = Path(os.path.realpath(path, strict=True)).is_relative_to(os.path.realpath(folder))
    except (OSError, RuntimeError) as error:
        raise InputError(_no_file("is a link that leads nowhere", "put the file itself into the folder")) from error
    if not inside:
        raise InputError(_no_file("is a link that leads out of the test's folder", "put the file itself there"))
    if kind != "file":
        raise InputError(_no_file(f"is a {kind}, no file", "put the recording itself there"))


def _kind(path: Path) -> str:
    """What stands at the path, links followed; "" for nothing. Raises OSError where it may not be looked at."""
    try:
        mode = path.stat().st_mode
    except OSError as error:
        if error.errno in NOT_THERE:
            return ""
        raise
    except ValueError:  # a name that no file can have
        return ""
    kinds = ((stat.S_ISREG, "file"), (stat.S_ISDIR, "folder"), (stat.S_ISFIFO, "pipe"))
    return next((kind for is_, kind in kinds if is_(mode)), "device or socket")


def _no_file(found: str, mend: str) -> Complaint:
    return Complaint("", found, "a plain file in the test's folder", mend)


@contextmanager
def opened(path: Path) -> Iterator[IO[bytes]]:
    """The recording's bytes, decompressed where the name ends in .gz or .zst. Raises InputError while
    reading."""
    import zstandard

    suffix = path.suffix.lower()
    try:
        with path.open("rb") as raw:
            size = os.fstat(raw.fileno()).st_size
            if suffix == ".gz":
                with gzip.open(raw, "rb") as stream:
                    yield Unpacked(stream, size)  # type: ignore[arg-type,misc]
            elif suffix == ".zst":
                with zstandard.ZstdDecompressor().stream_reader(raw, read_across_frames=True) as stream:
                    yield Unpacked(stream, size)  # type: ignore[misc]
            else:
                yield raw
    except (EOFError, zlib.error, zstandard.ZstdError, gzip.BadGzipFile) as error:
        words = f"is damaged or ends early as a {suffix} file ({error})"
        raise InputError(
            Complaint("", words, f"a whole {suffix} file", "export or copy the recording again")
        ) from error
    except OSError as error:
        words = f"cannot be read ({error.strerror or type(error).__name__})"
        raise InputError(Complaint("", words, "a file that may be read", "see its permissions and its disk")) from error


def exactly(stream: IO[bytes], size: int) -> bytes:
    """`size` bytes, fewer only at the end: decompressors give what they have."""
    parts, missing = [], size
    while missing:
        part = stream.read(min(missing, PIECE_BYTES))
        if not part:
            break
        parts.append(part)
        missing -= len(part)
    return b"".join(parts)


@contextmanager
def plain_file(path: Path) -> Iterator[Path]:
    """A path to the uncompressed recording, for readers that jump about in the file; a temporary copy if
    need be."""
    if path.suffix.lower() not in (".gz", ".zst"):
        yield path
        return
    with tempfile.TemporaryDirectory(prefix="stopsheet-") as room:
        copy = Path(room) / f"recording{Path(path.stem).suffix}"
        with opened(path) as source, copy.open("wb") as target:
            shutil.copyfileobj(source, target, 1 << 20)
        yield copy
