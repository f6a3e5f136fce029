"""A pyrometer held against conduction, a second thermocouple against the first, and what every channel was used for."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipeline.conditioning.channels_file import ChannelsFile
from pipeline.stops.further_channels import rises
from tests.stops.makers import Application, Reduction, Rig, reduce, write_test

APPS = [
    Application(pressure=p, speed=(w, 500), block=f"{p} {w} {t}", temperature=t, mu=0.42)
    for p in (20, 40) for w in (1300, 1800) for t in (120, 300, 420)
]  # fmt: skip
RING, DENSITY, HEAT_CAPACITY = np.pi / 4 * (0.312**2 - 0.220**2), 1780.0, 1200.0


def face(channels: dict[str, np.ndarray], conductivity: float, share: float) -> np.ndarray:
    """Face temperature of a half space under the brake's own flux: each sample's heat spreads by q dt / (e sqrt(pi t))
    (Carslaw and Jaeger 1959, 2.9), summed as it comes."""
    t = channels["time"] - channels["time"][0]
    flux = share * np.maximum(channels["torque"], 0.0) * channels["speed"] / (2 * RING)
    flux = np.where(channels["pressure"] > 2e5, flux, 0.0)
    dt = t[1]
    lag = (np.arange(t.size) + 0.5) * dt
    kernel = 2 / np.sqrt(np.pi) * (np.sqrt(lag + dt / 2) - np.sqrt(lag - dt / 2))
    rise = np.convolve(flux, kernel)[: t.size] / np.sqrt(conductivity * DENSITY * HEAT_CAPACITY)
    return channels["disc_temperature"][0] + rise


def with_pyrometer(
    base: Path, conductivity: float, *, stated: float | None = 20.0, read: Any = lambda kelvin: kelvin
) -> Reduction:
    """A test whose disc conducts by `conductivity` and whose card states `stated`."""

    def change(_: int, channels: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
        return channels | {"surface_temperature": read(face(channels, conductivity, 0.95))}

    folder, _ = write_test(base, APPS, Rig(), change=change, more={"surface_temperature": "K"})
    told = f", conductivity: {stated} W/(m K)" if stated is not None else ""
    card = (folder / "test.yaml").read_text(encoding="utf-8")
    numbers = (
        f"mass: 2.6 kg, thickness: 40 mm, density: {DENSITY} kg/m^3, heat_capacity: {HEAT_CAPACITY} J/(kg K){told}"
    )
    above = "  threshold_pressure: 0.4 bar\n"
    (folder / "test.yaml").write_text(card.replace(above, f"{above}  disc: {{{numbers}}}\n"), encoding="utf-8")
    return reduce(base)


def row(found: Reduction, channel: str) -> dict[str, Any]:
    return next(r for r in found.summary["channels"] if r["channel"] == channel)


def off(found: Reduction, code: str) -> list[dict[str, Any]]:
    return [f for f in found.findings if f["code"] == code]


def test_a_pyrometer_that_conduction_explains_is_silent(tmp_path: Path) -> None:
    found = with_pyrometer(tmp_path, 20.0)
    assert off(found, "face_temperature_off") == []
    said = row(found, "surface_temperature")["found"]
    ratio = float(said.split("rises by ")[1].split(" of")[0])
    assert ratio == pytest.approx(1.0, abs=0.06), said


@pytest.mark.parametrize("true", [5.0, 60.0])
def test_a_conductivity_that_the_pyrometer_refutes_is_told_with_the_one_that_would_fit(
    tmp_path: Path, true: float
) -> None:
    (finding,) = off(with_pyrometer(tmp_path, true), "face_temperature_off")
    assert finding["severity"] == "info" and finding["stop"] is None
    fitting = float(finding["message"].split("a conductivity of ")[1].split(" in place")[0])
    assert fitting == pytest.approx(true, rel=0.15)


def test_a_conductivity_that_no_card_states_is_refuted_only_far_off(tmp_path: Path) -> None:
    assert off(with_pyrometer(tmp_path, 40.0, stated=None), "face_temperature_off") == []


def second(base: Path, offset: float) -> Reduction:
    def change(_: int, channels: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
        return channels | {"disc_temperature_2": channels["disc_temperature"] + offset}

    write_test(base, APPS, Rig(), change=change, more={"disc_temperature_2": "K"})
    return reduce(base)


def test_thermocouples_that_agree_are_silent_and_those_that_do_not_are_told(tmp_path: Path) -> None:
    agreeing, apart = second(tmp_path / "a", 3.0), second(tmp_path / "b", -25.0)
    assert off(agreeing, "thermocouples_disagree") == []
    assert "+3.0 K" in row(agreeing, "disc_temperature_2")["found"]
    (finding,) = off(apart, "thermocouples_disagree")
    assert finding["channel"] == "disc_temperature_2" and "-25.0 K" in finding["message"]
    assert set(apart.stops["status"]) == {"ok"}


def test_every_channel_of_the_card_says_what_it_was_used_for(tmp_path: Path) -> None:
    def change(_: int, channels: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
        return channels | {"humidity": np.full(channels["time"].size, 0.4)}

    write_test(tmp_path, APPS, Rig(), change=change, more={"humidity": "'%'"})
    found = reduce(tmp_path)
    names = [r["channel"] for r in found.summary["channels"]]
    assert {"time", "speed", "torque", "pressure", "disc_temperature", "humidity"} <= set(names)
    assert all(r["used_for"] for r in found.summary["channels"])
    assert "no number rests on it" in row(found, "humidity")["used_for"]


@pytest.mark.parametrize("seed", range(6))
def test_rises_are_the_means_over_each_stops_own_samples(tmp_path, seed):
    """Of several stops in a recording, some so close that one's lead falls into another; of samples out of order or missing."""
    rng = np.random.default_rng(seed)
    time = np.round(np.arange(0, 40, 0.01), 3)
    if seed % 2:
        time[rng.integers(0, time.size, 300)] += 0.5
    value = 300 + rng.standard_normal(time.size)
    value[rng.integers(0, time.size, 400)] = np.nan
    number = np.where(np.arange(time.size) < 2500, 3, 7)
    samples = {"recording": number, "time": time, "surface_temperature": value}
    pl.DataFrame(samples).with_columns(pl.col("recording").cast(pl.Int32)).write_parquet(tmp_path / "c.parquet")
    start = np.sort(rng.uniform(1, 36, 9))
    stops = pl.DataFrame(
        {"stop": range(1, 10), "recording": np.where(start < 20, 3, 7), "start_s": start, "end_s": start + 2.0}
    )
    found = rises(ChannelsFile(tmp_path / "c.parquet"), "surface_temperature", stops)
    for i, (_, recording, begun, end) in enumerate(stops.iter_rows()):
        later = [s for r, s in stops.select("recording", "start_s").iter_rows() if r == recording and s > begun]
        own = (
            (number == recording)
            & np.isfinite(value)
            & (time >= begun - 0.5)
            & (time < min([*later, np.inf]) - 0.5)
            & (time <= end)
        )
        for got, part in ((found.before[i], time < begun), (found.end[i], time > end - 0.1)):
            assert got == pytest.approx(
                np.mean(value[own & part]) - 273.15 if (own & part).any() else np.nan, nan_ok=True
            )
