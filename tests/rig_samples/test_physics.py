"""The simulator against closed forms and against itself: what it calls truth must be true."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.heat import carbon
from rig_samples.simulator import Brake, Change, Material, Rig, Sensors, Surface, simulate, stop_at
from rig_samples.simulator.brake import RPM
from rig_samples.simulator.braking import KELVIN, Application, Demand, brake_once
from rig_samples.simulator.coarse import coarse_once, coarse_truth
from rig_samples.simulator.curve import friction_curve
from rig_samples.simulator.disc import (
    STEFAN_BOLTZMANN,
    Disc,
    carbon_heat_capacity,
    cooldown,
    enthalpy,
    heat_loss,
    step_factors,
)
from rig_samples.simulator.dwell import dwell
from rig_samples.simulator.material import MARRAM_4, aged, friction, oxidation_um_s
from rig_samples.simulator.play import disc_of
from rig_samples.simulator.program import Block
from rig_samples.simulator.truth import stop_truth

BRAKE, RIG = Brake(), Rig()
DISC = disc_of(BRAKE, MARRAM_4)
BEDDED = Surface(bedding=1.0)


def application(
    demand: Demand, rig: Rig = RIG, initial_c: float = 300.0, seed: int = 3, material: Material = MARRAM_4
) -> Application:
    return brake_once(demand, BEDDED, initial_c + KELVIN, material, BRAKE, rig, DISC, 1.0, np.random.default_rng(seed))


@pytest.mark.published(
    "the samples' simulator: heat capacity of carbon",
    source="Butland and Maddison 1973 as the NIST WebBook prints it; JANAF (from memory)",
    origin="published",
)
def test_heat_capacity_of_carbon_is_the_published_one() -> None:
    """Butland and Maddison 1973 as printed in the NIST WebBook: 8.6186 J/(mol K) at 300 K (the formula lies
    0.7 % under it); JANAF, from memory: 21.610 at 1000 K."""
    mol = 12.011e-3
    assert carbon_heat_capacity(300.0) * mol == pytest.approx(8.6186, rel=0.007)
    assert carbon_heat_capacity(1000.0) * mol == pytest.approx(21.610, rel=0.004)


def test_heat_capacity_agrees_with_the_pipelines_own() -> None:
    """Written apart on purpose: a slip in one would show."""
    kelvin = np.linspace(260.0, 2000.0, 100)
    assert carbon_heat_capacity(kelvin) == pytest.approx(carbon.heat_capacity(kelvin), rel=2e-4)


def surface_rise(disc: Disc, kelvin: float, flux: np.ndarray, dt: float) -> np.ndarray:
    """Surface over bulk plus bulk over start, under a flux per step, rho c held at `kelvin`."""
    decay, gain, rest = step_factors(disc, kelvin, dt)
    modes, bulk, out = np.zeros(len(decay)), 0.0, []
    heat = disc.density * float(carbon_heat_capacity(kelvin)) * disc.thickness / 2.0
    for q in flux:
        bulk += q * dt / heat
        modes = modes * decay + gain * q
        out.append(bulk + modes.sum() + rest * q)
    return np.array(out)


@pytest.mark.published(
    "the samples' simulator: face of a thick disc", source="Carslaw and Jaeger 1959, 2.9", origin="closed form"
)
def test_surface_under_falling_flux_is_that_of_a_half_space_while_the_disc_is_thick() -> None:
    """Carslaw and Jaeger 1959, sec. 2.9: q0 (1 - t/ts) gives 2 q0 / sqrt(pi k rho c) sqrt(t) (1 - 2 t / (3 ts)).

    Over 1 s heat reaches sqrt(4 alpha t) = 7 mm; a half-thickness of 25 mm is thick.
    """
    disc, kelvin, q0, ts, dt = replace(DISC, thickness=0.05), 600.0, 2e6, 1.0, 0.005
    t = np.arange(1, 181) * dt
    effusivity = np.sqrt(disc.conductivity * disc.density * float(carbon_heat_capacity(kelvin)))
    expected = 2 * q0 / (np.sqrt(np.pi) * effusivity) * np.sqrt(t) * (1 - 2 * t / (3 * ts))
    rise = surface_rise(disc, kelvin, q0 * (1 - (t - dt / 2) / ts), dt)
    assert rise[40:] == pytest.approx(expected[40:], rel=0.01)


def test_disc_evens_out_to_the_heat_it_took() -> None:
    flux = np.concatenate([np.full(100, 1e6), np.zeros(3000)])
    rise = surface_rise(DISC, 600.0, flux, 0.01)
    adiabatic = 1e6 / (DISC.density * float(carbon_heat_capacity(600.0)) * DISC.thickness / 2.0)
    assert rise[-1] == pytest.approx(adiabatic, rel=1e-6)


def test_cooldown_is_newtons_where_radiation_and_heat_capacity_stand_still() -> None:
    """Close to ambient the excess falls as exp(-t / tau), tau = m c / (hA + 4 eps sigma A T^3)."""
    curve, ambient = cooldown(DISC), DISC.ambient
    slope = DISC.loss_w_k + 4 * DISC.emissivity * STEFAN_BOLTZMANN * DISC.cooled_area * ambient**3
    tau = DISC.mass * float(carbon_heat_capacity(ambient)) / slope
    fell = curve.after(ambient + 4.0, 60.0) - ambient
    assert fell == pytest.approx(4.0 * np.exp(-60.0 / tau), rel=0.02)


def test_cooldown_keeps_account_of_heat() -> None:
    """Heat lost over the curve by the rate of loss equals the change of enthalpy."""
    curve = cooldown(DISC)
    seconds = np.linspace(0.0, 120.0, 4001)
    kelvin = curve.after(900.0, seconds)
    lost = np.trapezoid([heat_loss(DISC, t) for t in kelvin], seconds)
    assert lost == pytest.approx(DISC.mass * float(enthalpy(900.0) - enthalpy(kelvin[-1])), rel=1e-3)


SNUB = Demand("snub", 1450 * RPM, 850 * RPM)


@pytest.mark.parametrize(
    "demand",
    [
        SNUB,
        Demand("snub", 1900 * RPM, 700 * RPM, level=55.0),
        Demand("stop", 1000 * RPM, 0.0),
        Demand("snub", 1450 * RPM, 500 * RPM, control="torque", level=700.0),
        Demand("snub", 1450 * RPM, 500 * RPM, control="deceleration", level=5.0),
        Demand("snub", 1450 * RPM, 500 * RPM, abort_after=0.9),
    ],
    ids=["snub", "hard snub", "stop", "torque", "deceleration", "aborted"],
)
def test_work_of_brake_and_drag_is_the_kinetic_energy(demand: Demand) -> None:
    signals = (done := application(demand)).signals
    start = int(np.searchsorted(signals["time_s"], 0.0))
    part = slice(start, done.release + 1)
    speed = signals["speed_rpm"][part] * RPM
    work = np.trapezoid(signals["torque_nm"][part] * speed) * 0.01
    assert work == pytest.approx(RIG.inertia * (speed[0] ** 2 - speed[-1] ** 2) / 2.0, rel=5e-4)


def test_simulated_inertia_closes_with_the_drives_work() -> None:
    """I_mech (w1^2 - w2^2) / 2 + integral(T_drive w dt), and the shaft slows as with the whole inertia."""
    rig = replace(RIG, inertia_mechanical=18.0)
    with_drive, without = application(SNUB, rig), application(SNUB)
    signals = with_drive.signals
    start = int(np.searchsorted(signals["time_s"], 0.0))
    part = slice(start, with_drive.release + 1)
    speed = signals["speed_rpm"][part] * RPM
    work = np.trapezoid(signals["torque_nm"][part] * speed) * 0.01
    drive = np.trapezoid(signals["drive_torque_nm"][part] * speed) * 0.01
    assert work == pytest.approx(18.0 * (speed[0] ** 2 - speed[-1] ** 2) / 2.0 + drive, rel=5e-4)
    assert np.array_equal(signals["speed_rpm"], without.signals["speed_rpm"])


def test_drag_holds_speed_and_lasts_as_long_as_asked() -> None:
    demand = Demand("drag", 700 * RPM, 700 * RPM, level=12.0, duration=6.0)
    done = application(demand)
    assert np.ptp(done.signals["speed_rpm"]) == 0.0
    assert stop_truth(done, demand, BRAKE, RIG)["duration_s"] == pytest.approx(6.0, abs=0.02)
    assert stop_truth(done, demand, BRAKE, RIG)["kinetic_energy_kj"] is None


def test_torque_control_holds_the_torque_while_friction_changes() -> None:
    demand = Demand("snub", 1450 * RPM, 500 * RPM, control="torque", level=400.0)
    quiet = replace(RIG, flutter=0.0, ripple=(0.0, 0.0))
    done = application(demand, quiet, initial_c=120.0)
    torque, pressure = done.signals["brake_torque_nm"], done.signals["pressure_bar"]
    inside = slice(260, done.release)  # the line's lag shows while friction climbs, not later
    assert torque[inside] == pytest.approx(400.0, rel=0.01)
    assert pressure[130 : done.release].max() / pressure[inside].min() > 1.8, "the rise shows in the pressure"


@pytest.mark.parametrize("share", [1.0, 0.9])
def test_heat_of_the_disc_is_its_share_of_the_friction_work_less_what_it_lost(share: float) -> None:
    done = application(SNUB, material=MARRAM_4.varied(heat_share=share))
    gained = DISC.mass * float(enthalpy(done.disc_k) - enthalpy(300.0 + KELVIN))
    lost = np.sum([heat_loss(DISC, t + KELVIN) for t in done.signals["surface_c"][100:]]) * 0.01
    assert gained + lost == pytest.approx(share * done.friction_work, rel=0.01)


def test_cold_stop_rises_within_the_stop_and_its_averages_part() -> None:
    cold, warm = stop_at(MARRAM_4, 100.0), stop_at(MARRAM_4, 300.0)
    assert cold["mu_end_over_start"] > 2.0
    assert cold["mu_distance"] < cold["mu_time"] < cold["mu_energy"]
    assert warm["mu_distance"] == pytest.approx(warm["mu_energy"], abs=0.004)


def test_friction_rises_abruptly_with_temperature_and_eases_when_very_hot() -> None:
    mu = dict(zip((60, 120, 180, 300, 560, 660), friction_curve(
        MARRAM_4, np.array([60.0, 120.0, 180.0, 300.0, 560.0, 660.0])), strict=True))  # fmt: skip
    assert mu[60] < 0.2 and mu[120] < 0.35 and mu[180] > 0.43
    assert 0.4 < mu[300] < 0.5
    assert mu[660] < 0.85 * mu[560]


def test_glaze_grows_cold_and_gentle_only_and_clears_hot_and_hard_only() -> None:
    def after(state: Surface, face_c: float, power_w: float) -> float:
        for _ in range(200):
            state = aged(MARRAM_4, state, face_c, power_w, 1.0, BRAKE.ring_area)
        return state.glaze

    gentle, hard = 0.1e6 * 2 * BRAKE.ring_area, 2.5e6 * 2 * BRAKE.ring_area
    assert after(Surface(), 120.0, gentle) > 0.1
    assert after(Surface(), 450.0, gentle) < 1e-4
    assert after(Surface(), 120.0, hard) < 1e-4
    assert after(Surface(glaze=0.8), 700.0, hard) < 0.05
    assert after(Surface(glaze=0.8), 700.0, gentle) == pytest.approx(0.8, abs=1e-6)


def test_moisture_lowers_cold_friction_and_leaves_hot_friction_alone() -> None:
    wet, dry = Surface(moisture=1.0, bedding=1.0), BEDDED
    assert friction(MARRAM_4, wet, 60.0, 25.0, 15.0) < 0.85 * friction(MARRAM_4, dry, 60.0, 25.0, 15.0)
    assert friction(MARRAM_4, wet, 400.0, 25.0, 15.0) == pytest.approx(
        friction(MARRAM_4, dry, 400.0, 25.0, 15.0), rel=1e-4
    )


@pytest.mark.parametrize("initial_c", [60.0, 300.0, 560.0])
def test_few_steps_agree_with_the_recording(initial_c: float) -> None:
    quiet, material = replace(RIG, flutter=0.0, ripple=(0.0, 0.0)), MARRAM_4.varied(heat_share=0.93)
    rng = np.random.default_rng(0)
    done = coarse_once(SNUB, BEDDED, initial_c + KELVIN, material, BRAKE, quiet, DISC, 1.0, rng)
    recorded = application(SNUB, quiet, initial_c, material=material)
    few, fine = coarse_truth(done, SNUB, quiet), stop_truth(recorded, SNUB, BRAKE, quiet)
    assert few["mu_distance"] == pytest.approx(fine["mu_distance"], abs=0.006)
    # a recording ends with the first sample below the end speed, up to 0.4 % more energy
    assert few["energy_kj"] == pytest.approx(fine["energy_kj"], rel=0.004)
    assert few["temperature_end_c"] == pytest.approx(fine["temperature_end_c"], abs=1.0)


def test_sensor_changes_touch_their_channel_from_their_stop_on() -> None:
    program = [Block("map", "map", 4)]
    plain = simulate(program, Material(), seed=4).samples
    faulty = simulate(
        program,
        Material(),
        seed=4,
        sensors=Sensors(torque_gain_change=Change(from_stop=3, step=0.05), pressure_offset_change=Change(2, 0.5)),
    ).samples
    ratio = (faulty["torque_nm"] - 8.0).to_numpy() / (plain["torque_nm"] - 8.0).to_numpy()
    loaded = plain["pressure_bar"].to_numpy() > 20.0
    recording = plain["recording"].to_numpy()
    assert np.median(ratio[loaded & (recording == 2)]) == 1.0
    assert np.median(ratio[loaded & (recording == 3)]) == pytest.approx(1.05, abs=0.002)
    shift = (faulty["pressure_bar"] - plain["pressure_bar"]).to_numpy()
    assert shift == pytest.approx(np.where(recording >= 2, 0.5, 0.0), abs=1e-9)


def test_lag_shifts_torque_against_pressure() -> None:
    program = [Block("map", "map", 1)]
    quiet = replace(RIG, flutter=0.0, ripple=(0.0, 0.0))
    none = Sensors(torque_noise_nm=0.0, torque_wander_nm=0.0, torque_lag_s=0.0)
    late = replace(none, torque_lag_s=0.06)
    a = simulate(program, Material(), seed=1, rig=quiet, sensors=none).samples["torque_nm"].to_numpy()
    b = simulate(program, Material(), seed=1, rig=quiet, sensors=late).samples["torque_nm"].to_numpy()
    assert b[6:] == pytest.approx(a[:-6], abs=1e-6)


def test_oxidation_of_a_long_pause_is_that_of_its_cooling() -> None:
    """A disc left at 1000 K for five hours: against the integral over the cool-down in steps of 0.1 s."""
    pause = dwell(1000.0, np.zeros(14), 0.0, DISC, MARRAM_4, RIG, None, None, 18000.0)
    fine = np.arange(0.0, 3000.0, 0.1)
    rate = [oxidation_um_s(MARRAM_4, t) for t in cooldown(DISC).after(1000.0, fine).tolist()]
    assert pause.oxidation_um == pytest.approx(np.trapezoid(rate, fine), rel=0.005)
    assert pause.disc_k == pytest.approx(DISC.ambient, abs=0.5)


def test_moisture_comes_back_in_a_long_pause_and_goes_when_the_disc_is_heated() -> None:
    still = np.zeros(14)
    left = dwell(500.0, still, 0.0, DISC, MARRAM_4, RIG, None, None, 5 * 3600.0)
    assert left.moisture == pytest.approx(RIG.humidity * (1.0 - np.exp(-5 * 3600.0 / RIG.moisture_time)), rel=0.05)
    heated = dwell(500.0, still, 0.0, DISC, MARRAM_4, RIG, 300.0 + KELVIN, None, 5 * 3600.0)
    assert heated.moisture < 0.7 * left.moisture
    assert heated.falling_k_s == 0.0 < dwell(700.0, still, 0.0, DISC, MARRAM_4, RIG, 600.0).falling_k_s
