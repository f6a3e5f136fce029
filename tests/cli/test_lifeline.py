"""The lock of a results folder lives as long as any process of the run does."""

import os
import signal
import subprocess

import pytest

from pipeline.cli import lifeline
from pipeline.errors import InputError


def test_a_child_that_outlives_the_command_keeps_the_lock(tmp_path, monkeypatch):
    monkeypatch.setattr(lifeline, "WAIT_S", 0.2)
    with lifeline.alone(tmp_path, tmp_path / "config.yaml") as lock:
        # A grandchild that inherits nothing but its standard streams, as the engine starts its stages.
        child = subprocess.Popen(
            ["bash", "-c", "sleep 3600 <&0 >&- & echo $!; wait"], stdin=lock, stdout=subprocess.PIPE, close_fds=True
        )
        grandchild = int(child.stdout.readline())
    with pytest.raises(InputError, match="another run is writing"), lifeline.alone(tmp_path, tmp_path / "config.yaml"):
        pass
    os.kill(grandchild, signal.SIGTERM)
    child.communicate()
    with lifeline.alone(tmp_path, tmp_path / "config.yaml"):
        pass
