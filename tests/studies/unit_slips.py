"""Every channel in every unit of the trade under every label: what the tool makes of it.

    python -m tests.studies.unit_slips [--share 1.0] [--seed 1] [--write]

Each slip is put into a simulated test of 24 stops, whole or in ten stops in a row, and goes through the stops stage as a
test whose card states the wrong unit; some go through raw files from the first stage on. *Named*: a finding of the test
names the unit among its candidates, and no stop that it reaches is used (of channels on which no stop's figure rests: the
test is told). *Told*: found, under another name. *Not verifiable*: no finding, and the test's page says that this unit
cannot be told from the card's. *Silent* would be none of these. The sizes of the units are the study's own.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
from scipy import stats as statistics

from tests.stops.makers import Application, Reduction, Rig, card_text, record_of, recorded, reduce, write_test

# value in the unit -> SI: a x value + b (SI brochure; NIST SP 811)
SIZES: dict[str, dict[str, tuple[float, float]]] = {
    "pressure": {"bar": (1e5, 0.0), "MPa": (1e6, 0.0), "kPa": (1e3, 0.0), "psi": (6894.757293168361, 0.0), "kgf/cm^2": (98066.5, 0.0), "Pa": (1.0, 0.0)},
    "torque": {"N m": (1.0, 0.0), "lbf ft": (1.3558179483314, 0.0), "lbf in": (0.1129848290276, 0.0), "daN m": (10.0, 0.0), "kgf m": (9.80665, 0.0), "kN m": (1e3, 0.0)},
    "speed": {"rpm": (np.pi / 30, 0.0), "rad/s": (1.0, 0.0), "rev/s": (2 * np.pi, 0.0), "deg/s": (np.pi / 180, 0.0)},
    "time": {"s": (1.0, 0.0), "ms": (1e-3, 0.0), "min": (60.0, 0.0), "h": (3600.0, 0.0)},
    "temperature": {"degC": (1.0, 273.15), "degF": (5 / 9, 459.67 * 5 / 9), "K": (1.0, 0.0)},
}  # fmt: skip
SPELLED = {"rev/s": "rps"}
CHANNELS = {
    "pressure": "pressure", "pressure_2": "pressure", "torque": "torque", "drive_torque": "torque", "speed": "speed", "time": "time",
    "disc_temperature": "temperature", "surface_temperature": "temperature", "ambient_temperature": "temperature",
    "pad_temperature": "temperature", "caliper_temperature": "temperature",
}  # fmt: skip
FURTHER: dict[str, Callable[[dict[str, np.ndarray]], np.ndarray]] = {
    "pressure_2": lambda c: c["pressure"],
    "surface_temperature": lambda c: c["disc_temperature"] + 6.0,
    "ambient_temperature": lambda c: 0 * c["time"] + 296.0,
    "pad_temperature": lambda c: 296.0 + 0.35 * (c["disc_temperature"] - 296.0),
    "caliper_temperature": lambda c: 296.0 + 0.12 * (c["disc_temperature"] - 296.0),
}
PROGRAM = [
    Application(pressure=p, speed=(w, 500.0), block=f"{p} bar {w} rpm {t} C", temperature=float(t))
    for p in (10.0, 20.0, 40.0, 60.0) for w in (1200.0, 1500.0, 1800.0) for t in (120, 340)
]  # fmt: skip
PARTS = {"whole test": range(24), "ten stops": range(8, 18)}
NEAR = 0.05
NOISES = 3  # sets of noise


@dataclass(frozen=True)
class Case:
    """Values of `channel` in `actual` under a card that says `labelled`, in the stops of `part`."""

    channel: str
    actual: str
    labelled: str
    part: str


@dataclass(frozen=True)
class Row:
    """What came of it: named, told, not verifiable or silent; what was found; stops used that should not be."""

    case: Case
    outcome: str
    found: str
    used: int


def cases() -> Iterator[Case]:
    for channel, quantity in CHANNELS.items():
        for labelled in SIZES[quantity]:
            for actual in SIZES[quantity]:
                if actual != labelled:
                    for part in PARTS:
                        yield Case(channel, actual, labelled, part)


def slipped(case: Case) -> Callable[[int, dict[str, np.ndarray]], dict[str, np.ndarray]]:
    """The change of a recording's channels, SI as the tool would read them from the mislabelled file."""
    sizes = SIZES[CHANNELS[case.channel]]
    (a, b), (c, d) = sizes[case.actual], sizes[case.labelled]

    def change(i: int, channels: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
        channels = dict(channels)
        if case.channel in FURTHER:
            channels[case.channel] = FURTHER[case.channel](channels)
        if i in PARTS[case.part]:
            true = channels[case.channel]
            start = true[0] if case.channel == "time" else 0.0
            channels[case.channel] = start + c * (true - start - b) / a + d
        return channels

    return change


@lru_cache(maxsize=8)
def recordings(drive: bool, seed: int) -> tuple[dict[str, np.ndarray], ...]:
    """The programme's recordings, SI, on a clock that runs through."""
    rng, clock, found = np.random.default_rng(seed), 100.0, []
    for application in PROGRAM:
        channels, _ = recorded(application, rig(drive), rng)
        found.append(channels | {"time": channels["time"] + clock})
        clock = float(found[-1]["time"][-1]) + 60.0
    return tuple(found)


def rig(drive: bool) -> Rig:
    return Rig(inertia_mechanical=15.0) if drive else Rig()


def run(case: Case, seed: int) -> Reduction:
    drive = case.channel == "drive_torque"
    label = {case.channel: SPELLED.get(case.labelled, case.labelled)}
    units, more = ({}, label) if case.channel in FURTHER else (label, {})
    change = slipped(case)
    with tempfile.TemporaryDirectory() as name:
        base = Path(name)
        (base / "t1").mkdir()
        (base / "t1" / "test.yaml").write_text(card_text(PROGRAM, rig(drive), units=units, more=more))
        made = [change(i, channels) for i, channels in enumerate(recordings(drive, seed))]
        frames = [
            pl.DataFrame({"recording": np.full(c["time"].size, i + 1, dtype=np.int32)} | c) for i, c in enumerate(made)
        ]
        pl.concat(frames).write_parquet(base / "t1.parquet")
        record = {"test": "t1", "unusable": None, "holds": "stop", "findings": [],
                  "recordings": [record_of(i + 1, c) for i, c in enumerate(made)]}  # fmt: skip
        (base / "t1.json").write_text(json.dumps(record))
        return reduce(base)


def judged(case: Case, found: Reduction) -> Row:
    """Named, told, not verifiable or silent."""
    loud = [f for f in found.findings if f["stop"] is None and f["severity"] in ("suspect", "unusable")]
    words = f"{case.actual} labelled {SPELLED.get(case.labelled, case.labelled)}"
    named = [f for f in loud if words in f["message"] and case.channel.replace("_", " ") in f["message"]]
    rows = {row["channel"]: row for row in found.summary.get("units") or []}
    unverified = case.actual in (rows.get(case.channel) or {}).get("not_verifiable", [])
    struck = found.stops.filter(pl.col("stop").is_in([i + 1 for i in PARTS[case.part]]))
    used = 0 if case.channel in FURTHER else struck.filter(pl.col("status") == "ok").height
    if named and not used:
        outcome = "named"
    elif loud and not used:
        outcome = "told"
    else:
        outcome = "not verifiable" if unverified else "silent"
    return Row(case, outcome, ", ".join(sorted({f["code"] for f in named or loud})) or "none", used)


def studied(share: float = 1.0, seed: int = 1) -> list[Row]:
    """Every case, or an even share of them."""
    every = list(cases())
    rng = np.random.default_rng(seed)
    count = max(1, round(share * len(every)))
    chosen = range(len(every)) if count == len(every) else sorted(rng.choice(len(every), count, replace=False).tolist())
    return [judged(every[i], run(every[i], seed + i % NOISES)) for i in chosen]


def near(case: Case) -> bool:
    """Whether the units are nearer than 5 %; those of temperature are apart by more than 20 K at every start of the programme."""
    if CHANNELS[case.channel] == "temperature":
        return False
    sizes = SIZES[CHANNELS[case.channel]]
    return abs(float(np.log(sizes[case.actual][0] / sizes[case.labelled][0]))) <= NEAR


def false_findings(tests: int, seed: int = 1000) -> tuple[int, int]:
    """(stops in doubt, stops) of clean tests whose rig misses its levels: starts by a bias of up to 10 K and 5 K of scatter,
    pressures by 1 %, which is what a rig holds (common practice); more is a finding of the test on its own."""
    doubted, total = 0, 0
    for k in range(tests):
        rng = np.random.default_rng(seed + k)
        bias = rng.uniform(-10.0, 10.0)

        def missed(
            _: int, c: dict[str, np.ndarray], rng: np.random.Generator = rng, bias: float = bias
        ) -> dict[str, np.ndarray]:
            off = bias + 5.0 * rng.standard_normal()
            further = {name: made(c) for name, made in FURTHER.items()}
            return c | further | {"disc_temperature": c["disc_temperature"] + off}

        units = {name: "bar" if name == "pressure_2" else "degC" for name in FURTHER}
        with tempfile.TemporaryDirectory() as name:
            write_test(
                Path(name),
                PROGRAM,
                Rig(pressure_gain=1 + 0.01 * rng.uniform(-1, 1)),
                seed=seed + k,
                change=missed,
                more=units,
            )
            found = reduce(Path(name))
        loud = [f for f in found.findings if f["severity"] != "info"]
        total += found.stops.height
        every = any(f["stop"] is None for f in loud)
        doubted += found.stops.height if every else len({f["stop"] for f in loud})
    return doubted, total


def through_files() -> list[tuple[str, str]]:
    """A few slips through raw files and the first stage: (what, the findings of the test)."""
    from tests.studies.faults import clean, reduced, written

    lines = []
    for channel, unit in (
        ("pressure", "psi"),
        ("torque", "lbf ft"),
        ("speed", "rad/s"),
        ("disc_temperature", "K"),
        ("time", "ms"),
    ):
        with tempfile.TemporaryDirectory() as name:
            folder = written(Path(name), clean(11))
            card = (folder / "test.yaml").read_text()
            (folder / "test.yaml").write_text(_relabelled(card, channel, unit))
            found = reduced(folder)
        told = [f["message"] for f in found.findings if f["stop"] is None and f["severity"] in ("suspect", "unusable")]
        ok = found.stops.filter(pl.col("status") == "ok").height
        lines.append((f"{channel} labelled {unit}", f"{told[0] if told else 'nothing'} ({ok} stops ok)"))
    return lines


def _relabelled(card: str, channel: str, unit: str) -> str:
    import yaml

    content: dict[str, Any] = yaml.safe_load(card)
    content["recordings"]["channels"][channel]["unit"] = unit
    return str(yaml.safe_dump(content, sort_keys=False))


def page(rows: list[Row], false: tuple[int, int], files: list[tuple[str, str]]) -> str:
    counts = Counter(row.outcome for row in rows)
    low, high = statistics.binomtest(false[0], false[1]).proportion_ci(0.95, method="exact")
    far = [row for row in rows if not near(row.case)]
    lines = [
        "<!-- generated by `python -m tests.studies.unit_slips --write`; do not edit -->\n",
        "# Wrong units\n",
        *(line for line in (__doc__ or "").split("\n\n", 2)[2].strip().split("\n")),
        "",
        f"{len(rows)} slips: {', '.join(f'{n} {name}' for name, n in sorted(counts.items()))}. Of the {len(far)} between units more than "
        f"{100 * NEAR:.0f} % apart: {', '.join(f'{n} {name}' for name, n in sorted(Counter(r.outcome for r in far).items()))}.\n",
        f"Clean tests of rigs that miss their starts by up to 10 K (scatter 5 K) and their pressures by 1 %: {false[0]} of {false[1]} stops in",
        f"doubt (95 % interval {100 * low:.2f} to {100 * high:.2f} %).\n",
        "| channel | values in | card says | whole test | ten stops |",
        "|---|---|---|---|---|",
    ]
    at = {(r.case.channel, r.case.actual, r.case.labelled, r.case.part): r for r in rows}
    for channel, actual, labelled in dict.fromkeys((r.case.channel, r.case.actual, r.case.labelled) for r in rows):
        said = [_said(at.get((channel, actual, labelled, part))) for part in PARTS]
        lines.append(f"| {channel} | {actual} | {labelled} | {said[0]} | {said[1]} |")
    lines += [
        "\n## Through raw files\n",
        "| card changed | first finding |",
        "|---|---|",
        *(f"| {what} | {told} |" for what, told in files),
    ]
    return "\n".join(lines) + "\n"


def _said(row: Row | None) -> str:
    if row is None:
        return "-"
    used = f", {row.used} stops used" if row.used else ""
    return f"{'**silent**' if row.outcome == 'silent' else row.outcome} ({row.found}{used})"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--share", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    rows = studied(options.share, options.seed)
    text = page(rows, false_findings(max(1, round(20 * options.share))), through_files())
    print(text)
    if options.write:
        (Path(__file__).parents[2] / "docs" / "unit_slips_study.md").write_text(text)


if __name__ == "__main__":
    main()
