"""Blocks of a test program and the programs of the scenario.

A block asks for stops alike; the program is a list of blocks in the order run. `reading` marks that
wear is measured after the block, which takes the disc off the rig and leaves it cold.
"""

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Block:
    """One block; speeds in rpm, pressure in bar, temperature in degC, times in s."""

    name: str
    purpose: str  # bedding | map | check | fade | recovery | duty | drag
    stops: int
    speed: tuple[float, float] = (1450.0, 850.0)
    pressure: float = 25.0
    initial: float = 300.0
    kind: str = "snub"
    control: str = "pressure"
    torque: float | None = None  # N m, control: torque
    deceleration: float | None = None  # m/s2, control: deceleration
    interval: float | None = None  # start to start; initial is then the first stop's
    duration: float | None = None  # of a drag
    pause_before: float | None = None
    reading: bool = False

    def with_stops(self, stops: int) -> "Block":
        """The same block, another number of stops."""
        return replace(self, stops=stops)


def check(number: int, stops: int = 4, **changes: object) -> Block:
    """A matched-condition check at the reference conditions."""
    return Block(f"check {number}", "check", stops, **changes)  # type: ignore[arg-type]


BEDDING = Block("bed-in", "bedding", 20, speed=(1600.0, 650.0), pressure=30.0, initial=230.0, reading=True)

COLD_LINE = (60.0, 80.0, 100.0, 120.0, 140.0, 160.0, 180.0, 200.0, 230.0, 260.0)
HOT_LINE = (520.0, 560.0, 580.0, 600.0, 620.0, 640.0, 660.0, 680.0)


def temperature_line(temperatures: tuple[float, ...], stops: int = 2) -> list[Block]:
    """Reference snubs at rising initial temperatures."""
    return [Block(f"map {t:g} C", "map", stops, initial=t) for t in temperatures]


# Pressure, first and last speed: chosen so that over these rows ln p, ln w and energy density are close
# to uncorrelated (snubs between different speeds part the speed from the energy).
PLATEAU = (
    (12.0, 1450.0, 850.0),
    (50.0, 1450.0, 850.0),
    (25.0, 1950.0, 1550.0),
    (25.0, 1050.0, 250.0),
    (25.0, 1450.0, 1200.0),
    (35.0, 1450.0, 450.0),
)


def plateau_map(temperatures: tuple[float, ...] = (270.0, 400.0), stops: int = 2) -> list[Block]:
    """Pressure, speed and energy varied about the reference at temperatures of the plateau."""
    return [
        Block(f"map {t:g} C {p:g} bar {a:g}-{b:g}", "map", stops, speed=(a, b), pressure=p, initial=t)
        for t in temperatures
        for p, a, b in PLATEAU
    ]


def with_reading(blocks: list[Block]) -> list[Block]:
    """The blocks with a wear reading after the last."""
    return [*blocks[:-1], replace(blocks[-1], reading=True)]


VALLEY_USE = Block("valley use", "duty", 8, speed=(1100.0, 600.0), pressure=22.0, initial=150.0)
RIDGE_USE = Block("ridge use", "duty", 12, speed=(1700.0, 850.0), pressure=40.0, initial=420.0)
HOT_USE = Block("hot use", "duty", 10, speed=(1450.0, 850.0), pressure=30.0, initial=540.0)
FADE = Block("fade", "fade", 10, speed=(1900.0, 700.0), pressure=42.0, initial=220.0, interval=34.0)
RECOVERY = Block("recovery", "recovery", 6, initial=250.0)
TO_REST = Block("map to rest", "map", 2, speed=(1000.0, 0.0), pressure=25.0, initial=300.0, kind="stop")
DRAG = Block("drag", "drag", 2, speed=(700.0, 700.0), pressure=12.0, initial=280.0, kind="drag", duration=6.0)


def characterisation() -> list[Block]:
    """The scenario's usual program, about 150 stops."""
    return [
        BEDDING,
        check(1, 6),
        *with_reading(temperature_line(COLD_LINE)),
        *with_reading(plateau_map()),
        check(2),
        *with_reading(temperature_line(HOT_LINE[:4])),
        *with_reading(temperature_line(HOT_LINE[4:])),
        check(3),
        TO_REST,
        DRAG,
        replace(VALLEY_USE, reading=True),
        check(4),
        FADE,
        replace(RECOVERY, reading=True),
        check(5),
        replace(RIDGE_USE, reading=True),
        replace(HOT_USE, reading=True),
        check(6, reading=True),
    ]


def glazing(exposures: int = 5, exposure_stops: int = 22) -> list[Block]:
    """Low-energy use long enough to glaze the disc, then high-energy use that clears it."""
    cold = Block("valley use", "duty", exposure_stops, speed=(900.0, 500.0), pressure=14.0, initial=90.0)
    blocks = [
        BEDDING,
        check(1, 6),
        *with_reading(temperature_line((60.0, 100.0, 140.0, 180.0, 220.0, 260.0, 400.0, 500.0))),
        check(2, 5),
        *with_reading(plateau_map()),
        check(3, 6),
    ]
    for k in range(exposures):
        blocks += [replace(cold, name=f"valley use {k + 1}"), check(4 + k, 5)]
    blocks[-1] = replace(blocks[-1], reading=True)
    return [
        *blocks,
        check(4 + exposures, 5),
        Block("ridge use", "duty", 16, speed=(1900.0, 700.0), pressure=55.0, initial=360.0),
        check(5 + exposures, 6, reading=True),
        replace(RIDGE_USE, name="ridge use 2", initial=470.0, stops=10),
        check(6 + exposures, 6, reading=True),
    ]


def stop_count(program: list[Block]) -> int:
    """Brake applications in a program."""
    return sum(block.stops for block in program)
