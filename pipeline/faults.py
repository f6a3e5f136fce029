"""Faults of the machine: a full disk, no permission, no memory, a file that vanishes or changes while it is read.

They say nothing about a test. So they are never a finding and never an input error: the result that they spoil is
named in one line with what to do, and the next run tries again. `of_input` is for what a stage reads from the
archive: that test is then unusable for now, and the others go on. Anything else (`words_of`) ends the stage without a
result.
"""

from __future__ import annotations

import errno
import os
import re
from pathlib import Path

FULL = "the disk is full; free space and run again"
MEMORY = "the memory is not enough; run again with fewer --cores"

# What to say of an error's number; `{}` is the system's own words.
SAID = {
    errno.ENOSPC: FULL,
    errno.EDQUOT: "the disk's quota is used up; free space and run again",
    errno.EACCES: "no permission; give it and run again",
    errno.EPERM: "no permission; give it and run again",
    errno.EROFS: "the disk is mounted read-only; mount it for writing and run again",
    errno.ENOENT: "is not there any more; put it back and run again",
    errno.EIO: "the disk reports an error ({}); check the disk and run again",
    errno.ENOMEM: MEMORY,
    errno.EMFILE: "too many open files; raise the limit (ulimit -n) and run again",
    errno.ENFILE: "too many open files; raise the limit (ulimit -n) and run again",
    errno.ESTALE: "the network disk was lost ({}); check it and run again",
    errno.ETIMEDOUT: "the network disk does not answer; check it and run again",
    errno.EHOSTDOWN: "the network disk does not answer; check it and run again",
    errno.ENOTCONN: "the network disk was lost ({}); check it and run again",
    errno.EFBIG: "the file is larger than the system allows ({}); raise the limit and run again",
}
NO_ROOM = (errno.ENOSPC, errno.EDQUOT)
# A whole run ends at the first of these: every further stage would meet the same.
FOR_ALL = (SAID[errno.ENOSPC], SAID[errno.EDQUOT], SAID[errno.EROFS])


class InputFault(Exception):
    """Something in the archive could not be read for a reason of the machine; `str(error)` is the whole message."""


def number_of(error: BaseException) -> int | None:
    """The system's error number behind an exception, from libraries that keep it only in their words as well."""
    if isinstance(error, MemoryError):
        return errno.ENOMEM
    if isinstance(error, OSError) and error.errno is not None:
        return error.errno
    found = re.search(r"\(os error (\d+)\)|\[[Ee]rrno (\d+)\]", str(error))
    return int(found[1] or found[2]) if found else None


def words_of(error: BaseException, place: Path) -> str | None:
    """One line on a fault of the machine: path and mend; None where the exception or its cause is none."""
    link: BaseException | None = error
    while link is not None:
        if isinstance(link, InputFault):
            return str(link)
        number = number_of(link)
        if number in SAID:
            named = getattr(link, "filename", None)
            where = named if isinstance(named, str) and number not in NO_ROOM else place
            return line(Path(where), number)
        link = link.__cause__ or (None if link.__suppress_context__ else link.__context__)
    return None


def line(path: Path, number: int) -> str:
    """`<path>: <what is wrong; what to do>` of an error number that stands in `SAID`."""
    return f"{path}: {SAID[number].format(os.strerror(number))}"


def refuse(error: BaseException, path: Path) -> None:
    """Raise InputFault where reading the recording `path` failed for a reason of the machine, the error itself where
    there is no place to write; else return: the fault is the file's.

    A link to nothing is the file's fault; what vanishes while it is read is seen when the folder is looked at again.
    So is a refused request for memory: the system grants what is sensible and kills later, a damaged file asks for
    the absurd.
    """
    link: BaseException | None = error
    while link is not None:
        if isinstance(link, InputFault):
            raise link
        number = None if isinstance(link, MemoryError) else number_of(link)
        if number in NO_ROOM:
            raise link
        if number in SAID and number != errno.ENOENT:
            raise InputFault(line(path, number)) from error
        link = link.__cause__ or link.__context__
