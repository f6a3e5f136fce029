"""Broken and hostile archives: none may end in a traceback, reach outside results/, or give a wrong number in silence.

    python -m tests.studies.fuzz [--count 2000] [--first 0] [--processes 1] [--write]

Each archive is a valid one (delimited text, Parquet, MDF or TDMS) with one to three mutations, run through the stages in
this process without their guard; binary recordings are read in one of their own, as the workflow does. Counted are

* tracebacks: any exception out of a stage, or a stage that takes longer than LONGEST_S;
* escapes: a file outside results/ changed or made, the secret outside the archive in a result, unescaped markup on a page,
  the results of another test changed or missing in its compound (looked at in every fiftieth archive);
* silent numbers: a stop with status ok, no finding on it, its file or the whole test, and mu off by more than 0.02 or
  energy by 5 % from the sound archive's, where the damage is in a recording.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import multiprocessing
import os
import resource
import shutil
import signal
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import yaml

from tests.hostile import base, chain, damage, folders, settings

LONGEST_S, WAITED = 60, 20
MU_OFF, ENERGY_OFF = 0.02, 0.05
MARKER, SECRET = "<xss-marker", "7319.1973"
MEMORY = 8 << 30
BYSTANDER, BESIDE = "bystander", 50  # every so many archives hold a sound test too, and go on to the compound's sheet


@dataclass
class Outcome:
    """What one fuzzed archive led to."""

    seed: int
    form: str
    mutations: list[str]
    unusable: bool = False
    flagged: int = 0
    tracebacks: list[str] = field(default_factory=list)
    escapes: list[str] = field(default_factory=list)
    silent: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Ground:
    """A sound archive per format, what its stops truly give, and a folder outside that must stay as it is."""

    room: Path
    truth: dict[str, dict[str, tuple[float | None, float | None]]]
    usual: frozenset[str] = frozenset()


@contextmanager
def ground(forms: Sequence[str] = base.FORMATS, *, beside: bool = True) -> Iterator[Ground]:
    """beside: with the sound test that archives may be given beside the broken one."""
    with tempfile.TemporaryDirectory(prefix="fuzz-") as text:
        room = Path(text)
        truth, usual = {}, set()
        for form in forms:
            folder = base.write_base(room / "sound" / form, form, "victim")
            truth[form] = base.reference(folder, room / "sound-results" / form)
            usual |= {f["code"] for f in _findings(room / "sound-results" / form)}
        if beside:
            chain.per_test(base.write_base(room / "beside-archive", "delimited", BYSTANDER), room / "beside")
            chain.pages(room / "beside-archive", room / "beside", [BYSTANDER])
        yield Ground(room, truth, frozenset(usual))


def _findings(results: Path) -> list[dict[str, Any]]:
    """Findings of ingest and reduction."""
    found = json.loads((results / "channels" / "victim.json").read_text())["findings"]
    stops = results / chain.METHOD / "tests" / "victim" / "stops_findings.json"
    return [*found, *json.loads(stops.read_text())["findings"]]


def fuzzed(seed: int, ground: Ground, *, whole: bool | None = None, beside: bool | None = None) -> Outcome:
    """Mutate, run, judge.

    whole: through all stages of a test and its page, not only ingest and reduction; default: where wear or names are
    mutated, and in every fifth. beside: with a sound test of the same compound, on to the compound's sheet; default: in
    every fiftieth.
    """
    rng = np.random.default_rng(seed)
    form = str(rng.choice(base.FORMATS, p=[0.76, 0.08, 0.08, 0.08]))
    with tempfile.TemporaryDirectory(prefix=f"{seed}-", dir=ground.room) as text:
        place = Path(text)
        archive, results, outside = place / "archive", place / "results", place / "outside"
        shutil.copytree(ground.room / "sound" / form, archive)
        outside.mkdir()
        (outside / "secret.csv").write_text("t,n,Mb,p,T1\n" + f"{SECRET},1,1,1,1\n" * 50)
        chosen = mutations(form, rng)
        outcome = Outcome(seed, form, [mutation.__name__ for mutation in chosen])
        for mutation in chosen:
            _applied(mutation, archive / "victim", rng, outcome)
        before = _state(place)
        deep = any(m in settings.WEAR or m is settings.text_replaced for m in chosen) or seed % 5 == 0
        beside = seed % BESIDE == 0 if beside is None else beside
        if beside:
            _put_beside(ground, archive, results)
            before = _state(place)
        with _limited(outcome):
            _run(archive, results, (deep if whole is None else whole) or beside)
            if beside:
                chain.compounds(archive, results)
        _look_for_escapes(place, before, results, outcome)
        if beside and not outcome.tracebacks:
            _look_beside(results, ground, outcome)
        only_recordings = not any(m in settings.CARD for m in chosen)
        if not outcome.tracebacks:
            _look_for_silence(results, ground, outcome, judge=only_recordings)
        return outcome


def _put_beside(ground: Ground, archive: Path, results: Path) -> None:
    """A sound test of the same compound, reduced already, beside the broken one."""
    shutil.copytree(ground.room / "sound" / "delimited" / "victim", archive / BYSTANDER)
    shutil.copytree(ground.room / "beside", results)


def _look_beside(results: Path, ground: Ground, outcome: Outcome) -> None:
    """The other test's files are as they were, and its compound's files speak of it."""
    for path in (ground.room / "beside").rglob("*"):
        if path.is_file() and path.parent.name == BYSTANDER:
            now = results / path.relative_to(ground.room / "beside")
            if not now.is_file() or now.read_bytes() != path.read_bytes():
                outcome.escapes.append(f"the other test's {path.name} changed")
    batches = json.loads((results / chain.METHOD / "compounds" / "marram-4" / "batches.json").read_text())
    if not any(BYSTANDER in batch["tests"] for batch in batches["batches"]):
        outcome.escapes.append("the other test is missing in its compound")


def mutations(form: str, rng: np.random.Generator) -> list[Callable[[Path, Any], None]]:
    """One to three mutations that fit the format."""
    pools = [damage.ANY_FORMAT, folders.ALL, settings.CARD, settings.WEAR]
    weights = [0.30, 0.25, 0.35, 0.10]
    if form == "delimited":
        pools, weights = [damage.TEXT_ONLY, *pools], [0.5, 0.12, 0.13, 0.18, 0.07]
    count = int(rng.choice([1, 2, 3], p=[0.7, 0.2, 0.1]))
    drawn = [pools[rng.choice(len(pools), p=weights)] for _ in range(count)]
    return [pool[rng.integers(len(pool))] for pool in drawn]


def _applied(mutation: Callable[[Path, Any], None], folder: Path, rng: np.random.Generator, outcome: Outcome) -> None:
    try:
        mutation(folder, rng)
    except (OSError, ValueError, IndexError, KeyError, TypeError, AttributeError, RecursionError, yaml.YAMLError):
        # An earlier mutation has taken away what this one works on, or made a document that nests too deep to read.
        outcome.mutations[outcome.mutations.index(mutation.__name__)] += " (void)"


def _run(archive: Path, results: Path, whole: bool) -> None:
    from pipeline.archive.scan import scan
    from pipeline.inputs import seen
    from pipeline.workspace.check import checked_place

    found = scan(archive)
    for test in found.tests:
        if test == BYSTANDER:
            continue
        seen.fingerprint(seen.look(archive / test), besides=found.wear.get(test))
        if whole:
            chain.per_test(archive / test, results)
            chain.pages(archive, results, [test])
        else:
            chain.to_stops(archive / test, results)
    if whole:
        checked_place(archive)


@contextmanager
def _limited(outcome: Outcome) -> Iterator[None]:
    """Whatever comes out is a traceback; a stage that hangs is interrupted: by processor time, for the machine may be busy."""

    def stop(*_: object) -> None:
        raise TimeoutError(f"longer than {LONGEST_S} s of processor time, or {WAITED} times that by the clock")

    kept = {number: signal.signal(number, stop) for number in (signal.SIGPROF, signal.SIGALRM)}
    signal.setitimer(signal.ITIMER_PROF, LONGEST_S)
    signal.alarm(WAITED * LONGEST_S)
    try:
        yield
    except BaseException as error:
        if isinstance(error, KeyboardInterrupt):
            raise
        outcome.tracebacks.append("".join(traceback.format_exception(error)[-6:]))
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.alarm(0)
        for number, handler in kept.items():
            signal.signal(number, handler)


def _state(place: Path) -> dict[str, str]:
    """Every file but those in results: kind, size, time and content."""
    state = {}
    for path in sorted(place.rglob("*")):
        if path.is_relative_to(place / "results"):
            continue
        info = path.lstat()
        text = f"{info.st_mode} {info.st_size} {info.st_mtime_ns}"
        if path.is_file() and not path.is_symlink() and os.access(path, os.R_OK):
            text += hashlib.sha256(path.read_bytes()).hexdigest()
        state[os.fsdecode(os.fsencode(path))] = text
    return state


def _look_for_escapes(place: Path, before: dict[str, str], results: Path, outcome: Outcome) -> None:
    after = _state(place)
    outcome.escapes += [
        f"changed: {name}" for name in before.keys() | after.keys() if before.get(name) != after.get(name)
    ]
    for name in ("escaped", "outside/escaped"):
        if Path(name).exists():
            outcome.escapes.append(f"made: {name}")
    for path in results.rglob("*"):
        if path.suffix in (".json", ".html") and path.is_file():
            text = path.read_text(encoding="utf-8")
            if SECRET in text or "root:x:0" in text:
                outcome.escapes.append(f"secret in {path.name}")
            if path.suffix == ".html" and MARKER in text:
                outcome.escapes.append(f"markup in {path.name}")
        if path.suffix == ".part":
            outcome.escapes.append(f"half-written {path.name}")
    table = results / "channels" / "victim.parquet"
    known = table.is_file() and "time" in pl.read_parquet_schema(table)
    if known and (pl.read_parquet(table)["time"] == float(SECRET)).any():
        outcome.escapes.append("secret in the channels")


def _look_for_silence(results: Path, ground: Ground, outcome: Outcome, *, judge: bool) -> None:
    truth = ground.truth[outcome.form]
    into = results / chain.METHOD / "tests" / "victim"
    if not (into / "stops.parquet").is_file():
        return  # the folder's name or card keeps it out of the archive
    stops = pl.read_parquet(into / "stops.parquet")
    # What the sound archive shows too is no sign of the damage.
    found = [f for f in _findings(results) if f["code"] not in ground.usual]
    outcome.unusable = stops.height == 0
    outcome.flagged = int((stops["status"] != "ok").sum()) + len(found)
    of_files = {f["file"] for f in found if f["file"]}
    of_test = any(f["stop"] is None and f["file"] is None and f["severity"] != "info" for f in found)
    if not judge or of_test:
        return
    for row in stops.filter(pl.col("status") == "ok").iter_rows(named=True):
        if set(row["findings"]) - ground.usual or row["file"] in of_files or row["file"] not in truth:
            continue
        mu, energy = truth[row["file"]]
        if mu is None or energy is None or row["mu"] is None or row["energy_kj"] is None:
            outcome.silent.append(f"{row['file']}: ok with mu {row['mu']} energy {row['energy_kj']}")
        elif abs(row["mu"] - mu) > MU_OFF or abs(row["energy_kj"] / energy - 1) > ENERGY_OFF:
            outcome.silent.append(
                f"{row['file']}: mu {row['mu']:.4f} for {mu:.4f}, energy {row['energy_kj']:.1f} for {energy:.1f}"
            )


def summary(outcomes: list[Outcome]) -> dict[str, Any]:
    kinds = Counter(name for o in outcomes for name in o.mutations if not name.endswith("(void)"))
    return {
        "archives": len(outcomes),
        "unusable": sum(o.unusable for o in outcomes),
        "flagged": sum(o.flagged > 0 for o in outcomes),
        "tracebacks": sum(bool(o.tracebacks) for o in outcomes),
        "escapes": sum(bool(o.escapes) for o in outcomes),
        "silent": sum(bool(o.silent) for o in outcomes),
        "mutations": dict(sorted(kinds.items())),
    }


def page(result: dict[str, Any], seconds: float) -> str:
    """The study as a page of the documentation."""
    rows = "\n".join(f"| {name.replace('_', ' ')} | {count} |" for name, count in result["mutations"].items())
    return f"""# Broken and hostile archives

{result["archives"]} archives, each a valid one with one to three mutations (`python -m tests.studies.fuzz --count
{result["archives"]}`, {seconds / 60:.0f} minutes), run through ingest and reduction, where wear or names are mutated and in
every fifth through all stages of a test, in every fiftieth on to the compound's sheet, without the guard that the command line
puts around the stages.

| | archives |
|---|---|
| tracebacks, or a stage longer than {LONGEST_S} s | {result["tracebacks"]} |
| escapes: something outside results/ touched, a file outside the archive read, markup not escaped, another test affected | {result["escapes"]} |
| silent numbers: a stop ok without a finding whose mu is off by more than {MU_OFF} or energy by {ENERGY_OFF:.0%} | {result["silent"]} |
| with a finding or a stop that is not ok | {result["flagged"]} |
| without any stop, the reason given | {result["unusable"]} |

A well-formed wrong fact in test.yaml is no damage and is not judged for silent numbers.

| mutation | times |
|---|---|
{rows}
"""


def run(seeds: range) -> list[Outcome]:
    """Outcomes of the seeds in turn, each fault printed as it comes."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    outcomes = []
    with ground() as sound:
        for seed in seeds:
            outcome = fuzzed(seed, sound)
            outcomes.append(outcome)
            for name in ("tracebacks", "escapes", "silent"):
                for text in getattr(outcome, name):
                    print(f"seed {seed} ({outcome.form}: {', '.join(outcome.mutations)}): {name}: {text}", flush=True)
            if len(outcomes) % 50 == 0:
                print(f"{len(outcomes)} of {len(seeds)} from seed {seeds.start}", flush=True)
    return outcomes


def main() -> None:
    parser = argparse.ArgumentParser(description=str(__doc__).splitlines()[0])
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--write", action="store_true", help="write docs/fuzz_study.md")
    options = parser.parse_args()
    begun = time.perf_counter()
    seeds = range(options.first, options.first + options.count)
    with ProcessPoolExecutor(options.processes, mp_context=multiprocessing.get_context("spawn")) as pool:
        parts = pool.map(run, [seeds[i :: options.processes] for i in range(options.processes)])
        outcomes = [outcome for part in parts for outcome in part]
    result = summary(outcomes)
    print(json.dumps(result, indent=1))
    if options.write:
        Path("docs/fuzz_study.md").write_text(page(result, time.perf_counter() - begun), encoding="utf-8")


if __name__ == "__main__":
    main()
