"""Only what differs is planned and made again, and results are those of a run from nothing, byte for byte, whatever differed.

One workspace goes from change to change, so that a stale result would stay to the end; then all is made from nothing.
"""

from __future__ import annotations

import gzip
import json
import shutil
import signal
import time
from collections import Counter
from pathlib import Path

import pytest
import yaml

from pipeline.cli import standing
from pipeline.workspace.telling import PLANNED
from rig_samples.simulator import MARRAM_4, MARRAM_6, Identity, Rig, Style, simulate, write_test
from tests.conftest import run_stopsheet
from tests.hostile.base import PROGRAM
from tests.studies import small_runs

pytestmark = [pytest.mark.workflow, pytest.mark.heavy]
OF_ARCHIVE = {"rigs": 1, "precision": 1, "charts": 1, "extracts": 1, "index": 1, "rig_page": 1}
#: of two tests of a compound one: its own stages; the drift of both, as their scatter is pooled
ONE_OF_TWO = {**OF_ARCHIVE, "stops": 1, "friction": 1, "wear": 1, "channels": 1, "repeatability": 1, "drift": 2, "findings": 2,
              "test_page": 2, "compound": 1, "sheet": 1, "compound_charts": 1}  # fmt: skip


def written(base: Path, test: str, compound: str, number: int) -> None:
    material = MARRAM_4 if compound == "Marram 4" else MARRAM_6
    samples = simulate(PROGRAM, material, seed=60 + number, rig=Rig(sample_rate=50.0))
    who = Identity(compound, f"B-{number % 2 + 1}", "A", f"2026-04-{number:02d}")
    write_test(base / "archive" / test, samples, who, Style(compress=True))


def made(base: Path) -> Path:
    """Three compounds of two batches with a specimen each."""
    for number in range(1, 7):
        written(base, f"t{number}", f"Marram {4 + 2 * ((number - 1) // 2)}", number)
    (base / "methods").mkdir()
    (base / "methods" / "plain.yaml").write_text("")
    config = base / "config.yaml"
    config.write_text(
        "archive: archive\nresults: results\nmethods: [methods/plain.yaml]\ncompare_compounds: [[Marram 4, Marram 6]]\n"
    )
    return config


def stronger(base: Path, test: str, factor: float) -> None:
    """The torque of one recording times a factor."""
    path = base / "archive" / test / "recordings" / "stop_004.csv.gz"
    head, *lines = gzip.decompress(path.read_bytes()).decode().splitlines()
    place = head.split(",").index("Mb")
    rows = [line.split(",") for line in lines]
    told = [",".join([*row[:place], f"{float(row[place]) * factor:.2f}", *row[place + 1 :]]) for row in rows]
    path.write_bytes(gzip.compress(("\n".join([head, *told]) + "\n").encode(), mtime=0))


def card(base: Path, test: str, **changes: str) -> None:
    path = base / "archive" / test / "test.yaml"
    path.write_text(yaml.safe_dump(yaml.safe_load(path.read_text()) | changes, sort_keys=False))


def ran(config: Path) -> tuple[Counter[str], tuple[list[str], list[str]] | None]:
    """Stages that a run ran, and the tests and compounds that it planned for; None for all."""
    time.sleep(standing.UNSETTLED_S + 0.1)  # files that are newer prove nothing
    place = config.parent / "results" / PLANNED
    place.unlink(missing_ok=True)
    done = json.loads(run_stopsheet("run", config, "--json", check=False).stdout)
    assert done["exit_code"] in (0, 3) and not done["failed"]
    part = json.loads(place.read_text()) if place.is_file() else None
    return Counter(one["stage"] for one in done["ran"]), part and (part["tests"], part["compounds"])


def killed(config: Path) -> None:
    """A run that is killed as soon as it has judged the rigs."""
    place = config.parent / "results" / "plain" / "rigs.json"
    before = place.stat().st_mtime_ns
    run = small_runs.start(config)
    while run.poll() is None and not (place.is_file() and place.stat().st_mtime_ns > before):
        time.sleep(0.02)
    run.send_signal(signal.SIGKILL)
    small_runs.ended(run)


def test_what_differs_is_made_again_and_nothing_else_and_all_is_as_from_nothing(tmp_path):
    config = made(tmp_path / "edited")
    base, results = config.parent, config.parent / "results" / "plain"
    first, part = ran(config)
    assert part is None and first["stops"] == 6
    assert ran(config) == (Counter(), None)

    stronger(base, "t1", 1.01)
    assert ran(config) == (Counter({**ONE_OF_TWO, "comparison": 1}), (["t1", "t2"], ["marram-4"]))
    card(base, "t6", date="2026-04-20")
    same_scatter = {**ONE_OF_TWO, "findings": 1, "test_page": 1}  # the other's drift is what it was
    assert ran(config) == (Counter(same_scatter), (["t5", "t6"], ["marram-8"]))

    for lost in (
        "compounds/marram-8/sheet.pdf",
        "tests/t3/test.html",
        "tests/t2/extracts/rigs.json",
        "compounds/marram-6/extracts/precision.json",
    ):
        (results / lost).unlink()
    again, _ = ran(config)
    assert again == Counter({"extracts": 1, "sheet": 1, "test_page": 1})
    (results / "tests" / "t4" / "stops.parquet").unlink()
    again, part = ran(config)
    assert again["stops"] == 1 and again["drift"] == 2 and part == (["t3", "t4"], ["marram-6"])
    assert "test_page" not in again and "compound" not in again  # it holds what it held
    fault = results / "tests" / "t3" / "wear.json.fault.json"
    fault.write_text(
        json.dumps(
            {"stage": "wear", "subject": "t3", "kind": "machine", "why": "no memory", "software": "x", "tries": 1}
        )
    )
    again, part = ran(config)
    assert again["wear"] == 1 and "stops" not in again and part == (["t3", "t4"], ["marram-6"]) and not fault.exists()

    written(base, "t7", "Marram 4", 7)
    again, part = ran(config)
    assert again == Counter({**ONE_OF_TWO, "drift": 3, "findings": 3, "test_page": 3, "comparison": 1})
    assert part == (["t1", "t2", "t7"], ["marram-4"])
    stronger(base, "t7", 1.02)
    killed(config)
    ran(config)

    (base / "methods" / "plain.yaml").write_text("drift: {false_alarm_rate: 2 %}\n")
    again, part = ran(config)
    assert part is None and again["drift"] == 7 and "stops" not in again
    (base / "rigs").mkdir()
    (base / "rigs" / "north.yaml").write_text("rig: north\nevents:\n- {date: '2026-04-04', what: rebuild}\n")
    (base / "targets").mkdir()
    (base / "targets" / "m.yaml").write_text("compound: Marram 8\nmu: [0.3, 0.6]\n")
    config.write_text(f"{config.read_text()}rigs: rigs/*.yaml\ntargets: targets/*.yaml\n")
    again, part = ran(config)
    assert part is None and again["rigs"] == 1 and "stops" not in again
    stronger(base, "t2", 1.05)  # what its rig shows at the event moves with it
    assert ran(config)[0]["stops"] == 1
    assert ran(config)[0] == Counter()
    assert small_runs.results(config) == from_nothing(base, tmp_path / "fresh")


def test_a_test_taken_out_leaves_its_results_and_moves_all_others_as_from_nothing(tmp_path):
    """From results that were moved, of which the engine has no record."""
    config = made(tmp_path / "made")
    ran(config)
    base = tmp_path / "edited"
    shutil.move(config.parent, base)
    shutil.move(base / "archive" / "t5", tmp_path / "out")
    again, _ = ran(base / "config.yaml")
    assert again["repeatability"] == again["compound"] == again["sheet"] == 1 and "stops" not in again
    found, fresh = small_runs.results(base / "config.yaml"), from_nothing(base, tmp_path / "fresh")
    left_over = {name for name in found if "t5" in Path(name).parts or Path(name).stem == "t5"} | {
        "plain/archive.json",
        "plain/index.html",
    }
    assert {name: found[name] for name in found.keys() - left_over} == {
        name: fresh[name] for name in fresh.keys() - left_over
    }


def from_nothing(base: Path, fresh: Path) -> dict[str, bytes]:
    """Results of a copy of the workspace that has none."""
    shutil.copytree(base, fresh, ignore=shutil.ignore_patterns("results"))
    ran(fresh / "config.yaml")
    return small_runs.results(fresh / "config.yaml")
