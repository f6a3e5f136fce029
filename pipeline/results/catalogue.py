"""Which file holds which typed result: what the page of results, the schemas and their tests follow from."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.results import (
    archive,
    batches,
    charts,
    comparison,
    compound_friction,
    delta,
    drift,
    duty,
    extracts,
    figures,
    findings,
    friction,
    precision,
    record,
    repeatability,
    rigs,
    shares,
    sheet,
    summary,
    targets,
    wear,
)
from pipeline.results.model import Result
from pipeline.stages import STAGES


@dataclass(frozen=True)
class File:
    """A kind of results file. name: of its schema; place: below the results; model: of its content."""

    name: str
    place: str
    model: type[Result]

    @property
    def file(self) -> str:
        """The file's own name, under which the page of results describes it."""
        return self.place.rsplit("/", 1)[-1]


FILES = (
    File("record", "channels/<test>.json", record.Record),
    File("summary", "<method>/tests/<test>/summary.json", summary.TestSummary),
    File("stops-findings", "<method>/tests/<test>/stops_findings.json", findings.Findings),
    File("wear-findings", "<method>/tests/<test>/wear_findings.json", findings.Findings),
    File("findings", "<method>/tests/<test>/findings.json", findings.Findings),
    File("friction", "<method>/tests/<test>/friction.json", friction.TestFriction),
    File("compound-friction", "<method>/compounds/<compound>/friction.json", compound_friction.CompoundFriction),
    File("wear", "<method>/tests/<test>/wear.json", wear.TestWear),
    File("compound-wear", "<method>/compounds/<compound>/wear.json", wear.CompoundWear),
    File("drift", "<method>/tests/<test>/drift.json", drift.TestDrift),
    File("batches", "<method>/compounds/<compound>/batches.json", batches.CompoundBatches),
    File("duty", "<method>/compounds/<compound>/duty.json", duty.CompoundDuty),
    File("targets", "<method>/compounds/<compound>/targets.json", targets.CompoundTargets),
    File("repeatability", "<method>/compounds/<compound>/repeatability.json", repeatability.Repeatability),
    File("sheet", "<method>/compounds/<compound>/sheet.json", sheet.Sheet),
    File("figures", "<method>/compounds/<compound>/figures.json", figures.Figures),
    File("archive", "<method>/archive.json", archive.Archive),
    File("comparison", "<method>/comparisons/<one>--<other>/comparison.json", comparison.Comparison),
    File("delta", "deltas/<a>--<b>/delta.json", delta.Delta),
    File("shares", "deltas/<a>--<b>/shares.json", shares.Shares),
    File("rigs", "<method>/rigs.json", rigs.Rigs),
    File("charts", "<method>/charts.json", charts.Charts),
    File("precision", "<method>/precision.json", precision.RigPrecision),
    File("extracts", "<method>/extracts.json", extracts.Extracts),
)


def written_by(stage: str) -> list[File]:
    """The typed files of a stage, in the order of its table."""
    by_place = {file.place: file for file in FILES}
    places = [place.replace("{", "<").replace("}", ">") for place in STAGES[stage].files.values()]
    return [by_place[place] for place in places if place in by_place]
