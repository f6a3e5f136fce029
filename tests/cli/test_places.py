"""A wrong place ends with 2 and one line that names it; nothing is written; any terminal can show the line.

Permissions do not bind a superuser, so the tests of those drop to another user's rights for the call (in this process:
that is what the system checks); as another user nothing has to be dropped.
"""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from pipeline.cli import run
from pipeline.workspace.run import load_run
from tests.archive.makers import card_folder
from tests.conftest import REPO

NOBODY = 65534
CONFIG = "archive: archive\nresults: results\nmethods: [m.yaml]\n"


def workspace(base: Path, text: str = CONFIG) -> Path:
    card_folder(base / "archive")
    (base / "m.yaml").write_text("")
    config = base / "config.yaml"
    config.write_text(text)
    return config


@pytest.fixture(autouse=True)
def in_this_process(monkeypatch):
    """A call that reads recordings divides its process to watch itself; the one here runs the tests and must stay one."""
    monkeypatch.setattr("pipeline.cli.bounds._alone", lambda: False)


@pytest.fixture
def open_place():
    """A folder that every user can reach, as the tests' own may be closed to others."""
    place = Path(tempfile.mkdtemp(prefix="stopsheet-test-"))
    place.chmod(0o777)
    # What a call imports is imported before rights are dropped: the checkout itself may be closed to others.
    load_run(workspace(place / "sound"))
    yield place
    shutil.rmtree(place)


@contextlib.contextmanager
def without_privileges():
    """Calls as a user to whom permissions apply."""
    own = os.geteuid()
    if own == 0:
        os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(own)


def refused(capsys, *arguments: object) -> str:
    """The one line with which a call ends with 2."""
    code = run([str(argument) for argument in arguments])
    captured = capsys.readouterr()
    (line,) = (captured.out + captured.err).splitlines()
    assert line.startswith("stopsheet: ")
    assert "Traceback" not in line and "fault of ours" not in line
    assert code == 2, line
    return line


@pytest.mark.parametrize("command", ["run", "check"])
@pytest.mark.parametrize(
    ("results", "said"),
    [
        ("archive", "is the archive itself"),
        ("archive/results", "lies in the archive"),
        (".", "holds the archive"),
        ("link", "is the archive itself"),
        ("m.yaml", "is a file"),
        ("m.yaml/results", "is a file"),
        ("~/results", "'~'"),
        ("D:\\results", "drive"),
        ("'a\\0b'", "results"),
        ("r" * 300, "too long"),
    ],
)
def test_results_where_they_would_do_harm_or_cannot_be_are_refused(tmp_path, capsys, command, results, said):
    """Results in the archive would be taken for tests by the next run; results around it could be deleted with it."""
    config = workspace(
        tmp_path, CONFIG.replace("results: results", f"results: {results}".replace("'a\\0b'", '"a\\0b"'))
    )
    (tmp_path / "link").symlink_to("archive")
    before = sorted(tmp_path.rglob("*"))
    line = refused(capsys, command, config)
    assert said in line and "results" in line
    assert sorted(tmp_path.rglob("*")) == before


@pytest.mark.parametrize("command", ["run", "check"])
@pytest.mark.parametrize("closed", ["config.yaml", "m.yaml", "archive", "results", "place"])
def test_no_permission_is_one_line_that_names_the_place(open_place, capsys, command, closed):
    base = open_place / "place"
    base.mkdir()
    config = workspace(base)
    (base / "results").mkdir()
    (base / "results").chmod(0o777)
    path = base / closed if closed != "place" else base
    path.chmod(0)
    try:
        with without_privileges():
            line = refused(capsys, command, config)
    finally:
        path.chmod(0o777)
    assert path.name in line and "ermission" in line


@pytest.mark.parametrize("command", ["run", "check"])
def test_results_that_cannot_be_made_are_one_line(open_place, capsys, command):
    base = open_place / "place"
    base.mkdir()
    config = workspace(base)
    base.chmod(0o555)
    try:
        with without_privileges():
            line = refused(capsys, command, config)
    finally:
        base.chmod(0o777)
    assert "results" in line and "ermission" in line
    assert not (base / "results").exists()


@pytest.mark.parametrize("command", ["run", "check"])
def test_a_read_only_disk_is_one_line(tmp_path, capsys, command, monkeypatch):
    """The system's answer is set here: a disk cannot be mounted in a test."""
    config = workspace(tmp_path)
    allowed = os.access
    monkeypatch.setattr(os, "access", lambda path, mode, **how: not mode & os.W_OK and allowed(path, mode))
    assert "results" in refused(capsys, command, config)


@pytest.mark.parametrize("command", ["run", "check"])
@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda base: (base / "config.yaml").unlink(), "config.yaml"),
        (lambda base: shutil.rmtree(base / "archive"), "archive"),
        (lambda base: (shutil.rmtree(base / "archive"), (base / "archive").write_text("")), "archive"),
        (lambda base: (shutil.rmtree(base / "archive" / "t1"), None), "holds no test folder"),
        (lambda base: (base / "config.yaml").write_bytes(b"\xff\xfe\x00"), "UTF-8"),
        (lambda base: (base / "config.yaml").write_text(CONFIG + "targets: 'a***/[*.yaml'\n"), "targets"),
        (lambda base: (base / "config.yaml").write_text(CONFIG + "targets: /\n"), "targets"),
        (lambda base: (base / "config.yaml").write_text(CONFIG + "targets: ''\n"), "targets"),
        (lambda base: (base / "config.yaml").write_text(CONFIG.replace("m.yaml", "-m.yaml")), "option"),
        (lambda base: (base / "config.yaml").write_text(CONFIG.replace("archive: archive", "archive: ''")), "archive"),
        (lambda base: ((base / "config.yaml").unlink(), os.mkfifo(base / "config.yaml")), "config.yaml"),
    ],
)
def test_a_wrong_place_or_config_is_one_line_for_run_and_check_alike(tmp_path, capsys, command, change, said):
    config = workspace(tmp_path)
    (tmp_path / "-m.yaml").write_text("")
    change(tmp_path)
    assert said in refused(capsys, command, config)
    assert not (tmp_path / "results").exists()


def test_a_folder_where_run_wants_a_config_is_one_line(tmp_path, capsys):
    assert "is a folder" in refused(capsys, "run", tmp_path)


@pytest.mark.parametrize("command", ["plan", "docs"])
def test_the_other_commands_say_it_in_one_line_too(tmp_path, capsys, command):
    (tmp_path / "file").write_text("")
    place = ["--into", tmp_path / "file" / "x"] if command == "docs" else ["--design", tmp_path / "file"]
    refused(capsys, command, *place)


@pytest.mark.parametrize(
    ("number", "code"), [(errno.EACCES, 2), (errno.ENAMETOOLONG, 2), (errno.ENOSPC, 1), (errno.EIO, 1)]
)
def test_what_the_system_refuses_is_one_line_and_a_full_disk_is_no_wrong_call(
    tmp_path, capsys, monkeypatch, number, code
):
    def fails(**_):
        raise OSError(number, os.strerror(number), str(tmp_path / "x"))

    monkeypatch.setattr("pipeline.cli.workspace.docs", fails)
    assert run(["docs", "--into", str(tmp_path)]) == code
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith(f"stopsheet: {tmp_path / 'x'}: ")


def test_a_terminal_of_few_letters_gets_every_line(tmp_path):
    """An umlaut on a terminal of ASCII is written as its code; the command does not fail for it."""
    config = workspace(tmp_path / "Prüfstand")
    card_folder(tmp_path / "Prüfstand" / "archive", name="süd")
    done = subprocess.run(
        [sys.executable, "-m", "pipeline", "check", str(config.parent / "archive")], capture_output=True, check=False,
        env={**os.environ, "PYTHONPATH": str(REPO), "PYTHONIOENCODING": "ascii"},
    )  # fmt: skip
    assert done.returncode == 3, done.stderr
    assert rb"s\xfcd: unusable" in done.stdout
    assert done.stderr == b""
