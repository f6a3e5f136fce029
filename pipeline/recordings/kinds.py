"""What a file is, by its first bytes, where it is not what the card says: the message then names it and how to save it.

The marks are those of the formats' own specifications (from memory).
"""

from __future__ import annotations

import zipfile
from dataclasses import replace
from pathlib import Path

from pipeline.errors import InputError
from pipeline.recordings.files import opened, refuse_outside

SAVE = "save its channels as CSV, Parquet or HDF5"
# start of the file -> what it is, what to do; a format that is read is named as the card writes it
MARKS: tuple[tuple[int, bytes, str, str], ...] = (
    (0, b"\x89HDF\r\n\x1a\n", "an HDF5 file", "hdf5"),
    (512, b"\x89HDF\r\n\x1a\n", "an HDF5 file", "hdf5"),
    (0, b"PAR1", "a Parquet file", "parquet"),
    (0, b"MDF     ", "an MDF file", "mdf"),
    (0, b"UnFinMF ", "an MDF file that was not finished", "mdf"),
    (0, b"TDSm", "a TDMS file", "tdms"),
    (0, b"MATLAB 5.0 MAT-file", "a MAT-file of version 5", SAVE),
    (0, b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "an old binary workbook or document (XLS, DOC)", "save it as XLSX or CSV"),
    (8, b"\x51\xed\xa7\xa0", "an SIE file", SAVE),
    (0, b"%PDF-", "a PDF document", "export the samples themselves, as CSV or Parquet"),
    (0, b"\x1f\x8b", "packed with gzip", "let its name end in .gz"),
    (0, b"\x28\xb5\x2f\xfd", "packed with zstandard", "let its name end in .zst"),
    (0, b"7z\xbc\xaf\x27\x1c", "a 7z archive", "unpack it"),
    (0, b"Rar!", "a RAR archive", "unpack it"),
    (0, b"BZh", "packed with bzip2", "unpack it"),
    (0, b"\xfd7zXZ\0", "packed with xz", "unpack it"),
    (0, b"SQLite format 3\0", "an SQLite database", SAVE),
    (0, b"CDF\x01", "a netCDF file", SAVE),
    (0, b"CDF\x02", "a netCDF file", SAVE),
    (0, b"\x89PNG", "a picture", "export the samples themselves, as CSV or Parquet"),
    (0, b"<?xml", "XML", SAVE),
    (0, b"<!DOCTYPE", "a web page", SAVE),
    (0, b"<html", "a web page", SAVE),
)
READ = ("hdf5", "parquet", "mdf", "tdms", "xlsx")


def told(error: InputError, path: Path, folder: Path, form: str) -> InputError:
    """The error, with what the file is where its first bytes say that it is of another kind than `form`.

    A pipe, a device or what lies out of the test's folder is not opened.
    """
    try:
        refuse_outside(path, folder)
    except InputError:
        return error
    is_ = what(path)
    if is_ is None or is_[1] == form:
        return error
    name, mend = is_
    mend = f"write format: {mend}" if mend in READ else mend
    if not error.complaints:
        return type(error)(f"{error}; the file is {name}: {mend}")
    return InputError(*(replace(one, found=f"{one.found}; the file is {name}", mend=mend) for one in error.complaints))


def form_of(path: Path) -> str | None:
    """The format of a file as a card writes it, by its first bytes; None where it is text or not read."""
    found = what(path)
    return found[1] if found is not None and found[1] in READ else None


def what(path: Path) -> tuple[str, str] | None:
    """(what the file is, its format or what to do) by its first bytes; None where they say nothing."""
    try:
        with opened(path) as stream:
            head = stream.read(1024)
    except (InputError, OSError):
        return None
    if head.startswith(b"PK\x03\x04"):
        return _zipped(path)
    return next(((name, mend) for at, mark, name, mend in MARKS if head[at:].startswith(mark)), None)


def _zipped(path: Path) -> tuple[str, str]:
    try:
        with zipfile.ZipFile(path) as parts:
            names = parts.namelist()
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        names = []
    if any(name.startswith("xl/") for name in names):
        return "an XLSX workbook", "xlsx"
    return "a ZIP archive", "unpack it"
