"""What wear readings can tell: laws chosen, intervals' coverage, designs that cannot tell, activation energy by design.

    python -m tests.studies.wear_laws [--share 1.0] [--seed 1] [--write]

100 programs of a known law (20 of each), read with noise, are fitted and judged; 20 each of designs that cannot identify
oxidation; 100 programs of the demo scenario's design with 30 % oxidation at 150 kJ/mol, through the surface model; and other
designs for the width of that activation energy. With --write the figures go to docs/wear_laws_study.md.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from pipeline.archive.card import Card
from pipeline.inputs.model import parse
from pipeline.method.wear import Wear
from pipeline.wear.components import component
from pipeline.wear.exposure import interval_groups
from pipeline.wear.intervals import intervals
from pipeline.wear.laws import LAWS, design
from pipeline.wear.of_stops import exposure_of_test
from pipeline.wear.readings import SCHEMA
from pipeline.wear.result import constants_of
from pipeline.wear.selection import Choice, choose, noise_of
from tests.wear import makers

PER_LAW, UNIDENTIFIABLE, OXIDATION = 20, 20, 100
ACTIVATION = 150.0


@dataclass(frozen=True)
class Judged:
    """One program: its true law, the chosen one, and of each true parameter whether the interval covers it and how wide it is."""

    law: str
    chosen: str | None
    identified: bool
    covered: dict[str, bool]
    width: dict[str, float]


def true_parameters(law: str, made: makers.Program, rng: np.random.Generator) -> dict[str, float]:
    """Parameters of a law that the wide design can tell from the others."""
    a = rng.uniform(5, 10)
    sign = rng.choice([-1, 1])
    if law == "energy":
        return {"a": a}
    if law == "distance":
        return {"k": a * 2e-5}
    if law == "power":
        b = sign * rng.uniform(0.3, 0.8)
        return {"a": a * 7**-b, "b": b}
    if law == "two_regime":
        ratio = rng.uniform(1.6, 3.0) ** sign
        return {"a_cold": a, "a_hot": a * ratio, "transition": rng.choice([195.0, 270.0, 350.0])}
    return makers.oxidation_parameters(made, activation=rng.uniform(120, 190), share=0.3, a=a)


def fitted(law: str, parameters: dict[str, float], made: makers.Program, rng, **noise) -> Choice:
    found, groups = makers.measured(makers.true_loss(law, parameters, made), made, rng, **noise)
    return choose(
        design(made.stops, groups), found.wear, found.covariance, found.dof, makers.CONSTANTS,
        noise=noise_of(found, np.ones(len(found.wear), bool)),
    )  # fmt: skip


def judged(law: str, parameters: dict[str, float], choice: Choice) -> Judged:
    """The choice beside the truth."""
    own = choice.candidate(law)
    covered, width = {}, {}
    if own.found:
        for (name, _), (low, high) in zip(LAWS[law].parameters, own.found.intervals, strict=True):
            slack = 45.0 if name == "transition" else 0.0
            covered[name] = bool(
                (np.isnan(low) or low - slack <= parameters[name])
                and (np.isnan(high) or parameters[name] <= high + slack)
            )
            width[name] = float(high - low)
    return Judged(law, choice.chosen, own.identified, covered, width)


def law_programs(share: float, seed: int) -> list[Judged]:
    out = []
    for index, law in enumerate(LAWS):
        for k in range(max(1, round(PER_LAW * share))):
            rng = np.random.default_rng([seed, index, k])
            made = makers.program(makers.WIDE, rng)
            parameters = true_parameters(law, made, rng)
            out.append(judged(law, parameters, fitted(law, parameters, made, rng)))
    return out


def unidentifiable(share: float, seed: int) -> dict[str, list[tuple[bool, bool, bool]]]:
    """Per design, of each program: oxidation called not identified, a reason given, and no interval closed on Ea."""
    out = {}
    for name, blocks in (("one temperature", makers.ONE_TEMPERATURE), ("two intervals", makers.TWO_INTERVALS)):
        rows = []
        for k in range(max(1, round(UNIDENTIFIABLE * share))):
            rng = np.random.default_rng([seed, 100, k])
            made = makers.program(blocks, rng)
            parameters = makers.oxidation_parameters(made, activation=rng.uniform(120, 190), share=0.3)
            choice = fitted("oxidation", parameters, made, rng)
            own = choice.candidate("oxidation")
            rows.append((not own.identified, bool(own.why), choice.chosen != "oxidation"))
        out[name] = rows
    return out


# Programs of the demo scenario and its kin; `readings` as the scenario takes them.
def demo_designs() -> dict[str, list]:
    from rig_samples.simulator import program as demo

    usual = demo.characterisation()
    more = [replace(block, stops=3 * block.stops) if block.name == "hot use" else block for block in usual]
    steps = [replace(b, stops=12, reading=True) if b.purpose == "map" and b.initial >= 520 else b for b in usual]
    hotter = [
        replace(block, initial=block.initial + 60) if block.name in ("ridge use", "hot use") else block
        for block in usual
    ]
    hot = next(block for block in usual if block.name == "hot use")
    gentle = replace(hot, name="gentle use", initial=600.0, stops=60, pressure=12.0, speed=(1450.0, 1200.0))
    hard = replace(hot, name="hard use", initial=780.0, stops=6)
    spread = [b for block in usual for b in ((gentle, hard) if block is hot else (block,))]
    return {
        "as the scenario": usual,
        "three times as much hot use": more,
        "ridge and hot use 60 K hotter": hotter,
        "each hot step of 12 stops and read": steps,
        "gentle use at 600 degC, 60 stops, and hard at 780, 6 stops, for the hot use": spread,
    }


def demo_programs(blocks: list, count: int, seed: int) -> list[Judged]:
    """Oxidation of 30 % at 150 kJ/mol on the demo rig, through stops table, traces, surface model and readings."""
    from rig_samples.simulator.material import MARRAM_4
    from rig_samples.simulator.stop_level import simulate_stops

    trial = simulate_stops(blocks, MARRAM_4, seed=seed)
    last = trial.wear_truth.row(-1, named=True)
    scale = 0.3 / 0.7 * last["disc_mechanical_um"] / last["disc_oxidation_um"]
    material = replace(MARRAM_4, oxidation_um_s=MARRAM_4.oxidation_um_s * scale)
    truth = {"a": material.disc_wear_um_mj, "B": material.oxidation_um_s, "Ea": material.oxidation_energy_j_mol / 1e3}
    out = []
    for k in range(count):
        made = simulate_stops(blocks, material, seed=seed * 1000 + k, with_traces=True)
        out.append(judged("oxidation", truth, demo_choice(made)))
    return out


def demo_choice(made) -> Choice:
    """The choice of law for the disc of a simulated test, by the stage's own functions."""
    settings, card = Wear(), demo_card(made)
    exposed = exposure_of_test(made.stops, made.traces, [], card, settings, "initial")
    part = component("disc", card)
    constants = constants_of(part, settings)
    measured = intervals(
        demo_readings(made.wear), part, assumed_thickness=3e-6, assumed_mass=5e-5, last_stop=len(made.stops)
    )
    assert measured is not None
    groups = interval_groups(exposed.run_number, measured.from_stop, measured.to_stop)
    return choose(
        design(exposed.stops, groups), measured.wear, measured.covariance, measured.dof, constants,
        noise=noise_of(measured, np.ones(len(measured.wear), bool)),
    )  # fmt: skip


def demo_card(made) -> Card:
    from rig_samples.simulator.card import Identity, Style, card

    columns = ["time_s", "speed_rpm", "torque_nm", "pressure_bar", "disc_temperature_c"]
    identity = Identity("Marram 4", "M4-2403", "A", "2026-01-12")
    content = card(identity, made.program, made.material, made.brake, made.rig, made.disc, columns, Style())
    return parse(_text(content), Card, "test.yaml")


def _text(value):
    """As YAML would hand it over: every scalar as text."""
    if isinstance(value, dict):
        return {k: _text(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_text(v) for v in value]
    return str(value)


def demo_readings(wear):
    """The bench's table of the disc's thickness as read_wear gives it."""
    import polars as pl

    own = wear.filter((pl.col("component") == "disc") & (pl.col("quantity") == "thickness"))
    return own.with_row_index("line").select(
        pl.col("line").cast(pl.Int64),
        pl.col("after_stop").cast(pl.Int64),
        "component",
        "quantity",
        pl.col("point").cast(pl.String),
        pl.col("state").cast(pl.String),
        value=pl.col("value").cast(pl.Float64) * 1e-3,
        resolution=pl.lit(1e-7),
    ).cast(dict(SCHEMA))  # fmt: skip


@dataclass(frozen=True)
class Study:
    laws: list[Judged]
    cannot: dict[str, list[tuple[bool, bool, bool]]]
    demo: list[Judged]
    designs: dict[str, list[Judged]]


def study(share: float, seed: int) -> Study:
    designs = demo_designs()
    demo = demo_programs(designs["as the scenario"], max(2, round(OXIDATION * share)), seed)
    few = max(1, round(20 * share))
    other = {name: demo_programs(blocks, few, seed + 1) for name, blocks in designs.items()} if share >= 0.5 else {}
    return Study(law_programs(share, seed), unidentifiable(share, seed), demo, other)


def right_share(found: list[Judged]) -> float:
    return float(np.mean([j.chosen == j.law for j in found]))


def coverage(found: list[Judged]) -> float:
    """Share of all parameters' intervals that hold the truth."""
    return float(np.mean([c for j in found for c in j.covered.values()]))


def median_width(found: list[Judged]) -> float:
    """Median width of Ea's interval, kJ/mol, over the closed ones."""
    return float(np.nanmedian([j.width["Ea"] for j in found]))


def page(found: Study) -> str:
    lines = [
        "# What wear readings can tell",
        "",
        "Written by `python -m tests.studies.wear_laws --write`; nothing here is typed by hand.",
        "",
        f"{len(found.laws)} programs of nine blocks between 90 and 670 degC, each block read at six points twice with a noise of "
        "3 um; the law and its parameters differ from program to program (oxidation: 30 % of the loss, 120 to 190 kJ/mol).",
        "",
        "| true law | programs | chosen right | taken for | parameters covered by their 95 % intervals |",
        "|---|---|---|---|---|",
    ]
    for law in LAWS:
        own = [j for j in found.laws if j.law == law]
        wrong = sorted({j.chosen or "none" for j in own if j.chosen != law})
        each = "; ".join(
            f"{n} {np.mean([j.covered[n] for j in own if j.covered]):.0%}" for n, _ in LAWS[law].parameters
        )
        lines.append(f"| {law} | {len(own)} | {right_share(own):.0%} | {', '.join(wrong) or '-'} | {each} |")
    lines += [
        f"| all | {len(found.laws)} | {right_share(found.laws):.0%} | | {coverage(found.laws):.1%} |",
        "",
        "## Designs that cannot tell",
        "",
        "Programs whose wear is 30 % oxidation, read so that its law cannot be known.",
        "",
        "| design | programs | oxidation not identified | reason given | another law chosen |",
        "|---|---|---|---|---|",
    ]
    for name, rows in found.cannot.items():
        said = [f"{np.mean([r[i] for r in rows]):.0%}" for i in range(3)]
        lines.append(f"| {name} | {len(rows)} | {' | '.join(said)} |")
    lines += [
        "",
        "## Activation energy on the demo scenario's program",
        "",
        "Oxidation of 30 % at 150 kJ/mol, through the stops table, the traces, the surface model and the bench's readings. Widths are medians "
        "of the whole 95 % interval in kJ/mol.",
        "",
        "| design | programs | Ea covered | oxidation chosen | width of Ea |",
        "|---|---|---|---|---|",
    ]
    for name, own in {"as the scenario (main study)": found.demo, **found.designs}.items():
        cover = np.mean([j.covered["Ea"] for j in own])
        lines.append(f"| {name} | {len(own)} | {cover:.0%} | {right_share(own):.0%} | {median_width(own):.1f} |")
    half = [name for name, own in found.designs.items() if median_width(own) <= median_width(found.demo) / 2]
    if found.designs:
        said = " and ".join(f"'{name}'" for name in half) or "none of these designs"
        lines += ["", f"Half the scenario's width or less: {said}."]
    return "\n".join(lines) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--share", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    text = page(study(options.share, options.seed))
    if options.write:
        path = Path(__file__).parents[2] / "docs" / "wear_laws_study.md"
        path.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
