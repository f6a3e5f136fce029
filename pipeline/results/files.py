"""Writing and reading results: whole or not at all, never NaN.

Everything is written to `<file>.<pid>.part` and moved into place, because the children of a killed run live on for a
while and keep writing. Every JSON carries its stamp: settings, revision, software version, input digests.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import polars as pl

    from pipeline.vocabulary import Column


def _always() -> None:
    return


_may_write: Callable[[], None] = _always


def write_only_while(check: Callable[[], None]) -> None:
    """From now on call `check` before a file is moved into place; where it raises, the file is not."""
    global _may_write
    _may_write = check


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """A temporary path beside `path`, moved onto it when the block ends well, removed when it does not."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    try:
        yield part
        _may_write()
        try:
            os.replace(part, path)
        except OSError as error:  # named by where the reader wanted it, not by the part
            raise OSError(error.errno, error.strerror, str(path)) from error
    finally:
        part.unlink(missing_ok=True)


def plain(value: Any) -> Any:
    """JSON-ready copy: numpy scalars to Python, non-finite numbers to null, tuples to lists, floats to 9 digits."""
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [plain(v) for v in value]
    if hasattr(value, "tolist"):  # numpy array or scalar
        return plain(value.tolist())
    if isinstance(value, float):
        return float(f"{value:.9g}") if math.isfinite(value) else None
    if isinstance(value, bool | int | str) or value is None:
        return value
    return str(value)


def json_text(content: Any) -> str:
    """What `write_json` writes."""
    return json.dumps(plain(content), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def write_json(path: Path, content: Any) -> None:
    write_text(path, json_text(content))


def write_text(path: Path, text: str) -> None:
    with whole(path) as part:
        part.write_text(text, encoding="utf-8")


def write_parquet(path: Path, frame: pl.DataFrame) -> None:
    with whole(path) as part:
        frame.write_parquet(part, compression="zstd", statistics=False)


#: with these a spreadsheet takes a text for a formula, and runs it (OWASP, CSV Injection; from memory)
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")


def write_csv(path: Path, frame: pl.DataFrame, table: Iterable[Column]) -> None:
    """A table for spreadsheets: comma and decimal point, UTF-8 with its mark, the unit in each header, lists in one cell.

    A text that a spreadsheet would run gets an apostrophe before it: names of blocks and files are the user's.
    """
    import polars as pl

    unit = {column.name: column.unit for column in table}
    heads = {name: _harmless(f"{name} ({unit[name]})" if unit.get(name) else name) for name in frame.columns}
    joined = frame.with_columns(pl.col(pl.List(pl.String)).list.join(" "))
    runs = [
        pl.when(pl.col(name).str.slice(0, 1).is_in(FORMULA))
        .then(pl.lit("'") + pl.col(name))
        .otherwise(name)
        .alias(name)
        for name, kind in joined.schema.items()
        if kind == pl.String
    ]
    with whole(path) as part:
        joined.with_columns(runs).rename(heads).write_csv(part, include_bom=True)


def _harmless(text: str) -> str:
    return f"'{text}" if text.startswith(FORMULA) else text


def read_table(path: Path) -> pl.DataFrame:
    """The Parquet file of exactly this path.

    Polars takes a path for a pattern unless told otherwise: `brake[1]/stops.parquet` would be the file of a folder
    `brake1` beside it, and a folder `rig=2` a column `rig`.
    """
    import polars as pl

    return pl.read_parquet(path, glob=False, hive_partitioning=False)


def scan_table(path: Path) -> pl.LazyFrame:
    """`read_table`, to be read when collected."""
    import polars as pl

    return pl.scan_parquet(path, glob=False, hive_partitioning=False)


def read_json(path: Path) -> Any:
    return json.loads(path.read_text(encoding="utf-8"))


def digest(path: Path) -> str:
    """Short SHA-256 of a file's bytes."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()[:16]


def version() -> str:
    try:
        return metadata.version("stopsheet")
    except metadata.PackageNotFoundError:
        return "source tree"
