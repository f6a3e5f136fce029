"""The same test in every format and layout: do the stops come out alike?

    python -m tests.studies.formats [--write]

A simulated test is written as Parquet, MDF, TDMS and delimited text in several spellings, one stop per file and as one
series, and reduced from each. The table gives, against Parquet, the largest relative difference of any number in
stops.parquet, and whether every text column is the same.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any, NamedTuple

import numpy as np
import polars as pl
import yaml

from tests.hostile.base import COLUMNS, simulated, write_base
from tests.hostile.chain import METHOD, to_stops
from tests.recordings.makers import written

TEXT = ("block", "purpose", "kind", "status", "findings", "control")
UNITS = {"t": "s", "n": "rpm", "Mb": "N m", "p": "bar", "T1": "degC"}
# Taken up to the end of the recording or the next start, which a series puts elsewhere.
TO_THE_END = ("temperature_peak_c", "temperature_final_c")
SMALLEST = 1e-6  # of a column's own scale: what lies below it is nought


class Variant(NamedTuple):
    """A way to store the test. form: the card's format; series: all stops in one file; card: further keys of recordings."""

    name: str
    form: str
    series: bool = False
    card: Mapping[str, Any] = MappingProxyType({})
    suffix: str = ".csv"
    text: Callable[[pl.DataFrame], bytes] | None = None


def comma_text(rows: pl.DataFrame) -> bytes:
    return rows.write_csv().encode()


def semicolon_text(rows: pl.DataFrame) -> bytes:
    """Decimal commas, a row of units, Latin-1, Windows line ends, two lines before the header."""
    head, body = rows.write_csv(separator=";", decimal_comma=True, quote_style="never").split("\n", 1)
    lines = ["Prüfstand Nord", "", head, ";".join(f"[{u}]" for u in UNITS.values()), *body.splitlines()]
    return "\r\n".join(lines).encode("latin-1")


def tab_text(rows: pl.DataFrame) -> bytes:
    return ("# made up\n" + rows.write_csv(separator="\t")).encode()


LATIN = {"delimiter": ";", "decimal": ",", "encoding": "latin-1", "skip_lines": 2}
VARIANTS = (
    Variant("Parquet, one stop per file", "parquet"),
    Variant("Parquet, one series", "parquet", series=True),
    Variant("MDF 4, one stop per file", "mdf"),
    Variant("TDMS, one stop per file", "tdms"),
    Variant("text: comma", "delimited", text=comma_text),
    Variant("text: comma, one series", "delimited", series=True, text=comma_text),
    Variant("text: semicolon, decimal comma, units row, Latin-1, gzip", "delimited", card=LATIN, suffix=".txt.gz",
            text=semicolon_text),
    Variant("text: tab, comments, zstandard", "delimited", card={"delimiter": "\t", "comment": "#"}, suffix=".tsv.zst",
            text=tab_text),
)  # fmt: skip


def write_variant(archive: Path, variant: Variant) -> Path:
    """The simulated test stored that way, unrounded."""
    folder = write_base(archive, variant.form if variant.text is None else "delimited", "t")
    if variant.text is None and not variant.series:
        return folder
    for old in (folder / "recordings").iterdir():
        old.unlink()
    rows = simulated().samples.select("recording", *(pl.col(c).alias(n) for n, c in COLUMNS.items()))
    parts = {"": rows} if variant.series else dict(rows.partition_by("recording", as_dict=True))
    for key, part in parts.items():
        name = "series" if variant.series else f"stop_{key[0]:03d}"
        table = part.drop("recording")
        if variant.text is None:
            table.write_parquet(folder / "recordings" / f"{name}.parquet")
        else:
            written(folder, name + variant.suffix, variant.text(table))
    card = yaml.safe_load((folder / "test.yaml").read_text())
    card["recordings"] |= {"files": "recordings/*", **variant.card} | ({"holds": "series"} if variant.series else {})
    (folder / "test.yaml").write_text(yaml.safe_dump(card, sort_keys=False))
    return folder


def stops_of(variant: Variant) -> tuple[pl.DataFrame, float]:
    """The reduced stops and the seconds that ingest and reduction took."""
    with tempfile.TemporaryDirectory() as text:
        room = Path(text)
        folder = write_variant(room / "archive", variant)
        begun = time.perf_counter()
        to_stops(folder, room / "results")
        seconds = time.perf_counter() - begun
        return pl.read_parquet(room / "results" / METHOD / "tests" / "t" / "stops.parquet"), seconds


def difference(stops: pl.DataFrame, reference: pl.DataFrame, but: tuple[str, ...] = ()) -> float:
    """Largest difference of any number, relative to it or, near nought, to a millionth of its column's largest."""
    worst = 0.0
    for name, dtype in reference.schema.items():
        if dtype != pl.Float64 or name in but:
            continue
        a, b = stops[name].to_numpy(), reference[name].to_numpy()
        if not np.array_equal(np.isnan(a), np.isnan(b)):
            return float("inf")
        known = ~np.isnan(b)
        if known.any():
            scale = np.maximum(np.abs(b[known]), SMALLEST * np.abs(b[known]).max() + 1e-300)
            worst = max(worst, float(np.max(np.abs(a[known] - b[known]) / scale)))
    return worst


def compared() -> list[dict[str, Any]]:
    reference, seconds = stops_of(VARIANTS[0])
    first = {"name": VARIANTS[0].name, "stops": reference.height, "difference": 0.0, "mu": 0.0, "text": True}
    table: list[dict[str, Any]] = [first | {"seconds": seconds}]
    for variant in VARIANTS[1:]:
        stops, seconds = stops_of(variant)
        same = stops.height == reference.height and stops.select(TEXT).equals(reference.select(TEXT))
        worst = mu = float("inf")
        if stops.height == reference.height:
            worst = difference(stops, reference, TO_THE_END if variant.series else ())
            mu = difference(stops.select("mu"), reference.select("mu"))
        row = {"name": variant.name, "stops": stops.height, "difference": worst, "mu": mu, "text": same}
        table.append(row | {"seconds": seconds})
    return table


def page(table: list[dict[str, Any]]) -> str:
    rows = "\n".join(
        f"| {r['name']} | {r['stops']} | {r['difference']:.1e} | {r['mu']:.1e} | {'the same' if r['text'] else 'differ'} |"
        for r in table
    )
    return f"""# One test in every format

The same simulated test ({table[0]["stops"]} stops), written in each format and layout and reduced from it
(`python -m tests.studies.formats --write`). Largest relative difference of any number in stops.parquet from the first row's;
text columns: block, purpose, kind, status, findings, control. Of a series the temperatures that run to the end of the recording
are left out: its recording ends elsewhere. What else differs there comes of the pressure's rest, read over more samples.

| stored as | stops | largest difference | of mu | text columns |
|---|---|---|---|---|
{rows}
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=str(__doc__).splitlines()[0])
    parser.add_argument("--write", action="store_true", help="write docs/formats_study.md")
    options = parser.parse_args()
    table = compared()
    for row in table:
        print(
            f"{row['name']:60} {row['stops']:4} {row['difference']:.2e} {row['mu']:.2e} {row['text']} {row['seconds']:.2f} s"
        )
    if options.write:
        Path("docs/formats_study.md").write_text(page(table), encoding="utf-8")


if __name__ == "__main__":
    main()
