"""Leaves a simulated test on disk as a rig would: test.yaml, recordings/ and wear.csv."""

import gzip
from pathlib import Path

import polars as pl
import yaml

from rig_samples.simulator.card import CHANNELS, Identity, Stated, Style, card
from rig_samples.simulator.run import Simulated

# What the recorder resolves; finer digits would be noise.
RESOLUTION = {
    "time_s": 0.01,
    "speed_rpm": 0.1,
    "torque_nm": 0.5,
    "pressure_bar": 0.02,
    "disc_temperature_c": 0.1,
    "drive_torque_nm": 0.5,
}
DECIMALS = {"time_s": 2, "speed_rpm": 1, "torque_nm": 1, "pressure_bar": 2, "disc_temperature_c": 1}


def resolved(samples: pl.DataFrame) -> pl.DataFrame:
    """The samples rounded to what the recorder resolves."""
    return samples.with_columns(
        ((pl.col(name) / step).round() * step).round(DECIMALS.get(name, 1))
        for name, step in RESOLUTION.items()
        if name in samples.columns
    )


def recording_text(samples: pl.DataFrame, style: Style) -> str:
    """One recording as delimited text."""
    present = [(source, unit) for source, unit in CHANNELS.values() if source in samples.columns]
    names = style.names[: len(present)]
    table = resolved(samples.select([source for source, _ in present]))
    body = table.write_csv(
        include_header=False, separator=style.delimiter, decimal_comma=style.decimal == ",", quote_style="never"
    )
    head = [f"{style.comment or ''}{line}" for line in style.preamble]
    head.append(style.delimiter.join(names))
    if style.units_row:
        head.append(style.delimiter.join(unit for _, unit in present))
    return "\n".join(head) + "\n" + body


def write_recordings(folder: Path, samples: pl.DataFrame, style: Style) -> None:
    """One file a stop, numbered as run; gzip without a time stamp, so that equal samples are equal files."""
    folder.mkdir(parents=True, exist_ok=True)
    for (number,), part in samples.partition_by("recording", as_dict=True, maintain_order=True).items():
        data = recording_text(part, style).encode(style.encoding)
        name = f"stop_{number:03d}{style.suffix}"
        if style.compress:
            (folder / f"{name}.gz").write_bytes(gzip.compress(data, compresslevel=9, mtime=0))
        else:
            (folder / name).write_bytes(data)


def write_test(
    folder: Path, test: Simulated, identity: Identity, style: Style | None = None, stated: Stated | None = None
) -> None:
    """Write the whole test folder; `stated` as for `card`."""
    style = style or Style()
    folder.mkdir(parents=True, exist_ok=True)
    columns = test.samples.columns
    facts = card(identity, test.program, test.material, test.brake, test.rig, test.disc, columns, style, stated)
    text = yaml.safe_dump(facts, sort_keys=False, allow_unicode=True, width=110)
    (folder / "test.yaml").write_text(text, encoding="utf-8")
    write_recordings(folder / "recordings", test.samples, style)
    test.wear.write_csv(folder / "wear.csv")
