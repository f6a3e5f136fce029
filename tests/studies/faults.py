"""What the tool makes of faults: injected into clean simulated tests at two sizes each; and how often it finds faults where none are.

    python -m tests.studies.faults [--share 1.0] [--write]

Each fault goes through the raw files and the stages channels, stops and wear. A fault counts as *detected* when one of its
codes is found (on a struck stop where it strikes single stops), on the right channel where the finding names one;
*followed* when the consequence is what it must be, and for a corrected fault when mu keeps within 0.006 of the clean test's.
False findings are counted on clean tests with other seeds: stops that carry a finding above severity info.
"""

from __future__ import annotations

import argparse
import tempfile
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import polars as pl
import yaml
from scipy import stats as statistics

from pipeline.method import SECTIONS, Method, stage_settings
from pipeline.results import read_json
from rig_samples.simulator import MARRAM_4, Block, simulate
from rig_samples.simulator.card import CHANNELS, Identity, Style
from rig_samples.simulator.program import check
from rig_samples.simulator.run import Simulated
from rig_samples.simulator.writer import write_test
from tests.studies.fault_kinds import ALL, FAULTS, Fault

SETTINGS = stage_settings(Method(), *SECTIONS)
CORRECTED_WITHIN = 0.006
PAD = ("pad_temperature_c", "degC")


@dataclass(frozen=True)
class Result:
    """Stops table, summary and all findings of one reduced test."""

    stops: pl.DataFrame
    summary: dict[str, Any]
    findings: list[dict[str, Any]]


@dataclass(frozen=True)
class Row:
    """One fault at one size."""

    fault: str
    size: Any
    detected: bool
    followed: bool
    found: str
    off: float | None


def program() -> list[Block]:
    """Forty stops: bedding, checks, a map over temperature, pressure, speed, and duty; wear readings at 8, 20 and 40."""
    lines = [Block(f"map {t:g} C", "map", 2, initial=t) for t in (120.0, 220.0, 420.0, 540.0)]
    levels = [Block(f"map {p:g} bar", "map", 2, pressure=p) for p in (12.0, 45.0)]
    faster = Block("map fast", "map", 4, speed=(1900.0, 900.0), reading=False)
    return [
        Block("bed-in", "bedding", 8, speed=(1600.0, 650.0), pressure=30.0, initial=230.0, reading=True),
        check(1, 4),
        *lines[:3],
        Block("map 540 C", "map", 2, initial=540.0, reading=True),
        *levels,
        faster,
        check(2, 4),
        Block("use", "duty", 4, speed=(1100.0, 600.0), pressure=22.0, initial=180.0),
        check(3, 4, reading=True),
    ]


@lru_cache(maxsize=64)
def clean(seed: int) -> Simulated:
    """A clean test, with a pad thermocouple that warms slowly."""
    test = simulate(program(), MARRAM_4, seed=seed)
    pad = 25.0 + 0.35 * (pl.col("disc_temperature_c").ewm_mean(half_life=300).over("recording") - 25.0)
    return Simulated(**{**test.__dict__, "samples": test.samples.with_columns(pad_temperature_c=pad)})


def reduced(folder: Path) -> Result:
    """The test in `folder` through channels, stops and wear."""
    from pipeline.recordings import stage as channels
    from pipeline.stops import stage as stops
    from pipeline.wear import stage as wear

    into = folder.parent / "results" / "plain" / "tests" / folder.name
    into.mkdir(parents=True, exist_ok=True)
    parquet, record = into / "channels.parquet", into / "channels.json"
    channels.run(folder, parquet, record)
    stops.run(folder=folder, channels=parquet, record=record, settings=SETTINGS, into=into)
    wear.run(folder=folder, settings=SETTINGS, into=into)
    found = [*read_json(record)["findings"]]
    for name in ("stops_findings.json", "wear_findings.json"):
        content = read_json(into / name)
        found += content["findings"] if isinstance(content, dict) else content
    return Result(pl.read_parquet(into / "stops.parquet"), read_json(into / "summary.json"), found)


def written(base: Path, test: Simulated, fault: Fault | None = None, size: Any = None) -> Path:
    """The test's folder with the fault in it."""
    folder = base / "t1"
    samples = fault.samples(test.samples, size) if fault and fault.samples else test.samples
    wear = fault.wear(test.wear, size) if fault and fault.wear else test.wear
    identity = Identity("Marram 4", "M4-2403", "A", "2026-01-12")
    write_test(
        folder,
        Simulated(**{**test.__dict__, "samples": test.samples.filter(pl.col("recording") < 1), "wear": wear}),
        identity,
        Style(compress=False),
    )
    style = Style(compress=False, names=("t", "n", "Mb", "p", "T1", "T2"))
    columns = [source for source, _ in CHANNELS.values() if source in samples.columns]
    _write(folder / "recordings", samples.select("recording", *columns, PAD[0]), style)
    card = yaml.safe_load((folder / "test.yaml").read_text())
    card["recordings"]["channels"]["pad_temperature"] = {"column": "T2", "unit": PAD[1]}
    if fault and fault.card:
        fault.card(card, size)
    (folder / "test.yaml").write_text(yaml.safe_dump(card, sort_keys=False))
    return folder


def _write(folder: Path, samples: pl.DataFrame, style: Style) -> None:
    """Recordings with the pad's channel beside those that the writer knows."""
    folder.mkdir(parents=True, exist_ok=True)
    known = [c for c in samples.columns if c not in ("recording", PAD[0])]
    for (number,), part in samples.partition_by("recording", as_dict=True, maintain_order=True).items():
        table = part.select(pl.col(known).round(2), pl.col(PAD[0]).round(1))
        header = ",".join(style.names) + "\n"
        (folder / f"stop_{number:03d}.csv").write_text(header + table.write_csv(include_header=False))


def judge(fault: Fault, size: Any, result: Result, base: Result) -> Row:
    """Detected, and followed by what must follow."""
    struck = fault.struck(size)
    named = [f for f in result.findings if f["code"] in fault.codes]
    if struck and fault.consequence in ("suspect", "rejected"):
        named = [f for f in named if f["stop"] is None or f["stop"] in struck]
    if fault.channel:
        named = [f for f in named if f["channel"] in (fault.channel, None)]
    both = base.stops.select("stop", clean_mu="mu").join(result.stops, on="stop", how="inner")
    difference = (both["mu"] - both["clean_mu"]).abs().max()
    off = None if difference is None else float(difference)  # type: ignore[arg-type]
    status = dict(zip(result.stops["stop"], result.stops["status"], strict=True))
    followed = {
        "corrected": off is not None and off <= CORRECTED_WITHIN,
        "suspect": bool(struck) and all(status.get(s) in ("suspect", "rejected") for s in struck),
        "rejected": bool(struck) and all(status.get(s) == "rejected" for s in struck),
        "test": any(f["severity"] in ("suspect", "unusable") for f in named),
        "told": bool(named),
    }[fault.consequence]
    return Row(fault.name, size, bool(named), followed, ", ".join(sorted({f["code"] for f in named})), off)


def injected(share: float = 1.0, seed: int = 11) -> list[Row]:
    """Every fault at both sizes (or an even share of them)."""
    cases = [(fault, size) for fault in FAULTS for size in fault.sizes]
    step = max(1, round(1 / share))
    with tempfile.TemporaryDirectory() as name:
        base = reduced(written(Path(name) / "clean", clean(seed)))
        rows = []
        for k, (fault, size) in enumerate(cases[::step]):
            rows.append(judge(fault, size, reduced(written(Path(name) / str(k), clean(seed), fault, size)), base))
    return rows


def false_findings(tests: int) -> tuple[int, int, dict[str, int]]:
    """(stops with a finding above info, stops, codes found) over clean tests."""
    false, total, codes = 0, 0, {}
    with tempfile.TemporaryDirectory() as name:
        for seed in range(100, 100 + tests):
            result = reduced(written(Path(name) / str(seed), clean(seed)))
            loud = [f for f in result.findings if f["severity"] != "info"]
            for f in loud:
                codes[f["code"]] = codes.get(f["code"], 0) + 1
            everywhere = any(f["stop"] is None for f in loud)
            total += result.stops.height
            false += result.stops.height if everywhere else len({f["stop"] for f in loud})
    return false, total, codes


def page(rows: list[Row], false: int, total: int, codes: dict[str, int]) -> str:
    low, high = _interval(false, total)
    lines = [
        "<!-- generated by `python -m tests.studies.faults --write`; do not edit -->\n",
        "# Faults found\n",
        f"{len({r.fault for r in rows})} kinds of fault, each at two sizes, injected into a clean simulated test of {len(ALL)} stops at 100 Hz and",
        "taken through the raw files. *Detected*: a finding of the right kind on the right channel and stop. *Followed*: the",
        f"consequence is the right one (corrected: mu of every stop within {CORRECTED_WITHIN} of the clean test's).\n",
        f"Detected {sum(r.detected for r in rows)} of {len(rows)}, followed {sum(r.followed for r in rows)} of {len(rows)}.\n",
        "| fault | size | detected | followed | findings | largest change of mu |",
        "|---|---|---|---|---|---|",
    ]
    for r in rows:
        off = "-" if r.off is None else f"{r.off:.4f}"
        lines.append(
            f"| {r.fault} | {r.size} | {_word(r.detected)} | {_word(r.followed)} | {r.found or 'none'} | {off} |"
        )
    named = ", ".join(f"{c} {n}" for c, n in sorted(codes.items())) or "none"
    lines += [
        "\n## False findings\n",
        f"Clean tests of other seeds: {false} of {total} stops carry a finding above severity info: {100 * false / total:.2f} %",
        f"(95 % interval {100 * low:.2f} to {100 * high:.2f} %). Codes: {named}.\n",
    ]
    return "\n".join(lines)


def _word(truth: bool) -> str:
    return "yes" if truth else "**no**"


def _interval(k: int, n: int) -> tuple[float, float]:
    """Exact binomial interval at 95 % (Clopper and Pearson 1934)."""
    found = statistics.binomtest(k, n).proportion_ci(0.95, method="exact")
    return float(found.low), float(found.high)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--share", type=float, default=1.0)
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    rows = injected(options.share)
    false, total, codes = false_findings(max(1, round(26 * options.share)))
    text = page(rows, false, total, codes)
    print(text)
    if options.write:
        (Path(__file__).parents[2] / "docs" / "faults_study.md").write_text(text)


if __name__ == "__main__":
    main()
