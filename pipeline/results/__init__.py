"""Results: how files are written and read (`files`), and what stands in each (one module a file)."""

from pipeline.results.files import (
    digest,
    plain,
    read_json,
    read_table,
    scan_table,
    version,
    whole,
    write_csv,
    write_json,
    write_parquet,
    write_text,
)

__all__ = [
    "digest",
    "plain",
    "read_json",
    "read_table",
    "scan_table",
    "version",
    "whole",
    "write_csv",
    "write_json",
    "write_parquet",
    "write_text",
]
