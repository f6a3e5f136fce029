"""What planning takes of an archive: the results of a compound under a method, read, and the scatter in them.

The components of variance are those of the laboratory's precision where it tells them (`precision.json`), else those of
the compound's own batch comparison (`batches.json`), whose specimens hold their occasions and days in them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import accumulate
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.archive.duties import DutyCycle
from pipeline.archive.targets import Target
from pipeline.batches import margins
from pipeline.compound.stage import stops_of
from pipeline.compound.tests_of import CompoundTest, load_tests
from pipeline.constants import Array
from pipeline.duty.log import cycle_of
from pipeline.errors import InputError
from pipeline.friction.compound import sound_stops
from pipeline.friction.map import FrictionMap, NoMap, fit_map
from pipeline.friction.wanted import Wanted
from pipeline.inputs.model import load
from pipeline.method import Method
from pipeline.planning.components import Component, Quantity, Scatter, Stops
from pipeline.results.batches import CompoundBatches
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.model import read, read_or_none
from pipeline.results.precision import Of, RigPrecision
from pipeline.results.repeatability import Repeatability
from pipeline.results.wear import CompoundWear
from pipeline.wording import counted

READ = {
    "mu": "check stop (nor map stop)",
    "bite": "map or check stop at the conditions in which the archive's batches compare bite",
    "wear": "pair of readings",
}


@dataclass(frozen=True)
class Archive:
    """A compound of an archive under one method; `targets_why` says why a target is not taken."""

    compound: str
    method_name: str
    method: Method
    tests: tuple[CompoundTest, ...]
    friction: CompoundFriction
    wear: CompoundWear
    batches: CompoundBatches
    repeatability: Repeatability
    precision: RigPrecision | None
    target: Target | None
    duties: tuple[DutyCycle, ...]
    against: str | None = None  # batch that a planned one is compared with; None: the last one

    @property
    def other_batch(self) -> str:
        """The batch that a planned one is compared with: the one asked for, else that of the latest test."""
        return self.against or max(self.tests, key=lambda t: (t.card.date, t.name)).card.batch

    @property
    def template(self) -> CompoundTest:
        """The latest test that read wear, else the latest: its program is the usual one."""
        return max(self.tests, key=lambda t: (t.card.wear is not None, t.card.date, t.name))

    @property
    def read_after(self) -> tuple[str, ...] | None:
        """Blocks of the template after which its disc was read; None where its readings do not end blocks."""
        part = (self.template.wear.components or {}).get("disc")
        blocks = self.template.card.blocks
        ends = dict(zip(accumulate(block.stops for block in blocks), (block.name for block in blocks), strict=True))
        read = {interval.to_stop for interval in part.intervals} if part else set()
        return tuple(name for end, name in ends.items() if end in read) or None

    def specimens(self, quantity: Quantity) -> dict[str, int]:
        """Specimens with a value, by batch."""
        found: dict[str, int] = {}
        for one in self.batches.specimen_values.get(quantity, []):
            if one.value is not None:
                found[one.batch] = found.get(one.batch, 0) + 1
        return found

    def margin(self, quantity: Quantity) -> tuple[float, float] | None:
        """Margin of a difference (wear: of its logarithm) as the comparison takes it from the target."""
        mu, bite = (_values(self, q) for q in ("mu", "bite"))
        found = margins.ends(margins.of_target(self.target, mu, bite)[quantity])
        return margins.logged(found) if quantity == "wear" else found

    @property
    def hours_per_test(self) -> float | None:
        """Hours from a test's first stop to its last, pauses included."""
        pace = self.precision.pace if self.precision else []
        own = [p for p in pace if p.compound == self.compound and p.purpose is None]
        return next((p.hours_per_test for p in own if p.hours_per_test is not None), None)

    def state_u(self, quantity: Quantity) -> float:
        """Standard uncertainty that another state of the rig adds to a difference of two batches, as the comparison adds
        it: torque and pressure calibrated anew, once for each batch."""
        relative = max((t.sensor_u or 0.0 for t in self.tests), default=0.0)
        return 0.0 if quantity == "wear" else math.sqrt(2) * relative * _level(self, quantity)

    @property
    def wanted(self) -> Wanted:
        """What the target asks of friction."""
        target = self.target
        return Wanted() if target is None else Wanted(target.mu, target.temperature_window)

    @property
    def bite_at(self) -> tuple[float, float, float] | None:
        """Temperature (degC), pressure (bar) and start speed (rpm) at which bite is compared."""
        at = self.batches.conditions.bite if self.batches.conditions else None
        return None if at is None else (at.temperature_c, at.pressure_bar, at.speed_rpm)

    def scatter(self, quantity: Quantity) -> Scatter | str:
        """The quantity's scatter, or why the archive does not tell it."""
        specimens = self.specimens(quantity)
        if not specimens:
            return f"no specimen of the archive has a value of {quantity}"
        found = _by_precision(self, quantity, specimens) or _by_batches(self, quantity, specimens)
        if found is None:
            return (
                f"{_numbers(specimens)}, none of which has two: the scatter "
                "between specimens is not known; run a second specimen of a batch"
            )
        return found


def _numbers(specimens: Mapping[str, int]) -> str:
    return f"{counted(sum(specimens.values()), 'specimen')} in {counted(len(specimens), 'batch')}"


def archive_map(archive: Archive) -> FrictionMap | None:
    """The friction map of the last batch, in the form that the compound's results chose; of the whole compound where
    that batch has one specimen only. None where the results hold no curve, or the stops carry no map."""
    model = archive.friction.model
    if not archive.friction.curve or model is None:
        return None
    own = [test for test in archive.tests if test.card.batch == archive.other_batch]
    tests = own if len({test.card.specimen for test in own}) > 1 else list(archive.tests)
    stops = pl.concat(
        [sound_stops(test, archive.method)[0] for test in stops_of(tests) if not test.stops.is_empty()],
        how="diagonal_relaxed",
    )
    try:
        return fit_map(
            stops, archive.method.friction, temperature=archive.method.reduction.temperature,
            link="log" if model.effects == "multiply mu" else "identity", energy_form=model.energy_form,
            interaction=model.interacts, cells=True,
        )  # fmt: skip
    except NoMap:
        return None


def _values(archive: Archive, quantity: Quantity) -> Array:
    """The specimens' values, as batches.json gives them."""
    rows = archive.batches.specimen_values.get(quantity, [])
    return np.array([one.value for one in rows if one.value is not None], float)


def _level(archive: Archive, quantity: Quantity) -> float:
    values = _values(archive, quantity)
    return float(np.mean(np.log(values) if quantity == "wear" else values))


def _by_precision(archive: Archive, quantity: Quantity, specimens: dict[str, int]) -> Scatter | None:
    """By the laboratory's components: relative, so that friction's are multiplied by its level."""
    found = archive.precision
    of: Of | None = None if found is None else found.of(quantity, archive.compound) or found.of(quantity)
    if found is None or of is None:
        return None
    specimen, stop, block = (
        found.component(kind, quantity, archive.compound) for kind in ("specimen", "stop", "occasion")
    )
    if specimen.value is None:
        return None
    level = _level(archive, quantity)
    scale = 1.0 if quantity == "wear" else level
    low, high = (None if end is None else end * scale for end in (specimen.low, specimen.high))
    source = f"precision.json: {counted(of.specimens, 'specimen')} in {counted(of.batches, 'batch')}{'' if of.compound else ' of all compounds'}"
    over_all = found.of(quantity)
    every = over_all.components.get("specimen") if of.compound and over_all is not None else None
    if (
        every is not None
        and every.value is not None
        and every.high is not None
        and (every.df or 0) > (specimen.df or 0)
    ):
        source += f"; over all compounds {every.value:.2g} ({every.low or 0:.2g} to {every.high:.2g}) of the level"
    stops = Stops((stop.value or 0.0) * scale, of.autocorrelation or 0.0, (block.value or 0.0) * scale)
    if not stops.sd:
        stops = _stops_of_batches(archive, quantity)
    own = Component(specimen.value * scale, low, high, specimen.df or 0.0, source)
    return Scatter(quantity, level, own, stops, specimens, READ[quantity])


def _by_batches(archive: Archive, quantity: Quantity, specimens: dict[str, int]) -> Scatter | None:
    """By the compound's own comparison: the scatter of specimens' values less that of the values themselves."""
    found = archive.batches.specimen_scatter.get(quantity)
    if found is None or found.value is None:
        return None
    own_u = [one.u for one in archive.batches.specimen_values[quantity] if one.u is not None]
    u2 = sum(u**2 for u in own_u) / max(len(own_u), 1)
    low, high = (None if end is None else math.sqrt(max(end**2 - u2, 0.0)) for end in (found.low, found.high))
    source = f"batches.json: {_numbers(specimens)}"
    own = Component(found.between, low, high, found.df, source)
    stops = _stops_of_batches(archive, quantity)
    return Scatter(quantity, _level(archive, quantity), own, stops, specimens, READ[quantity])


def _stops_of_batches(archive: Archive, quantity: Quantity) -> Stops:
    """Scatter of a stop from the uncertainty of the specimens' values and the number of stops behind them."""
    rows = [(one.u, one.n) for one in archive.batches.specimen_values[quantity] if one.u is not None]
    if not rows:
        return Stops(0.0)
    sd = float(np.median([u * math.sqrt((n or 1) if quantity != "wear" else 1) for u, n in rows]))
    if quantity != "mu":
        return Stops(sd)
    pooled = archive.repeatability
    return Stops(sd, pooled.autocorrelation or 0.0, (pooled.block_sigma or 0.0) * _level(archive, quantity))


def read_archive(
    *,
    results: Path,
    archive: Path,
    compound: str,
    folder: str,
    tests: list[str],
    method: tuple[str, Method],
    target: Path | None,
    duties: list[Path],
) -> Archive:
    """The compound's results under a method; `folder` is what its results are called. Raises InputError where they are
    not there or hold nothing."""
    name, settings = method
    place = results / name / "compounds" / folder
    wanted = [place / file for file in ("friction.json", "wear.json", "batches.json", "repeatability.json")]
    lacking = [path for path in wanted if not path.is_file()]
    if lacking:
        raise InputError(f"{lacking[0]}: no such results; run stopsheet run with this config first")
    try:
        usable, left_out, _ = load_tests(archive, tests, results / name)
    except FileNotFoundError as error:
        raise InputError(f"{error.filename}: no such results; run stopsheet run with this config again") from error
    if not usable:
        why = next(iter(left_out.values()), "it has no test")
        raise InputError(f"{compound}: no usable test of it in the archive: {why}")
    return Archive(
        compound=compound,
        method_name=name,
        method=settings,
        tests=tuple(usable),
        friction=read(wanted[0], CompoundFriction),
        wear=read(wanted[1], CompoundWear),
        batches=read(wanted[2], CompoundBatches),
        repeatability=read(wanted[3], Repeatability),
        precision=read_or_none(results / name / "precision.json", RigPrecision),
        target=load(target, Target) if target else None,
        duties=tuple(cycle_of(path) for path in duties),
    )
