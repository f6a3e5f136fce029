"""What a typed results file holds where its stage could not do its work, so that whatever reads the file can read it."""

from __future__ import annotations

from pipeline.results.batches import CompoundBatches
from pipeline.results.drift import TestDrift
from pipeline.results.duty import CompoundDuty
from pipeline.results.model import Result
from pipeline.results.repeatability import Repeatability
from pipeline.results.rigs import Rigs
from pipeline.results.wear import CompoundWear, TestWear


def unusable(name: str, subject: str, why: str, *, of_compound: bool) -> Result | None:
    """The file of that name, of a compound or of a test, with the reason alone; None for a file that has no model."""
    match name:
        case "batches.json":
            return CompoundBatches(compound=subject, unusable=why)
        case "duty.json":
            return CompoundDuty(compound=subject, unusable=why)
        case "drift.json":
            return TestDrift(test=subject, unusable=why)
        case "repeatability.json":
            return Repeatability(compound=subject, unusable=why)
        case "rigs.json":
            return Rigs(unusable=why)
        case "wear.json" if of_compound:
            return CompoundWear(compound=subject, unusable=why, why=why)
        case "wear.json":
            return TestWear(test=subject, unusable=why, why=why)
    return None
