"""Friction, surface state and wear of an invented carbon-carbon compound.

Friction follows the temperature of the rubbing surface. Below a transition the water held by the
surface keeps it low, above it is high, and far above it eases again. It is the face itself that counts: it runs 100 K and more ahead of the disc
within a stop, so the stop's mean rises where the disc starts between about 100 and 180 degC:

    mu = [mu_cold (1 - soak m) + (mu_hot - mu_cold (1 - soak m)) S((T - T_t - shift m) / w_t)]
         [1 + easing S((T - T_e) / w_e)] [1 + k_p ln(p / p_ref)] [1 + k_v ln(v / v_ref)]
         [1 - kappa g] [1 - green (1 - b)]

with S the logistic function, m the moisture taken up in long pauses, g the glaze and b the bedding,
each between 0 and 1. The abrupt rise between 150 and 200 degC is that of carbon in ambient air
(Yen and Ishihara, Carbon 34, 1996, p. 489); every number here is invented.

Glaze grows with energy per area where the surface is cold and the power low, and is worn off where it
is hot and the power high. Wear is mechanical, in proportion to the friction work, plus oxidation by an
Arrhenius law of the surface temperature, which runs on while the hot disc is not being braked. Pads wear by
the friction work alone: the heat that they take has no temperature here.
"""

from dataclasses import dataclass, replace
from math import exp, log

GAS_CONSTANT = 8.314462618  # J/(mol K), CODATA 2018
OXIDATION_REFERENCE_K = 873.15
DRYING_TIME, DRYING_C, DRYING_WIDTH_C = 3.0, 170.0, 15.0  # s, degC: how a hot face loses its moisture


@dataclass(frozen=True)
class Material:
    """What a compound is; temperatures in degC, pressure in bar, flux in MW/m2 of one ring face."""

    name: str = "Marram 4"
    density_kg_m3: float = 1780.0
    conductivity_w_mk: float = 30.0
    heat_share: float = 1.0  # of the friction work into the disc; pads and air take the rest
    mu_cold: float = 0.155
    mu_hot: float = 0.47
    transition_c: float = 226.0
    transition_width_c: float = 11.0
    moisture_soak: float = 0.20
    moisture_shift_c: float = 25.0
    easing: float = -0.40
    easing_c: float = 770.0
    easing_width_c: float = 12.0
    pressure_slope: float = -0.035
    pressure_reference_bar: float = 25.0
    speed_slope: float = -0.045
    speed_reference_mps: float = 15.0
    green: float = 0.18
    bedding_mj_m2: float = 18.0
    glaze_loss: float = 0.26
    glaze_growth: float = 0.0095
    glaze_growth_c: float = 235.0
    glaze_growth_width_c: float = 15.0
    glaze_growth_flux: float = 0.25
    glaze_removal: float = 0.022
    glaze_removal_c: float = 450.0
    glaze_removal_width_c: float = 30.0
    glaze_removal_flux: float = 1.75
    glaze_flux_width: float = 0.035
    disc_wear_um_mj: float = 7.0  # both faces together, per MJ of the brake's friction work
    pad_wear_um_mj: float = 15.0  # one pad, per MJ of the brake's friction work
    oxidation_um_s: float = 0.05  # disc, both faces, at 600 degC
    oxidation_energy_j_mol: float = 150e3
    internal_oxidation: float = 0.25  # mass lost inside the disc over the mass oxidised off its faces

    def varied(self, **changes: float | str) -> "Material":
        """The same compound with some properties changed (a batch, a specimen)."""
        return replace(self, **changes)  # type: ignore[arg-type]

    def scaled(self, friction: float = 1.0, wear: float = 1.0) -> "Material":
        """Hot friction and mechanical wear multiplied: what sets specimens of a batch apart."""
        return replace(
            self,
            mu_hot=self.mu_hot * friction,
            mu_cold=self.mu_cold * friction,
            disc_wear_um_mj=self.disc_wear_um_mj * wear,
            pad_wear_um_mj=self.pad_wear_um_mj * wear,
        )


@dataclass(frozen=True, slots=True)
class Surface:
    """State of the rubbing surface, each share between 0 and 1."""

    glaze: float = 0.0
    moisture: float = 0.0
    bedding: float = 0.0


def logistic(x: float) -> float:
    """1 / (1 + exp(-x)), safe for any x."""
    if x > 40.0:
        return 1.0
    if x < -40.0:
        return 0.0
    return 1.0 / (1.0 + exp(-x))


def friction(m: Material, state: Surface, face_c: float, pressure_bar: float, sliding_mps: float) -> float:
    """Friction coefficient at one instant."""
    cold = m.mu_cold * (1.0 - m.moisture_soak * state.moisture)
    onset = m.transition_c + m.moisture_shift_c * state.moisture
    mu = cold + (m.mu_hot - cold) * logistic((face_c - onset) / m.transition_width_c)
    mu *= 1.0 + m.easing * logistic((face_c - m.easing_c) / m.easing_width_c)
    mu *= 1.0 + m.pressure_slope * log(max(pressure_bar, 1.0) / m.pressure_reference_bar)
    mu *= 1.0 + m.speed_slope * log(max(sliding_mps, 0.5) / m.speed_reference_mps)
    return mu * (1.0 - m.glaze_loss * state.glaze) * (1.0 - m.green * (1.0 - state.bedding))


def glaze_rate(m: Material, glaze: float, surface_c: float, flux_mw_m2: float) -> float:
    """Change of the glaze per MJ/m2 of friction work on one face of the ring."""
    cold = logistic((m.glaze_growth_c - surface_c) / m.glaze_growth_width_c)
    gentle = logistic((m.glaze_growth_flux - flux_mw_m2) / m.glaze_flux_width)
    hot = logistic((surface_c - m.glaze_removal_c) / m.glaze_removal_width_c)
    hard = logistic((flux_mw_m2 - m.glaze_removal_flux) / m.glaze_flux_width)
    return m.glaze_growth * (1.0 - glaze) * cold * gentle - m.glaze_removal * glaze * hot * hard


def aged(m: Material, state: Surface, face_c: float, power_w: float, dt: float, ring_area: float) -> Surface:
    """The surface after `dt` seconds of friction power on both faces of a ring of `ring_area` m2 each."""
    flux = power_w * 1e-6 / (2.0 * ring_area)
    glaze = state.glaze + glaze_rate(m, state.glaze, face_c, flux) * flux * dt
    bedding = 1.0 - (1.0 - state.bedding) * exp(-flux * dt / m.bedding_mj_m2)
    drying = logistic((face_c - DRYING_C) / DRYING_WIDTH_C) / DRYING_TIME
    return Surface(min(max(glaze, 0.0), 1.0), state.moisture * exp(-dt * drying), bedding)


def oxidation_um_s(m: Material, surface_k: float) -> float:
    """Thickness the disc loses by oxidation, both faces together, at a surface temperature in K."""
    return m.oxidation_um_s * exp(
        -m.oxidation_energy_j_mol / GAS_CONSTANT * (1.0 / surface_k - 1.0 / OXIDATION_REFERENCE_K)
    )


MARRAM_4 = Material()
MARRAM_6 = Material(
    name="Marram 6",
    mu_cold=0.165,
    mu_hot=0.435,
    transition_c=212.0,
    transition_width_c=13.0,
    easing=-0.28,
    easing_c=800.0,
    easing_width_c=22.0,
    pressure_slope=-0.03,
    disc_wear_um_mj=5.6,
    pad_wear_um_mj=12.5,
    oxidation_um_s=0.036,
    oxidation_energy_j_mol=158e3,
    conductivity_w_mk=32.0,
    density_kg_m3=1810.0,
)
