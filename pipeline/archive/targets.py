"""What a compound must meet: targets/<compound>.yaml. Bands of mu are plain numbers, temperatures in K, wear in m."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BeforeValidator, field_validator, model_validator

from pipeline.constants import ZERO_C
from pipeline.errors import Unfit
from pipeline.inputs.model import Model
from pipeline.inputs.quantities import EnergyDensity, Length, Pressure, Temperature, to_si
from pipeline.inputs.scalars import Fraction, Number, Text, as_fraction, as_number


def _positive_number(value: float) -> float:
    if value <= 0:
        raise Unfit(f"{value} must be above zero", "a number above zero", "correct the number")
    return value


PositiveNumber = Annotated[Number, BeforeValidator(lambda v: _positive_number(float(v)))]


def _possible_mu(value: Any) -> float:
    number = _positive_number(float(value))
    if number > LARGEST_MU:
        raise Unfit(f"{number:g} is no friction coefficient", f"above 0 to {LARGEST_MU:g}", "correct the number")
    return number


LARGEST_MU = 2.0
Mu = Annotated[Number, BeforeValidator(lambda v: _possible_mu(as_number(v)))]
Decision = Literal["shared_risk", "guard_band"]
SAFER: Decision = "guard_band"  # where the target states no rule: the risk of a wrong "met" is then the smaller one


@dataclass(frozen=True)
class Margin:
    """A margin of a friction coefficient: absolute, or a share of the level compared."""

    value: float
    relative: bool

    def at(self, level: float) -> float:
        """The margin in mu at a level of mu."""
        return self.value * abs(level) if self.relative else self.value


def _margin(value: Any) -> Margin:
    if isinstance(value, Margin):
        return value
    if isinstance(value, str) and value.strip().endswith("%"):
        return Margin(as_fraction(value), relative=True)
    number = as_number(value)
    if isinstance(number, bool) or not isinstance(number, int | float | str):
        raise Unfit(
            f"{str(value)[:60]!r} is no margin",
            "a number of mu such as 0.02, or a share such as 8 %",
            "write one of the two",
        )
    return Margin(_positive_number(to_si(float(number), "share")), relative=False)


class At(Model):
    """Conditions of the window asked for, where the reference's are not meant."""

    bounds: ClassVar = {"pressure": ("0 bar", "2000 bar"), "energy_density": ("0 J/mm^2", "1000 J/mm^2")}
    pressure: Pressure
    energy_density: EnergyDensity

    @field_validator("pressure", "energy_density")
    @classmethod
    def _above_zero(cls, value: float) -> float:
        return _positive_number(value)


class Target(Model):
    stand_in: ClassVar = {"compound": "-", "at": {"pressure": "40 bar", "energy_density": "10 J/mm^2"}}
    bounds: ClassVar = {"temperature_window": ("-60 degC", "2000 degC"), "disc_wear": ("0.0001 um", "1 mm")}
    compound: Text
    temperature_window: tuple[Temperature, Temperature] | None = None
    mu: tuple[Mu, Mu] | None = None
    at: At | None = None
    mu_batch_margin: Mu | None = None
    bite_margin: Annotated[Margin, BeforeValidator(_margin)] | None = None
    disc_wear: Length | None = None  # per stop per face
    wear_batch_ratio: tuple[PositiveNumber, PositiveNumber] | None = None
    glazing_loss: Fraction = 0.05  # largest loss of mu accepted over one use of a duty
    decision: Decision | None = None
    reference_batch: Text | None = None  # every other batch is held against it

    @property
    def rule(self) -> Decision:
        """The decision rule: the target's, else the safer one."""
        return self.decision or SAFER

    @model_validator(mode="after")
    def _ordered(self) -> Target:
        for name in ("temperature_window", "mu", "wear_batch_ratio"):
            pair = getattr(self, name)
            if pair is not None and not pair[0] < pair[1]:
                low, high = (f"{v - ZERO_C:g} degC" if name == "temperature_window" else f"{v:g}" for v in pair)
                raise Unfit(f"{low} is not below {high}", "[lower, upper]", "write the lower one first", at=(name,))
        if self.wear_batch_ratio is not None and not self.wear_batch_ratio[0] < 1 < self.wear_batch_ratio[1]:
            raise Unfit(
                "does not enclose 1, at which batches are alike",
                "[below 1, above 1]",
                "write ratios such as [0.8, 1.25]",
                at=("wear_batch_ratio",),
            )
        return self
