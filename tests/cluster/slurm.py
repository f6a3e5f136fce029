"""Slurm with one node on this machine, as a test starts it: its own configuration and ports, everything below one folder.

Needs slurmctld, slurmd and munged (Debian: `apt-get install slurm-wlm munge`) and nothing that runs already; no systemd, no
cgroups, no database. As root, or as a user for that user's jobs. The node claims eight cores and 32 GB whatever the machine
has, so that what a profile asks for is granted.
"""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

NEEDED = ("munged", "slurmctld", "slurmd", "sinfo", "sbatch", "squeue", "scancel", "scontrol")
PATIENCE_S = 90.0
CONFIGURATION = """\
ClusterName=ours
SlurmctldHost={node}(127.0.0.1)
SlurmctldPort={control}
SlurmdPort={daemon}
SlurmUser={user}
SlurmdUser={user}
AuthType=auth/munge
CryptoType=crypto/munge
AuthInfo=socket={base}/munge.socket
StateSaveLocation={base}/state
SlurmdSpoolDir={base}/spool
SlurmctldPidFile={base}/slurmctld.pid
SlurmdPidFile={base}/slurmd.pid
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
SwitchType=switch/none
MpiDefault=none
JobAcctGatherType=jobacct_gather/none
AccountingStorageType=accounting_storage/none
SchedulerType=sched/backfill
SelectType=select/cons_tres
SelectTypeParameters=CR_CPU_Memory
SlurmdParameters=config_overrides
PropagateResourceLimits=NONE
ReturnToService=2
MinJobAge=3600
KillWait=5
NodeName={node} NodeAddr=127.0.0.1 CPUs=8 RealMemory=32000 State=UNKNOWN
PartitionName=all Nodes={node} Default=YES MaxTime=INFINITE State=UP
"""


@contextlib.contextmanager
def one_node(base: Path) -> Iterator[dict[str, str]]:
    """Slurm until the block ends; gives what is to stand in the environment of those who use it.

    Raises RuntimeError, with what the daemons said, where it does not come up.
    """
    missing = [name for name in NEEDED if _program(name) is None]
    if missing:
        raise RuntimeError(f"no {', '.join(missing)}: apt-get install slurm-wlm munge")
    node = socket.gethostname().split(".")[0]
    control, daemon = _free_ports(2)
    file = base / "slurm.conf"
    file.write_text(
        CONFIGURATION.format(
            base=base, node=node, control=control, daemon=daemon, user=pwd.getpwuid(os.getuid()).pw_name
        )
    )
    for name in ("state", "spool"):
        (base / name).mkdir()
    base.chmod(0o755)  # munged looks who may write above its socket
    key = base / "munge.key"
    key.write_bytes(os.urandom(1024))
    key.chmod(0o400)
    environment = {**os.environ, "SLURM_CONF": str(file)}
    munged = [f"--{name}={base}/munge.{name.split('-')[0]}" for name in ("key-file", "socket", "pid-file", "seed-file")]
    daemons = {
        "munged": ["--foreground", "--force", *munged],
        "slurmctld": ["-D", "-c"],
        "slurmd": ["-D", "-N", node],
    }
    with contextlib.ExitStack() as ended:
        try:
            running = {}
            for name, options in daemons.items():
                running[name] = _started(ended, base, name, options, environment)
                if name == "munged":
                    _wait(lambda: (base / "munge.socket").exists(), running)
            _wait(lambda: _asked(["sinfo", "--noheader", "--format=%T"], environment) == "idle", running)
        except RuntimeError as error:
            said = "\n".join(f"--- {name}\n{_end_of(base / f'{name}.log')}" for name in daemons)
            raise RuntimeError(f"{error}\n{said}") from None
        yield environment


def jobs(environment: dict[str, str], *options: str) -> list[tuple[str, str]]:
    """(number, state) of the jobs in Slurm's memory, in the order of their numbers; options: of squeue."""
    lines = _asked(["squeue", "--noheader", "--states=all", "--format=%A %T", *options], environment).splitlines()
    found = [(number, state) for number, state in map(str.split, lines)]
    return sorted(found, key=lambda job: int(job[0]))


def _asked(command: list[str], environment: dict[str, str]) -> str:
    return subprocess.run(command, env=environment, capture_output=True, text=True, check=False).stdout.strip()


def _program(name: str) -> str | None:
    """Daemons stand in folders that a user's path may leave out."""
    return shutil.which(name, path=os.pathsep.join([os.environ.get("PATH", os.defpath), "/usr/sbin", "/sbin"]))


def _free_ports(count: int) -> list[int]:
    with contextlib.ExitStack() as opened:
        held = [opened.enter_context(socket.socket()) for _ in range(count)]
        for one in held:
            one.bind(("127.0.0.1", 0))
        return [one.getsockname()[1] for one in held]


def _started(
    ended: contextlib.ExitStack, base: Path, name: str, options: list[str], environment: dict[str, str]
) -> subprocess.Popen[bytes]:
    program = _program(name)
    assert program is not None
    with (base / f"{name}.log").open("wb") as log:
        daemon = subprocess.Popen(
            [program, *options], env=environment, stdin=subprocess.DEVNULL, stdout=log, stderr=subprocess.STDOUT
        )
    ended.callback(_stopped, daemon)
    return daemon


def _stopped(daemon: subprocess.Popen[bytes]) -> None:
    daemon.terminate()
    try:
        daemon.wait(timeout=20)
    except subprocess.TimeoutExpired:
        daemon.kill()
        daemon.wait()


def _wait(ready, running: dict[str, subprocess.Popen[bytes]]) -> None:
    until = time.monotonic() + PATIENCE_S
    while not ready():
        gone = [name for name, daemon in running.items() if daemon.poll() is not None]
        if gone or time.monotonic() > until:
            raise RuntimeError(f"Slurm did not come up: {', '.join(gone) or 'no answer'} in {PATIENCE_S:.0f} s")
        time.sleep(0.2)


def _end_of(log: Path) -> str:
    lines = log.read_text(errors="replace").splitlines() if log.is_file() else ["it was not started"]
    return "\n".join(lines[-25:])
