"""The tests of a compound with the results of their own stages, as the compound's stages want them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.archive.card import Card, load_card
from pipeline.batches.brakes import brake_of
from pipeline.batches.specimens import HISTORY, SpecimenTest, WearRate
from pipeline.errors import InputError
from pipeline.results import read_table
from pipeline.results.drift import TestDrift
from pipeline.results.model import confidence_of, read
from pipeline.results.rigs import Copied, Rigs
from pipeline.results.summary import TestSummary
from pipeline.results.wear import CompoundComponent, CompoundWear, Rates, TestWear, WearInterval

FILES = ("stops.parquet", "traces.parquet", "summary.json", "friction.json", "wear.json", "drift.json")


@dataclass(frozen=True)
class CompoundTest:
    """One usable test: card, tables and results of its stages."""

    card: Card
    stops: pl.DataFrame
    traces: pl.DataFrame
    summary: TestSummary
    wear: TestWear
    drift: TestDrift

    @property
    def name(self) -> str:
        return self.card.test

    @property
    def common_u(self) -> float | None:
        """Relative standard uncertainty of mu common to all stops of the rig."""
        return self.summary.mu_u_common_relative

    @property
    def sensor_u(self) -> float | None:
        """The part of common_u that a calibration of torque and pressure draws anew; all of it without a budget."""
        common = {share.source: share.relative_u for share in self.summary.budget if share.part == "common"}
        parts = [common[name] for name in ("torque", "pressure") if name in common]
        if not parts:
            return self.common_u
        return float(np.sqrt(sum((u or 0.0) ** 2 for u in parts)))

    @property
    def changed_at(self) -> int | None:
        """First stop of a drift after which the stops no longer show the material as made."""
        return self.drift.onset_stop if self.drift.verdict in HISTORY else None


def load_tests(
    archive: Path, tests: list[str], results: Path
) -> tuple[list[CompoundTest], dict[str, str], dict[str, Path]]:
    """(usable tests, why each other one is not, every file read); `results` is a method's folder."""
    usable: list[CompoundTest] = []
    left_out: dict[str, str] = {}
    inputs: dict[str, Path] = {}
    for name in tests:
        folder = results / "tests" / name
        inputs |= {f"{name}/{file}": folder / file for file in FILES}
        summary = read(folder / "summary.json", TestSummary)
        if summary.unusable:
            left_out[name] = summary.unusable
            continue
        try:
            card = load_card(archive / name)
        except InputError as error:
            left_out[name] = str(error)
            continue
        stops, traces = read_table(folder / "stops.parquet"), read_table(folder / "traces.parquet")
        wear, drift = read(folder / "wear.json", TestWear), read(folder / "drift.json", TestDrift)
        usable.append(CompoundTest(card, stops, traces, summary, wear, drift))
    return usable, left_out, inputs


def counted_once(tests: list[CompoundTest], copied: Sequence[Copied]) -> tuple[list[CompoundTest], dict[str, str]]:
    """The tests without those that rigs.json says are copies of another, and why each of these is left out."""
    of = {item.test: item.of for item in copied if item.whole}
    why = {t.name: f"holds the recordings of {of[t.name]}, and counts once with it" for t in tests if t.name in of}
    return [t for t in tests if t.name not in of], why


Rate = tuple[float, float, float]
ALIKE = 0.10  # programs whose expected wear per stop differs by less are compared as measured


def specimen_test(
    test: CompoundTest, rigs: Rigs, rates: Mapping[str, WearRate], radius_rule: str = "mean"
) -> SpecimenTest:
    """The test as the batch comparison sees it; `rigs` names its calibration state."""
    energy = test.stops.filter(pl.col("purpose") != "bedding")["energy_kj"].drop_nulls()
    return SpecimenTest(
        test=test.name,
        batch=test.card.batch,
        specimen=test.card.specimen,
        stops=test.stops,
        rig=test.card.rig,
        epoch=rigs.epochs.get(test.name, test.card.rig),
        summary_only=test.card.recordings.holds == "summary",
        drift_verdict=test.drift.verdict,
        drift_onset=test.drift.onset_stop,
        common_u=test.common_u,
        sensor_u=test.sensor_u,
        wear_rate=rates.get(test.name),
        energy_per_stop_kj=float(np.mean(energy.to_numpy())) if len(energy) else None,
        brake=brake_of(test.card, radius_rule),
    )


def wear_rates(tests: Sequence[CompoundTest], wear: CompoundWear) -> dict[str, WearRate]:
    """Disc wear of each test in um per stop of one program: value, and interval at the confidence of its wear.json.

    Tests of unlike programs wear unlike for that alone. So the rate of a test whose stops should wear by more than
    ALIKE other than the median test's, as the compound's wear law has it, is multiplied by the law's ratio of the two.
    Tests of one program stay as measured. Where no law is identified all do, with the reason: nothing says what another
    program would have worn.
    """
    raw = {t.name: r for t in tests if (r := _rate(t)) is not None}
    confidence = {t.name: confidence_of(t.wear.stamp, "wear") for t in tests}
    disc = (wear.components or {}).get("disc", CompoundComponent(why=wear.why))
    by_law = {t.name: law for t in tests if t.name in raw and (law := _by_law(t, disc.intervals)) is not None}
    unscaled = _unidentified(disc)
    if unscaled or not by_law:
        return {name: WearRate(*rate, 1.0, unscaled, by_law.get(name), confidence[name]) for name, rate in raw.items()}
    reference = float(np.median(list(by_law.values())))
    factor = {name: reference / law for name, law in by_law.items()}
    unlike = {name: f for name, f in factor.items() if abs(np.log(f)) > ALIKE}
    return {name: _times(raw[name], unlike.get(name, 1.0), confidence[name]) for name in factor}


def _unidentified(disc: CompoundComponent) -> str | None:
    """Why no law may bring programs together; None where the chosen one is identified."""
    chosen = disc.chosen_law
    if chosen is None:
        return f"no wear law was chosen: {disc.chosen_why or disc.why or 'no wear of the disc was read'}"
    return None if chosen.identified else f"no wear law is identified: {chosen.why or 'not given'}"


def _times(rate: Rate, factor: float, confidence: float) -> WearRate:
    return WearRate(rate[0] * factor, rate[1] * factor, rate[2] * factor, factor, confidence=confidence)


def _by_law(test: CompoundTest, rows: Sequence[WearInterval]) -> float | None:
    """What the compound's law gives for the stops of the test's rate, um per stop; None without a law."""
    rates = _disc_rates(test)
    if rates is None or rates.stops is None:
        return None
    counted = rates.stops
    own = [
        row.predicted_um
        for row in rows
        if row.test == test.name and counted.from_stop <= row.from_stop and row.to_stop <= counted.to_stop
    ]
    if not own or None in own or not counted.count:
        return None
    loss = float(sum(um for um in own if um is not None)) / counted.count
    return loss if loss > 0 else None


def _disc_rates(test: CompoundTest) -> Rates | None:
    disc = (test.wear.components or {}).get("disc")
    return disc.rates if disc else None


def _rate(test: CompoundTest) -> Rate | None:
    """Disc wear in um per stop after bedding, as the test ran."""
    rates = _disc_rates(test)
    rate = rates.um_per_stop if rates else None
    if rate is None or rate.value is None:
        return None
    return rate.value, rate.value if rate.low is None else rate.low, rate.value if rate.high is None else rate.high
