"""A tiny workspace and its runs as processes of their own: what the studies of kills and of a broken system share."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from pipeline.cli.engine import LOG
from rig_samples.simulator import MARRAM_4, Identity, Rig, Style, simulate, write_test
from tests.conftest import REPO
from tests.hostile.base import PROGRAM

METHODS = {"as it was": "", "edited": "friction: {coverage: 95 %}\ndrift: {false_alarm_rate: 2 %}\n"}


def workspace(base: Path, tests: int) -> Path:
    """A workspace with so many simulated tests of eleven stops, one specimen each, and one method; its config's path."""
    for number in range(1, tests + 1):
        samples = simulate(PROGRAM, MARRAM_4, seed=40 + number, rig=Rig(sample_rate=50.0))
        who = Identity("Marram 4", "M4-2406", f"{number}", f"2026-03-{number:02d}")
        write_test(base / "archive" / f"t-{number}", samples, who, Style(compress=False))
    (base / "methods").mkdir()
    set_method(base, "as it was")
    (base / "config.yaml").write_text("archive: archive\nresults: results\nmethods: [methods/plain.yaml]\n")
    return base / "config.yaml"


def set_method(base: Path, name: str) -> None:
    (base / "methods" / "plain.yaml").write_text(METHODS[name])


def _heard() -> None:
    """Signals that the caller's own start ignores (nohup, a shell's background) are heard by the run all the same."""
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, signal.SIG_DFL)


def start(config: Path, before: Sequence[str] = ()) -> subprocess.Popen[str]:
    """`stopsheet run` begun, its words in a pipe; `before` stands before the command."""
    return subprocess.Popen(
        [*before, sys.executable, "-m", "pipeline", "run", str(config), "--cores", "2"],
        env={**os.environ, "PYTHONPATH": str(REPO)}, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
        preexec_fn=_heard,
    )  # fmt: skip


def ended(run: subprocess.Popen[str]) -> tuple[int, list[str]]:
    """Exit code and lines of complaint of a run."""
    said = run.communicate()[1]
    return run.returncode, said.splitlines()


def run(config: Path, before: Sequence[str] = ()) -> tuple[int, list[str]]:
    return ended(start(config, before))


def results(config: Path) -> dict[str, bytes]:
    """Bytes of every result; what begins with a dot is the workflow's own memory, and the log has times."""
    root = config.parent / "results"
    files = [path for path in sorted(root.rglob("*")) if path.is_file() and path != root / LOG]
    names = {path: path.relative_to(root) for path in files}
    return {
        str(name): path.read_bytes() for path, name in names.items() if not any(p.startswith(".") for p in name.parts)
    }


def undisturbed(config: Path, method: str) -> tuple[dict[str, bytes], float]:
    """Results of a whole run from nothing, and how long it took (s)."""
    forget(config)
    set_method(config.parent, method)
    begun = time.monotonic()
    code, said = run(config)
    if code:
        raise RuntimeError(f"the undisturbed run ended with {code}: {said}")
    return results(config), time.monotonic() - begun


def forget(config: Path) -> None:
    shutil.rmtree(config.parent / "results", ignore_errors=True)


def processes(config: Path) -> dict[int, str]:
    """Living processes that work in the workspace: id -> command line."""
    found = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdecimal() and int(entry.name) != os.getpid():
            with contextlib.suppress(OSError):
                words = (entry / "cmdline").read_bytes().replace(b"\0", b" ").decode(errors="replace")
                if f"{config.parent}{os.sep}" in words:
                    found[int(entry.name)] = words
    return found


def stages(config: Path) -> list[int]:
    """Living processes of stages, as the engine started them."""
    return [one for one, words in processes(config).items() if "-m pipeline --seen" in words]


def hold(process: int) -> bool:
    """Stop a process where it stands, to be killed there; False where it had ended before."""
    try:
        os.kill(process, signal.SIGSTOP)
        while (state := Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()[0]) not in "TtZX":
            time.sleep(0.001)
        return state in "Tt"
    except OSError:
        return False


def kill(process: int) -> None:
    with contextlib.suppress(ProcessLookupError):
        os.kill(process, signal.SIGKILL)
