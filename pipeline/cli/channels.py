"""The first stage, read in a process of its own: a library that is busy for ever or out of memory ends with its
reader.
"""

from __future__ import annotations

from pathlib import Path

from pipeline.cli.bounds import read_within


def run(*, folder: Path, fingerprint: str, wear: str | None, into: Path) -> None:
    """Read the recordings of the test in `folder` into the table and the record of its name in `into`.

    `fingerprint` is that of the test's files as the run saw them, `wear` the one among them that is not read here.
    """
    refused = read_within(into)
    from pipeline.inputs import seen
    from pipeline.recordings import stage

    seen.refuse_unlisted(folder)
    listed = {name: file.digest for name, file in (seen.of_run(folder) or {}).items() if name != wear}
    stage.run(folder, into / f"{folder.name}.parquet", into / f"{folder.name}.json", refused=refused, listed=listed)
    seen.refuse_changed(folder, fingerprint, wear)
