"""The channels file: written in row groups as chunks come, so that memory stays bounded."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import polars as pl

from pipeline.results import whole

GROUP_ROWS = 250_000

Append = Callable[[int, pl.DataFrame], None]


@contextmanager
def channels_file(path: Path, columns: list[str]) -> Iterator[Append]:
    """A function that appends a recording's rows (Float64 `columns`) to the file, which appears when the
    block ends well."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    schema = pa.schema([("recording", pa.int32()), *((name, pa.float64()) for name in columns)])
    held: list[pl.DataFrame] = []

    with whole(path) as part, pq.ParquetWriter(part, schema, compression="zstd", write_statistics=False) as writer:

        def flush() -> None:
            if held:
                table = pl.concat(held).to_arrow().cast(schema)
                writer.write_table(table, row_group_size=GROUP_ROWS)
                held.clear()

        def append(recording: int, rows: pl.DataFrame) -> None:
            held.append(rows.select(pl.lit(recording, pl.Int32).alias("recording"), *columns))
            if sum(frame.height for frame in held) >= GROUP_ROWS:
                flush()

        yield append
        flush()


def turn_torque(path: Path) -> None:
    """Change the sign of torque throughout a channels file."""
    import pyarrow.compute as pc
    import pyarrow.parquet as pq

    with whole(path) as part, pq.ParquetFile(path, memory_map=False, pre_buffer=False) as file:
        at = file.schema_arrow.get_field_index("torque")
        with pq.ParquetWriter(part, file.schema_arrow, compression="zstd", write_statistics=False) as writer:
            for group in range(file.num_row_groups):
                table = file.read_row_group(group)
                writer.write_table(
                    table.set_column(at, "torque", pc.negate(table.column(at))), row_group_size=GROUP_ROWS
                )
