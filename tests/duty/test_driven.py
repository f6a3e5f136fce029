"""A duty's cooling by the log of a drive: the levels of a disc that is marched here, its thermocouple's bias, and logs that tell nothing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
import yaml

from pipeline.archive.duties import load_duty
from pipeline.duty.air import Cooled, with_moves
from pipeline.duty.cycle import Air, events_of
from pipeline.duty.driven import driven
from pipeline.duty.limits import run
from pipeline.duty.log import DrivenCycle, cycle_of
from pipeline.errors import InputError
from pipeline.heat.lumped import Disc
from pipeline.results.sources import HeatInput
from tests.duty import logs
from tests.duty.makers import brake
from tests.duty.test_log import CP, H0, H1, MASS, SHARE, VEHICLE, disc_temperature

CYCLE = ((150.0, 80.0, 2.4, 22.0), (140.0, 85.0, 2.0, 18.0), (155.0, 80.0, 2.6, 25.0))
USE = CYCLE * 6
STATED_U, SHARE_U, TRUE_SHARE = 0.10, 0.06, 1.0
OPENING = 0.7
CHANNELS = logs.channels("speed", "pressure") | {"disc_temperature": {"column": "T", "unit": "degC"}}


def duty_file(folder: Path, log: dict[str, Any] | None = None, **facts: Any) -> Path:
    """The drive's brakings as events, convection stated a fifth too large; its log beside."""
    content: dict[str, Any] = {
        "duty": "driven", "vehicle_mass": f"{VEHICLE} kg", "brake_share": SHARE, "rolling_radius": "330 mm", "length": "4 km", "cycles": 4,
        "ambient": "22 degC", "cooling": {"h0": f"{1.2 * H0} W/K", "h1": 1.2 * H1 / OPENING, "opening": 0.3},
        "events": [
            {"from": f"{first} km/h", "to": f"{last} km/h", "brake_time": f"{seconds} s", "then": f"{then} s", "at": "115 km/h"}
            for first, last, seconds, then in CYCLE
        ],
        "cooling_log": {"file": "log.csv", "opening": OPENING, "channels": CHANNELS} | (log or {}),
    }  # fmt: skip
    path = folder / "driven.yaml"
    path.write_text(yaml.safe_dump(content | facts), encoding="utf-8")
    return path


def table_of() -> tuple[logs.Drive, pl.DataFrame]:
    """A use of 18 brakings at 10 Hz, its disc once a second."""
    one = logs.drive(USE)
    table = disc_temperature(logs.samples(one, 10, seed=4), one, start_c=24.0, seed=5)
    second = pl.int_range(pl.len()) % 10 == 0
    return one, table.with_columns(T=pl.when(second).then(pl.col("T")))


@pytest.fixture(scope="module")
def drive() -> tuple[logs.Drive, pl.DataFrame]:
    return table_of()


def cycle(folder: Path, table: pl.DataFrame, uses: int = 1, bias: float = 0.0, **log: Any) -> DrivenCycle:
    parts = [table.with_columns(t=pl.col("t") + 3600.0 * k, T=pl.col("T") + bias) for k in range(uses)]
    standing = pl.DataFrame({"t": [-1.0, -0.5], "v": [0.0, 0.0], "a": [0.0, 0.0], "p": [0.4, 0.4], "T": [None, None]})
    rows = [pl.concat([standing.with_columns(t=pl.col("t") + 3600.0 * k).cast(table.schema), one,
                       standing.with_columns(t=pl.col("t") + 3600.0 * k + 1.5 + table["t"].max()).cast(table.schema)])
            for k, one in enumerate(parts)]  # fmt: skip
    pl.concat(rows).write_csv(folder / "log.csv")
    found = cycle_of(duty_file(folder, log))
    assert isinstance(found, DrivenCycle)
    return found


def stated(of: DrivenCycle, share: float = TRUE_SHARE) -> tuple[Cooled, Any]:
    """(the duty's cooling as its file has it, the brake with a heat share known to 6 %)"""
    inputs = (HeatInput(name="heat share", value=share, u=SHARE_U, source="card"),)
    known = HeatInput(name="cooling", u=STATED_U, source="the duty's file")
    facts = {"disc": Disc(MASS, CP, 0.0), "heat_share": share, "inputs": inputs, "window": (60.0, 400.0)}
    on = brake(**facts)
    air = with_moves(Air(of.cooling.h0, of.cooling.h1, of.ambient), on, STATED_U)
    return Cooled(air, "duty file", known), on


def test_the_factor_is_the_true_one_and_its_interval_holds_it(tmp_path, drive):
    of = cycle(tmp_path, drive[1], uses=2)
    base, on = stated(of)
    cooled, told = driven(of, base, on)
    assert told.used and told.uses == 2 and told.points == 34 and told.rms_k < 3.0 and told.why is None
    assert told.factor.value == pytest.approx(1 / 1.2, rel=0.03) and told.factor.low < 1 / 1.2 < told.factor.high
    assert cooled.air.h0 == pytest.approx(H0, rel=0.03) and cooled.air.h1 * OPENING == pytest.approx(H1, rel=0.03)
    assert cooled.known.u == told.u == pytest.approx(np.hypot(told.u_scatter, told.u_thermometers))
    assert "times 0.8" in cooled.source


def test_longer_logs_narrow_what_scatters_and_leave_what_the_thermocouple_misreads(tmp_path, drive):
    one, four = (driven(of, *stated(of))[1] for of in (cycle(tmp_path, drive[1], uses=n) for n in (1, 4)))
    assert four.u_scatter == pytest.approx(one.u_scatter / 2, rel=0.2)
    assert four.u_thermometers == pytest.approx(one.u_thermometers, rel=0.05) and 0.02 < four.u_thermometers < 0.04
    sure = driven(of := cycle(tmp_path, drive[1], uses=4, thermocouple="1 K"), *stated(of))[1]
    assert sure.u_thermometers < 0.9 * four.u_thermometers  # the air was not logged


def test_a_share_that_is_wrong_leaves_the_level_right(tmp_path, drive):
    """The factor makes up for it: brakings at the logged opening begin as they truly do, and hardly depend on the share any more."""
    of = cycle(tmp_path, drive[1], uses=2)
    for share in (0.9, 1.1):
        base, on = stated(of, share)
        cooled, told = driven(of, base, on)
        assert told.factor.value == pytest.approx(share / 1.2, rel=0.06) and told.by_heat_share == pytest.approx(
            1.0, abs=0.2
        )
        found = run(of, events_of(of), on, cooled.air, np.array([OPENING]), worn=False)
        truth = run(
            of, events_of(of), stated(of)[1], Air(H0, H1 / OPENING, of.ambient), np.array([OPENING]), worn=False
        )
        starts, true = (one.settled.braking[:, 0, 0] for one in (found, truth))
        assert starts == pytest.approx(true, abs=4.0)
        low, high = (node.braking[:, 0, 0] for node in found.settled.nodes["heat share"])
        assert np.abs(high - low).max() < 0.25 * (true.mean() - of.ambient) * 2 * SHARE_U * 3**0.5


@pytest.mark.parametrize("bias", [-8.0, 0.0, 8.0])
def test_a_biased_thermocouple_leaves_the_truth_inside_the_coldest_start(tmp_path, drive, bias):
    """One that reads 8 K too much has the disc warmer than it is, where a film would grow less: the lower end still holds the truth."""
    of = cycle(tmp_path, drive[1], uses=3, bias=bias)
    base, on = stated(of)
    ends = []
    for cooled in (base, driven(of, base, on)[0]):
        use = run(of, events_of(of), on, cooled.air, np.array([OPENING]), worn=False).losses.use
        ends.append((use.temperature[-1, :, 0], use.colder[-1, :, 0]))
    truth = run(of, events_of(of), on, Air(H0, H1 / OPENING, of.ambient), np.array([OPENING]), worn=False).losses.use
    (wide, wide_low), (narrow, narrow_low) = ends
    assert (narrow - narrow_low).mean() < 0.75 * (wide - wide_low).mean()
    assert (narrow_low[1:] < truth.temperature[-1, 1:, 0]).all()
    assert np.abs(narrow - truth.temperature[-1, :, 0]).max() < 4.0 + abs(bias)


def test_logs_that_tell_nothing_leave_the_cooling_as_stated(tmp_path, drive):
    _, table = drive
    few = table.filter(pl.col("t") < 100.0)
    reads_cold = table.with_columns(T=pl.col("T") - 60.0)
    no_level = table.with_columns(T=22.0 + 5 * (pl.col("T") - 22.0))
    another = table.with_columns(T=pl.when(pl.col("t") < 200).then(pl.col("T")).otherwise(100.0))
    for bad, words in (
        (few, "8 are needed"),
        (reads_cold, "no disc gets"),
        (no_level, "no cooling between"),
        (another, "not this vehicle"),
    ):
        of = cycle(tmp_path, bad)
        base, on = stated(of)
        cooled, told = driven(of, base, on)
        assert cooled is base and not told.used and words in told.why


@pytest.mark.parametrize(
    ("log", "said"),
    [
        ({"file": "none.csv"}, "is not there"),
        ({"file": "../log.csv"}, "beside the duty's file"),
        ({"opening": 1.2}, "no opening"),
        ({"channels": logs.channels("speed")}, "disc_temperature missing"),
        ({"thermocouple": "400 K"}, "thermocouple"),
    ],
)
def test_a_bad_key_is_refused_in_one_line(tmp_path, log, said):
    logs.samples(logs.drive(), 20).write_csv(tmp_path / "log.csv")
    with pytest.raises(InputError) as raised:
        load_duty(duty_file(tmp_path, log))
    assert said in str(raised.value) and "driven.yaml" in str(raised.value) and "\n" not in str(raised.value)


def test_a_log_that_cannot_be_cut_is_refused_with_both_files(tmp_path):
    logs.samples(logs.drive(), 20).with_columns(v=pl.lit(90.0), T=pl.lit(50.0)).write_csv(tmp_path / "log.csv")
    with pytest.raises(InputError, match=r"driven.yaml: log log.csv: no braking found"):
        cycle_of(duty_file(tmp_path))
