"""Small workspaces for tests of the workflow."""

from __future__ import annotations

import atexit
import json
import os
import subprocess
import sys
from functools import lru_cache
from pathlib import Path

from rig_samples.simulator import MARRAM_6, Identity, Rig, Style, simulate, write_test
from tests.conftest import REPO
from tests.hostile.base import PROGRAM

# What shells, formatting, patterns of paths and markup take for their own.
PLACE = "a {test} {{x}} <results> <b> [c]* 'ö' \"$HOME\" %s ~ #é"
UNDERSCORES = "x" + 25 * "_"

# Loads Snakemake and what the Snakefile imports once; each line of arguments is then run in a child that begins from there.
FORKED = """
import importlib, json, os, re, sys, traceback
import snakemake.api, snakemake.cli, snakemake.executors.local, snakemake.scheduling, snakemake.workflow
for name in re.findall(r"^(?:from|import) ((?:pipeline|snakemake)[.\\w]*)", open(sys.argv[1]).read(), re.MULTILINE):
    importlib.import_module(name)
for line in sys.stdin:
    words, out, err = json.loads(line)
    child = os.fork()
    if not child:
        for number, path in ((1, out), (2, err)):
            os.dup2(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), number)
        code = 70
        try:
            snakemake.cli.main(words)
        except SystemExit as end:
            code = end.code or 0
        except BaseException:
            traceback.print_exc()
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)
    print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
"""


def small_workspace(base: Path, tests: list[str]) -> Path:
    """A workspace with a method and short simulated tests of one batch, their recordings packed; its config's path."""
    for number, test in enumerate(tests, 1):
        samples = simulate(PROGRAM, MARRAM_6, seed=60 + number, rig=Rig(sample_rate=50.0))
        who = Identity("Marram 6", "M6-2406", "AB"[number - 1], f"2026-04-{number:02d}")
        write_test(base / "archive" / test, samples, who, Style(compress=True))
    (base / "methods").mkdir(parents=True)
    (base / "methods" / "plain.yaml").write_text("")
    config = base / "config.yaml"
    config.write_text("archive: archive\nresults: results\nmethods: [methods/plain.yaml]\n")
    return config


OURS = REPO / "Snakefile"


def _words(config: Path, options: tuple[str, ...], directory: Path | None, snakefile: Path = OURS) -> list[str]:
    return [
        "-s", str(snakefile), "--directory", str(directory or config.parent / "results"), "--configfile", str(config),
        "--cores", "2", "--keep-going", *options,
    ]  # fmt: skip


def snakemake(
    config: Path, *options: str, directory: Path | None = None, snakefile: Path = OURS
) -> subprocess.CompletedProcess[str]:
    """Snakemake as a user calls it directly."""
    return subprocess.run(
        [sys.executable, "-m", "snakemake", *_words(config, options, directory, snakefile)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip


@lru_cache(maxsize=1)
def _server() -> subprocess.Popen[str]:
    server = subprocess.Popen(
        [sys.executable, "-c", FORKED, str(OURS)], env={**os.environ, "PYTHONPATH": str(REPO)}, stdin=subprocess.PIPE,
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    atexit.register(server.communicate)
    return server


def snakemake_again(config: Path, *options: str, directory: Path | None = None) -> subprocess.CompletedProcess[str]:
    """The same call in a process that need not load Snakemake first: half of what a call takes that runs nothing."""
    server = _server()
    words = _words(config, options, directory)
    out, err = (config.parent / f"snakemake.{name}" for name in ("out", "err"))
    assert server.stdin and server.stdout
    server.stdin.write(json.dumps([words, str(out), str(err)]) + "\n")
    server.stdin.flush()
    code = int(server.stdout.readline())
    return subprocess.CompletedProcess(words, code, out.read_text(), err.read_text())


def planned_rules(config: Path, directory: Path | None = None, snakefile: Path = OURS) -> dict[str, int]:
    """Jobs per rule that a run would do now (empty: nothing to do)."""
    if snakefile == OURS:
        done = snakemake_again(config, "-n", "--quiet", "host", directory=directory)
    else:  # another checkout's modules are not those that were loaded
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
