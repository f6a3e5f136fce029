"""The card of a simulated test: test.yaml as docs/contract.md wants it."""

from dataclasses import dataclass

from rig_samples.simulator.brake import Brake, Rig
from rig_samples.simulator.disc import Disc
from rig_samples.simulator.material import Material
from rig_samples.simulator.program import Block

CHANNELS = {
    "time": ("time_s", "s"),
    "speed": ("speed_rpm", "rpm"),
    "torque": ("torque_nm", "N m"),
    "pressure": ("pressure_bar", "bar"),
    "disc_temperature": ("disc_temperature_c", "degC"),
    "drive_torque": ("drive_torque_nm", "N m"),
}

SENSORS = {
    "torque": {"full_scale": "4000 N m", "accuracy": "0.1 %"},
    "pressure": {"full_scale": "160 bar", "accuracy": "0.15 %"},
    "disc_temperature": {"accuracy": "3 K"},
    "effective_radius": {"accuracy": "0.4 mm"},
    "piston_area": {"accuracy": "0.2 %"},
    "efficiency": {"accuracy": "1 %"},
}


@dataclass(frozen=True)
class Identity:
    """What the test is called and what it is of."""

    compound: str
    batch: str
    specimen: str
    date: str
    rig: str = "north"
    procedure: str = "characterisation"
    notes: str | None = None


@dataclass(frozen=True)
class Stated:
    """What a card says of the heat in the disc, which may be off; None: it says nothing."""

    conductivity_w_mk: float | None = None
    heat_share: float | None = None


@dataclass(frozen=True)
class Style:
    """How a recorder writes delimited text."""

    delimiter: str = ","
    decimal: str = "."
    names: tuple[str, ...] = ("t", "n", "Mb", "p", "T1", "Md")
    units_row: bool = False
    preamble: tuple[str, ...] = ()
    comment: str | None = None
    encoding: str = "utf-8"
    compress: bool = True
    suffix: str = ".csv"


def heat_of(stated: Stated) -> dict[str, object]:
    """What the card's `disc` says of conduction and of its share of the heat."""
    said: dict[str, object] = {}
    if stated.conductivity_w_mk is not None:
        said["conductivity"] = f"{stated.conductivity_w_mk:g} W/(m K)"
    if stated.heat_share is not None:
        said["heat_share"] = f"{100 * stated.heat_share:g} %"
    return said


def brake_section(brake: Brake, material: Material, disc: Disc, stated: Stated) -> dict[str, object]:
    """The card's `brake`."""
    density = f"{material.density_kg_m3 / 1e3:g} g/cm^3"
    return {
        "friction_ring": {
            "outer_diameter": f"{brake.ring_outer_mm:g} mm",
            "inner_diameter": f"{brake.ring_inner_mm:g} mm",
        },
        "effective_radius": f"{brake.effective_radius_mm:g} mm",
        "pistons_per_side": [f"{d:g} mm" for d in brake.pistons_mm],
        "pad_area": f"{brake.pad_area_cm2:g} cm^2",
        "pads": brake.pads,
        "efficiency": brake.efficiency,
        "threshold_pressure": f"{brake.threshold_bar:g} bar",
        "disc": {
            "mass": f"{brake.disc_mass_kg:g} kg",
            "thickness": f"{brake.disc_thickness_mm:g} mm",
            "minimum_thickness": f"{brake.disc_minimum_mm:g} mm",
            "density": density,
            "heat_capacity": "carbon",
            **heat_of(stated),
            "emissivity": disc.emissivity,
            "cooled_area": f"{disc.cooled_area * 1e4:g} cm^2",
        },
        "pad": {
            "mass": f"{brake.pad_mass_kg:g} kg",
            "thickness": f"{brake.pad_thickness_mm:g} mm",
            "minimum_thickness": f"{brake.pad_minimum_mm:g} mm",
            "density": density,
        },
    }


def block_entry(block: Block) -> dict[str, object]:
    """One entry of the card's `blocks`."""
    entry: dict[str, object] = {
        "name": block.name,
        "purpose": block.purpose,
        "kind": block.kind,
        "stops": block.stops,
        "speed": f"{block.speed[0]:g} rpm" if block.kind == "drag" else [f"{speed:g} rpm" for speed in block.speed],
    }
    if block.control == "pressure":
        entry["pressure"] = f"{block.pressure:g} bar"
    elif block.control == "torque":
        entry |= {"control": "torque", "torque": f"{block.torque:g} N m"}
    else:
        entry |= {"control": "deceleration", "deceleration": f"{block.deceleration:g} m/s^2"}
    entry["initial_temperature"] = f"{block.initial:g} degC"
    if block.interval is not None:
        entry["interval"] = f"{block.interval:g} s"
    if block.duration is not None:
        entry["duration"] = f"{block.duration:g} s"
    if block.pause_before is not None:
        entry["pause_before"] = f"{block.pause_before / 3600:g} h"
    return entry


def recordings_section(style: Style, columns: list[str]) -> dict[str, object]:
    """The card's `recordings` for delimited text, one stop a file."""
    present = [(name, *CHANNELS[name]) for name in CHANNELS if CHANNELS[name][0] in columns]
    section: dict[str, object] = {
        "files": f"recordings/*{style.suffix}" + (".gz" if style.compress else ""),
        "format": "delimited",
        "holds": "stop",
    }
    if style.delimiter != ",":
        section["delimiter"] = style.delimiter
    if style.decimal != ".":
        section["decimal"] = style.decimal
    if style.preamble and not style.comment:
        section["skip_lines"] = len(style.preamble)
    if style.comment:
        section["comment"] = style.comment
    if style.encoding != "utf-8":
        section["encoding"] = style.encoding
    section["channels"] = {
        name: {"column": column, "unit": unit} for (name, _, unit), column in zip(present, style.names, strict=False)
    }
    section["sensors"] = SENSORS
    return section


def card(
    identity: Identity,
    program: list[Block],
    material: Material,
    brake: Brake,
    rig: Rig,
    disc: Disc,
    columns: list[str],
    style: Style,
    stated: Stated | None = None,
) -> dict[str, object]:
    """The whole card as plain data, ready for YAML; without `stated` it says what is true of the disc's heat."""
    stated = stated or Stated(material.conductivity_w_mk, material.heat_share)
    out: dict[str, object] = {
        "schema": 1,
        "compound": identity.compound,
        "batch": identity.batch,
        "specimen": identity.specimen,
        "date": identity.date,
        "rig": identity.rig,
        "procedure": identity.procedure,
    }
    if identity.notes:
        out["notes"] = identity.notes
    out["brake"] = brake_section(brake, material, disc, stated)
    out["inertia"] = f"{rig.inertia:g} kg m^2"
    if rig.inertia_mechanical is not None:
        out["inertia_mechanical"] = f"{rig.inertia_mechanical:g} kg m^2"
    out["rolling_radius"] = f"{rig.rolling_radius * 1e3:g} mm"
    out["recordings"] = recordings_section(style, columns)
    out["blocks"] = [block_entry(block) for block in program]
    out["wear"] = "wear.csv"
    return out
