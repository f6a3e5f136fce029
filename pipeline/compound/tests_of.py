"""The tests of a compound with the results of their own stages, as the compound's stages want them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.archive.card import Card, load_card
from pipeline.batches.specimens import HISTORY, SpecimenTest
from pipeline.errors import InputError
from pipeline.results import read_json

FILES = ("stops.parquet", "traces.parquet", "summary.json", "friction.json", "wear.json", "drift.json")


@dataclass(frozen=True)
class CompoundTest:
    """One usable test: card, tables and the JSON of its stages."""

    card: Card
    stops: pl.DataFrame
    traces: pl.DataFrame
    summary: Mapping[str, Any]
    friction: Mapping[str, Any]
    wear: Mapping[str, Any]
    drift: Mapping[str, Any]

    @property
    def name(self) -> str:
        return self.card.test

    @property
    def common_u(self) -> float | None:
        """Relative standard uncertainty of mu common to all stops of the rig."""
        return self.summary.get("mu_u_common_relative")

    @property
    def changed_at(self) -> int | None:
        """First stop of a drift after which the stops no longer show the material as made."""
        if self.drift.get("verdict") not in HISTORY:
            return None
        return self.drift.get("onset_stop")


def load_tests(
    archive: Path, tests: list[str], results: Path
) -> tuple[list[CompoundTest], dict[str, str], dict[str, Path]]:
    """(usable tests, why each other one is not, every file read); `results` is a method's folder."""
    usable, left_out, inputs = [], {}, {}
    for name in tests:
        folder = results / "tests" / name
        inputs |= {f"{name}/{file}": folder / file for file in FILES}
        summary = read_json(folder / "summary.json")
        if summary.get("unusable"):
            left_out[name] = str(summary["unusable"])
            continue
        try:
            card = load_card(archive / name)
        except InputError as error:
            left_out[name] = str(error)
            continue
        stops, traces = pl.read_parquet(folder / "stops.parquet"), pl.read_parquet(folder / "traces.parquet")
        read = {stage: read_json(folder / f"{stage}.json") for stage in ("friction", "wear", "drift")}
        usable.append(CompoundTest(card, stops, traces, summary, **read))
    return usable, left_out, inputs


def specimen_test(test: CompoundTest, epochs: Mapping[str, str]) -> SpecimenTest:
    """The test as the batch comparison sees it; `epochs` names each test's calibration state (rigs.json)."""
    energy = test.stops.filter(pl.col("purpose") != "bedding")["energy_kj"].drop_nulls()
    return SpecimenTest(
        test=test.name,
        batch=test.card.batch,
        specimen=test.card.specimen,
        stops=test.stops,
        rig=test.card.rig,
        epoch=epochs.get(test.name, test.card.rig),
        summary_only=test.card.recordings.holds == "summary",
        drift_verdict=test.drift.get("verdict"),
        drift_onset=test.drift.get("onset_stop"),
        common_u=test.common_u,
        wear_rate=_rate(test.wear),
        energy_per_stop_kj=float(energy.mean()) if len(energy) else None,  # type: ignore[arg-type]
    )


def _rate(wear: Mapping[str, Any]) -> tuple[float, float, float] | None:
    """Disc wear in um per stop after bedding: value and 95 % interval."""
    rate: Any = wear
    for key in ("components", "disc", "rates", "um_per_stop"):
        rate = rate.get(key) if isinstance(rate, Mapping) else None
    if not isinstance(rate, Mapping) or rate.get("value") is None:
        return None
    low, high = rate.get("low"), rate.get("high")
    return rate["value"], rate["value"] if low is None else low, rate["value"] if high is None else high
