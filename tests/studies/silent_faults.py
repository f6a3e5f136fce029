"""Quiet faults: what one test can show of errors that leave every channel smooth, and what it cannot.

    python -m tests.studies.silent_faults [--share 1.0] [--record FILE] [--write]

Each fault is put into the raw files of one clean simulated test and taken through channels, stops, friction and wear; told
are the findings that the clean test has not. A fault is *named* when one of its codes is told above info, or corrected; *told
otherwise* when something else above info is; *info* when nothing above info is; *silent* when nothing is told.
`--record FILE` keeps the outcome as data; the page sets it beside that of `silent_faults_before.json`.
"""

from __future__ import annotations

import argparse
import copy
import json
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import yaml

from pipeline.method import SECTIONS, Method, stage_settings
from pipeline.results import read_json
from rig_samples.simulator import MARRAM_4, characterisation, simulate
from rig_samples.simulator.card import Identity, Style
from rig_samples.simulator.run import Simulated
from rig_samples.simulator.writer import write_test
from tests.studies.silent_fault_kinds import Quiet

SETTINGS = stage_settings(Method(), *SECTIONS)
SEED = 5
BEFORE = Path(__file__).parent / "silent_faults_before.json"
PAGE = Path(__file__).parents[2] / "docs" / "silent_faults_study.md"
CORRECTED = 0.002  # mu that an informed correction leaves


@dataclass(frozen=True)
class Result:
    """A reduced test: its stops, window (degC) or None, wear per energy of each part's intervals (um/MJ), findings."""

    stops: pl.DataFrame
    window: tuple[float, float] | None
    rates: dict[str, list[float]]
    findings: list[dict[str, Any]]


@dataclass(frozen=True)
class Outcome:
    """One fault at one size: what it moves, and what is told of it."""

    group: str
    fault: str
    size: str
    outcome: str
    told: str
    mu: float | None
    energy: float | None
    window: float | None
    wear: float | None


@lru_cache(maxsize=1)
def clean() -> Simulated:
    return simulate(characterisation(), MARRAM_4, seed=SEED)


@lru_cache(maxsize=4)
def other_specimen(friction: float) -> Simulated:
    """Another specimen, new, on the same program; its friction is 1 + `friction` of the first's."""
    return simulate(characterisation(), MARRAM_4, seed=SEED + 100, lasting={1: 1 + friction})


@lru_cache(maxsize=1)
def card_of_clean() -> dict[str, Any]:
    with tempfile.TemporaryDirectory() as name:
        write(Path(name) / "t1", clean(), None)
        return yaml.safe_load((Path(name) / "t1" / "test.yaml").read_text())


def write(folder: Path, test: Simulated, card: dict[str, Any] | None) -> None:
    """The test's folder, with another card where one is given."""
    kept = test.wear.with_columns(pl.col("value").cast(pl.String))
    write_test(folder, replace(test, wear=kept), Identity("Marram 4", "M4-2403", "A", "2026-01-12"), Style(compress=False))  # fmt: skip
    if card is not None:
        (folder / "test.yaml").write_text(yaml.safe_dump(card, sort_keys=False))


def results_of(folder: Path) -> Path:
    return folder.parent / "results" / "plain" / "tests" / folder.name


def reduced(folder: Path, same: Path | None = None) -> Result:
    """The test in `folder` through channels, stops, friction and wear; same: a reduced test with the same recordings and
    card, whose stops and friction are taken over."""
    from pipeline.friction import stage as friction
    from pipeline.recordings import stage as channels
    from pipeline.stops import stage as stops
    from pipeline.wear import stage as wear

    into = results_of(folder)
    into.mkdir(parents=True, exist_ok=True)
    parquet, record = into / "channels.parquet", into / "channels.json"
    if same is not None:
        shutil.copytree(results_of(same), into, dirs_exist_ok=True)
    else:
        channels.run(folder, parquet, record)
        stops.run(folder=folder, channels=parquet, record=record, settings=SETTINGS, into=into)
        friction.run(folder=folder, settings=SETTINGS, target=None, into=into)
    wear.run(folder=folder, settings=SETTINGS, into=into)
    found = [*read_json(record)["findings"]]
    for name in ("stops_findings.json", "wear_findings.json"):
        found += read_json(into / name)["findings"]
    window = read_json(into / "friction.json")["window"]
    ends = (window["low_c"], window["high_c"]) if window else None
    parts = read_json(into / "wear.json")["components"] or {}
    rates = {part: [i["wear_um"] / i["energy_mj"] for i in content["intervals"]] for part, content in parts.items()}
    return Result(pl.read_parquet(into / "stops.parquet"), ends, rates, found)


def cases() -> Iterator[tuple[Quiet, Any]]:
    from tests.studies.silent_fault_list import ALL

    for group, faults in ALL.items():
        for fault in faults:
            for size in fault.sizes:
                yield replace(fault, group=group), size


def key(finding: dict[str, Any]) -> tuple:
    return finding["code"], finding["severity"], finding["stop"], finding["channel"]


def judged(fault: Quiet, size: Any, result: Result, base: Result) -> Outcome:
    known = {key(f) for f in base.findings}
    new = [f for f in result.findings if key(f) not in known]
    loud = [f for f in new if f["severity"] != "info"]
    off = moved(result, base)
    if any(f["code"] in fault.codes for f in loud):
        outcome = "named"
    elif loud:
        outcome = "told otherwise"
    elif any(f["code"] in fault.codes for f in new) and (off["mu"] or 0.0) <= CORRECTED:
        outcome = "corrected"
    else:
        outcome = "info" if new else "silent"
    return Outcome(fault.group, fault.name, str(size), outcome, told(loud or new), **off)


def moved(result: Result, base: Result) -> dict[str, float | None]:
    """Largest change of a stop's mu that is not rejected, of its energy (share), of a window's end (K), of an interval's
    wear per energy (share)."""
    both = base.stops.select("stop", m="mu", e="energy_kj").join(result.stops, on="stop", how="inner")
    mu, energy = (both["mu"] - both["m"]).abs().max(), (both["energy_kj"] / both["e"] - 1).abs().max()
    window = wear = None
    if base.window and result.window:
        window = float(np.max(np.abs(np.subtract(base.window, result.window))))
    for part, rates in base.rates.items():
        own = result.rates.get(part, [])
        if len(own) == len(rates):
            wear = max(wear or 0.0, float(np.max(np.abs(np.array(own) / np.array(rates) - 1))))
    return {"mu": _float(mu), "energy": _float(energy), "window": window, "wear": wear}


def _float(value: Any) -> float | None:
    return None if value is None else float(value)


def told(findings: list[dict[str, Any]]) -> str:
    """Codes with channel and the stops they strike, the test's own first."""
    words = []
    for code, channel in dict.fromkeys((f["code"], f["channel"]) for f in findings):
        stops = sorted({f["stop"] for f in findings if (f["code"], f["channel"]) == (code, channel) and f["stop"]})
        whole = any((f["code"], f["channel"]) == (code, channel) and f["stop"] is None for f in findings)
        where = [*(["test"] if whole else []), *([spans(stops)] if stops else [])]
        words.append(f"{code}{f' of {channel}' if channel else ''} ({', '.join(where)})")
    return "; ".join(words[:4]) + ("; ..." if len(words) > 4 else "")


def spans(stops: list[int]) -> str:
    """The stops as few words: first and last, and how many."""
    if len(stops) == 1:
        return f"stop {stops[0]}"
    return f"{len(stops)} stops, {stops[0]} to {stops[-1]}"


def outcomes(share: float = 1.0, only: str = "") -> Iterator[Outcome]:
    """Every fault at each size, or an even share of them, or those whose name or group holds `only`."""
    chosen = [(f, s) for f, s in cases() if only in f"{f.group}: {f.name}"][:: max(1, round(1 / share))]
    with tempfile.TemporaryDirectory() as name:
        write(Path(name) / "clean" / "t1", clean(), None)
        base = reduced(Path(name) / "clean" / "t1")
        if loud := [f["message"] for f in base.findings if f["severity"] != "info"]:
            raise RuntimeError(f"the clean test is told of faults: {loud}")
        for k, (fault, size) in enumerate(chosen):
            test, card = fault.change(clean(), copy.deepcopy(card_of_clean()), size)
            folder = Path(name) / str(k) / "t1"
            write(folder, test, card)
            untouched = test.samples is clean().samples and card == card_of_clean()
            yield judged(fault, size, reduced(folder, Path(name) / "clean" / "t1" if untouched else None), base)


def kept(rows: list[Outcome], file: Path) -> list[dict[str, Any]]:
    """The rows as data, with those of other faults that `file` holds already; in the study's order."""
    old = json.loads(file.read_text()) if file.exists() else []
    both = {(r["fault"], r["size"]): r for r in [*old, *(asdict(row) for row in rows)]}
    return [both[key] for fault, size in cases() if (key := (fault.name, str(size))) in both]


def main() -> None:
    from tests.studies.silent_faults_page import page

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--share", type=float, default=1.0)
    parser.add_argument("--only", default="", help="faults whose name holds these words")
    parser.add_argument(
        "--record", type=Path, help="keep the outcomes in this file, beside those of other faults in it"
    )
    parser.add_argument("--from", dest="source", type=Path, help="run nothing, take the outcomes that this file keeps")
    parser.add_argument("--write", action="store_true", help="renew docs/silent_faults_study.md")
    options = parser.parse_args()
    rows = []
    for row in [] if options.source else outcomes(options.share, options.only):
        rows.append(row)
        print(row.fault, row.size, row.outcome, "|", row.told, "|", row.mu, row.wear, flush=True)
    found = json.loads(options.source.read_text()) if options.source else [asdict(row) for row in rows]
    if options.record:
        found = kept(rows, options.record)
        options.record.write_text(json.dumps(found, indent=1) + "\n")
    if options.write:
        PAGE.write_text(page(found, json.loads(BEFORE.read_text())))


if __name__ == "__main__":
    main()
