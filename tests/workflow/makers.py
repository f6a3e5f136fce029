"""Small workspaces for tests of the workflow."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

from tests.conftest import REPO, SAMPLES


def small_workspace(base: Path, tests: list[str]) -> Path:
    """A workspace with copies of some sample tests and two methods; its config's path."""
    base.mkdir(parents=True, exist_ok=True)
    for test in tests:
        shutil.copytree(SAMPLES / "archive" / test, base / "archive" / test)
    (base / "methods").mkdir()
    (base / "methods" / "plain.yaml").write_text("")
    config = base / "config.yaml"
    config.write_text("archive: archive\nresults: results\nmethods: [methods/plain.yaml]\n")
    return config


def snakemake(
    config: Path, *options: str, directory: Path | None = None, snakefile: Path = REPO / "Snakefile"
) -> subprocess.CompletedProcess[str]:
    """Snakemake as a user calls it directly."""
    return subprocess.run(
        [sys.executable, "-m", "snakemake", "-s", str(snakefile), "--directory", str(directory or config.parent / "work"),
         "--configfile", str(config), "--cores", "2", "--keep-going", *options],
        capture_output=True, text=True, check=False,
    )  # fmt: skip


def planned_rules(config: Path, directory: Path | None = None, snakefile: Path = REPO / "Snakefile") -> dict[str, int]:
    """Jobs per rule that a run would do now (empty: nothing to do)."""
    done = snakemake(config, "-n", "--quiet", "host", directory=directory, snakefile=snakefile)
    assert done.returncode == 0, done.stderr
    counts: dict[str, int] = {}
    lines = (done.stdout + done.stderr).splitlines()
    if "Job stats:" in lines:
        for line in lines[lines.index("Job stats:") + 3 :]:
            parts = line.split()
            if len(parts) != 2 or not parts[1].isdigit():
                break
            counts[parts[0]] = int(parts[1])
    return counts


def snapshot(folder: Path) -> dict[str, bytes]:
    """Bytes of every file below a folder, by relative path."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}
