"""What the stops stage hands over for one test."""

from dataclasses import dataclass
from typing import Any

import polars as pl

from pipeline.findings import Finding


@dataclass(frozen=True)
class Result:
    """Tables stops and traces (see the vocabulary), the summary's keys, the findings."""

    stops: pl.DataFrame
    traces: pl.DataFrame
    summary: dict[str, Any]
    findings: list[Finding]


def empty_summary() -> dict[str, Any]:
    """The summary's keys with nothing in them."""
    nothing: dict[str, Any] = dict.fromkeys(("offsets", "drag", "lag_s", "energy_balance", "mu_u_common_relative"))
    counts = {"ok": 0, "suspect": 0, "rejected": 0}
    return {"reprocessable": True, "stops": counts, **nothing, "budget": [], "missing": []}
