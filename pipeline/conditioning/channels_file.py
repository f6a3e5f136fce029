"""A test's channels file as the stage reads it: every column once, where all that is asked for fits into memory.

The stage goes over the samples several times (levels at rest, units, brakings, what further sensors say), each time over some of
the columns. To unpack a column takes far longer than to go over it, so columns are kept as they are first asked for, up to
HELD_BYTES of them. What does not fit is read again in parts of bounded size.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl

from pipeline.results import scan_table

if TYPE_CHECKING:
    from pyarrow.parquet import ParquetFile

BATCH_ROWS = 250_000
HELD_BYTES = 100 << 20
VALUE_BYTES = 8


class ChannelsFile:
    """The channels file at `path`; its columns `names`."""

    def __init__(self, path: Path) -> None:
        import pyarrow.parquet as pq

        self.path = path
        with pq.ParquetFile(path) as file:
            self.names: list[str] = file.schema_arrow.names
            self._rows = file.metadata.num_rows
        self._held: dict[str, pl.Series] = {}

    def parts(self, columns: Sequence[str], rows: int = BATCH_ROWS) -> Iterator[pl.DataFrame]:
        """These columns in consecutive parts of at most so many rows."""
        if self._holds(columns):
            yield from pl.DataFrame([self._held[name] for name in columns]).iter_slices(rows)
            return
        import pyarrow.parquet as pq

        with pq.ParquetFile(self.path, memory_map=False, pre_buffer=False) as file:
            yield from frames(file, list(columns), rows)

    def scan(self, columns: Sequence[str]) -> pl.LazyFrame:
        """These columns as a frame that is read when collected."""
        if self._holds(columns):
            return pl.LazyFrame([self._held[name] for name in columns])
        return scan_table(self.path).select(columns)

    def _holds(self, columns: Sequence[str]) -> bool:
        """Whether these columns are held, those that still fit read first."""
        missing = [name for name in columns if name not in self._held]
        if not missing:
            return True
        if (len(self._held) + len(missing)) * self._rows * VALUE_BYTES > HELD_BYTES:
            return False
        import pyarrow.parquet as pq

        with pq.ParquetFile(self.path, memory_map=False, pre_buffer=False) as file:
            read = pl.DataFrame(pl.from_arrow(file.read(columns=missing, use_threads=False)))
        self._held |= read.to_dict()
        return True


def frames(file: ParquetFile, columns: list[str] | None = None, rows: int = BATCH_ROWS) -> Iterator[pl.DataFrame]:
    """The file's rows in parts of bounded size. Frames, as Arrow loads pandas to make an array of numpy of its own column."""
    for part in file.iter_batches(batch_size=rows, columns=columns):
        yield pl.DataFrame(pl.from_arrow(part))
