"""`stopsheet wear`: a test's wear readings and stops -> wear.json and wear_findings.json."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from pipeline.archive.card import Card, load_card
from pipeline.errors import InputError
from pipeline.findings import Finding, finding
from pipeline.method import Method, from_stage_settings
from pipeline.method import wear as settings_file
from pipeline.method.wear import Wear
from pipeline.results import read_table
from pipeline.results.findings import Findings, recorded
from pipeline.results.model import read, renewed, stamp, write
from pipeline.results.summary import TestSummary
from pipeline.results.wear import TestComponent, TestWear
from pipeline.wear.balance import compare
from pipeline.wear.components import component, spoken
from pipeline.wear.dwells import placed
from pipeline.wear.intervals import Intervals, intervals
from pipeline.wear.mass import mass_rows
from pipeline.wear.of_stops import ExposureOfTest, exposure_of_test
from pipeline.wear.reading_checks import reading_findings
from pipeline.wear.readings import beside_card, read_wear
from pipeline.wear.result import component_result
from pipeline.wear.soak_checks import soak_findings
from pipeline.wording import counted


def run(*, folder: Path, settings: str, into: Path) -> None:
    """Read folder/test.yaml, its wear file and into/{stops,traces}.parquet, summary.json; write the two files in
    `into`.
    """
    test, method = folder.name, into.parent.parent.name
    summary = read(into / "summary.json", TestSummary)
    inputs = {"stops": into / "stops.parquet", "traces": into / "traces.parquet", "summary": into / "summary.json"}
    findings: list[Finding] = []
    if summary.unusable:
        found = TestWear(test=test, unusable=summary.unusable, why=summary.unusable)
    else:
        chosen = from_stage_settings(settings)
        card = load_card(folder)
        if card.wear:
            inputs["wear"] = folder / card.wear
        found, findings = of_tables(
            folder, card, summary, read_table(inputs["stops"]), read_table(inputs["traces"]), chosen
        )
    stamped = stamp("wear", settings_file.REVISION, settings, inputs)
    write(into / "wear_findings.json", Findings(test=test, method=method, findings=recorded(findings)))
    write(into / "wear.json", renewed(found, method=method, stamp=stamped))


def of_tables(
    folder: Path, card: Card, summary: TestSummary, stops: pl.DataFrame, traces: pl.DataFrame, method: Method
) -> tuple[TestWear, list[Finding]]:
    """wear.json of one test from its wear file and tables, without method and stamp, and the findings."""
    if not card.wear:
        return TestWear(test=folder.name, why="the test card names no wear file"), []
    try:
        readings, findings = read_wear(folder / card.wear, inside=folder)
    except InputError as error:
        found = finding("wear_file_invalid", str(error), file=card.wear)
        return TestWear(test=folder.name, why=str(error)), [found]
    if not readings.height or not stops.height:
        why = "no wear reading is left" if stops.height else "no stop was found"
        return TestWear(test=folder.name, why=why), findings
    readings, misplaced = placed(readings, card)
    findings += misplaced
    settings = method.wear
    test = exposure_of_test(stops, traces, summary.missing, card, settings, method.reduction.temperature)
    components, further = wear_components(readings, card, test, settings)
    assumed = (settings.thickness_u, settings.mass_u)
    further += reading_findings(readings, card, stops, test.run_number, test.stops.energy_mj, assumed)
    return TestWear(test=folder.name, components=components, notes=_notes(test)), findings + further


def wear_components(
    readings: pl.DataFrame, card: Card, test: ExposureOfTest, settings: Wear
) -> tuple[dict[str, TestComponent], list[Finding]]:
    """({component: its part of wear.json}, findings) of all components that were read."""
    components: dict[str, TestComponent] = {}
    findings: list[Finding] = []
    everyone = sorted(set(readings["after_stop"]))
    if test.filled:
        findings.append(
            finding(
                "wear_energy_filled",
                f"{counted(test.filled, 'stop')} without a measured energy: that of the block or the schedule is counted",
                evidence={"stops": test.filled},
            )
        )
    for name in sorted(set(readings["component"])):
        part = component(name, card)
        own = readings.filter(pl.col("component") == name)
        own, wrong = beside_card(own, name, {"thickness": part.thickness, "mass": part.mass})
        findings += wrong + _missing(own, name, everyone)
        measured = intervals(
            own,
            part,
            assumed_thickness=settings.thickness_u,
            assumed_mass=settings.mass_u,
            last_stop=test.last,
        )
        if measured is None:
            components[name] = TestComponent(why="fewer than two readings, or mass without density and area")
            continue
        findings += measured.findings + _assumed(measured, name)
        result = component_result(measured, part, test, settings)
        findings += soak_findings(measured, part, test, settings)
        ratio, why, found = compare(
            own,
            part,
            assumed_thickness=settings.thickness_u,
            assumed_mass=settings.mass_u,
            confidence=settings.confidence,
        )
        findings += found
        masses = mass_rows(own, measured, settings.mass_u)
        rows = [renewed(row, **mass._asdict()) for row, mass in zip(result.intervals, masses, strict=True)]
        components[name] = renewed(result, intervals=rows, mass_to_thickness=ratio, mass_to_thickness_why=why)
    return components, findings


def _missing(own: pl.DataFrame, name: str, everyone: list[int]) -> list[Finding]:
    at = set(own["after_stop"])
    return [
        finding(
            "wear_reading_missing",
            f"{spoken(name)} was not read after stop {after}, when other parts were: its intervals span that reading",
            evidence={"after_stop": after, "component": name},
        )
        for after in everyone
        if after not in at
    ]


def _assumed(measured: Intervals, name: str) -> list[Finding]:
    if not measured.source.startswith("assumed"):
        return []
    return [
        finding("wear_noise_assumed", f"{spoken(name)}: {measured.source}, u {measured.u.max():.1f} um an interval")
    ]


def _notes(test: ExposureOfTest) -> list[str]:
    said = []
    if test.surface == "modelled":
        said.append("Oxidation follows the modelled surface temperature, over braking and the pauses between stops.")
    else:
        said.append(f"Oxidation follows the indicated disc temperature: {test.surface}.")
    if test.dwell_known < 0.9:
        said.append(f"The time between stops is known for {100 * test.dwell_known:.0f} % of them.")
    if test.curve is None:
        said.append("No pause shows plain cooling; between stops the temperature is taken as a straight line.")
    else:
        said.append(f"Cooling between stops as {test.curve.pauses} of the test's own pauses show it.")
    return said
