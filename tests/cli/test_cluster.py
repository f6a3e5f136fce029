"""Stages on a cluster, without one: which profile is taken, what its jobs said, and jobs left behind taken back."""

import os
import shutil
import socket

import pytest

from pipeline import starting
from pipeline.cli import cluster, engine, starter, workspace
from pipeline.cli.notes import noted
from pipeline.cli.progress import Progress
from pipeline.errors import InputError
from pipeline.workspace.telling import Event, Job
from tests.conftest import run_stopsheet

FULL = "stopsheet: t1: stage wear: /r/wear.json: the disk is full; free space and run again"


@pytest.fixture
def slurm(tmp_path, monkeypatch):
    """Programs of Slurm's names: the queue is a file with a number and a name a line; what is taken back leaves it."""
    queue = tmp_path / "queue"
    programs = {
        "squeue": f"cat {queue}",
        "scancel": f'for number; do grep -v "^$number " {queue} > {queue}.new; mv {queue}.new {queue}; done',
        "sbatch": "exit 9",
        "scontrol": "echo 'MinJobAge               = 300 sec'",
    }
    (tmp_path / "bin").mkdir()
    for name, words in programs.items():
        (tmp_path / "bin" / name).write_text(f"#!/bin/sh\n{words}\n")
        (tmp_path / "bin" / name).chmod(0o755)
    monkeypatch.setenv("PATH", f"{tmp_path / 'bin'}{os.pathsep}{os.environ['PATH']}")
    monkeypatch.setattr(cluster.importlib.util, "find_spec", lambda name: name == cluster.PLUGIN)
    monkeypatch.setattr(cluster, "PAUSE_S", 0.0)
    return queue


def profile(folder, text):
    folder.mkdir()
    (folder / "config.yaml").write_text(text)
    return folder


def test_the_profile_of_the_package_and_one_of_the_user_are_taken(tmp_path, slurm):
    ours = cluster.chosen("slurm", tmp_path)
    assert ours.profile == cluster.PROFILES / "slurm" and ours.name in ours.options
    own = cluster.chosen(str(profile(tmp_path / "own", "executor: slurm\njobs: 2\n")), tmp_path)
    assert own.profile == tmp_path / "own" and own.name == ours.name
    assert cluster.chosen("slurm", tmp_path / "results").name != ours.name


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("executor: local\n", "executor local: only slurm is known here"),
        ("- slurm\n", "executor None: only slurm is known here"),
        (None, "neither slurm nor a folder with a config.yaml"),
    ],
)
def test_a_profile_that_is_none_is_refused(tmp_path, slurm, text, said):
    own = profile(tmp_path / "own", text) if text else tmp_path / "none"
    with pytest.raises(InputError, match=said):
        cluster.chosen(str(own), tmp_path)


def test_what_a_cluster_needs_and_is_not_here_is_named(tmp_path, slurm, monkeypatch):
    with pytest.raises(InputError, match="a % in a path"):
        cluster.chosen("slurm", tmp_path / "50 %")
    (tmp_path / "bin" / "sbatch").unlink()
    monkeypatch.setenv("PATH", str(tmp_path / "bin"))
    with pytest.raises(InputError, match="no sbatch and squeue here"):
        cluster.chosen("slurm", tmp_path)
    monkeypatch.setattr(cluster.importlib.util, "find_spec", lambda name: None)
    with pytest.raises(InputError, match=r"needs snakemake-executor-plugin-slurm; pip install 'stopsheet\[cluster\]'"):
        cluster.chosen("slurm", tmp_path)


def test_a_slurm_that_forgets_its_jobs_too_soon_is_told(tmp_path, slurm):
    asked = tmp_path / "bin" / "scontrol"
    asked.write_text("#!/bin/sh\necho 'MinJobAge               = 100 sec'\n")
    with pytest.raises(InputError, match=r"forgets a job 100 s after its end .* write `slurm-status-command: sacct`"):
        cluster.chosen("slurm", tmp_path)
    own = profile(tmp_path / "own", "executor: slurm\nslurm-status-command: sacct\n")
    assert cluster.chosen(str(own), tmp_path).profile == own
    asked.write_text("#!/bin/sh\necho 'slurm_load_ctl_conf error: Unable to contact slurm controller' >&2\nexit 1\n")
    with pytest.raises(InputError, match=r"Slurm does not answer \(scontrol: slurm_load_ctl_conf error"):
        cluster.chosen("slurm", tmp_path)


def test_cores_of_this_machine_and_a_cluster_exclude_each_other(tmp_path):
    (tmp_path / "config.yaml").write_text("archive: archive\n")
    done = run_stopsheet("run", tmp_path / "config.yaml", "--profile", "slurm", "--cores", "2", check=False)
    assert done.returncode == 2 and "on a cluster the profile says what a job may take" in done.stderr


def test_jobs_left_behind_are_taken_back_and_no_others(tmp_path, slurm):
    ours = cluster.chosen("slurm", tmp_path)
    others = f"8 stopsheet-0123456789abcdef_77\n9 my {ours.name} of May\n10 \n"
    slurm.write_text(f"7 {ours.name}_5e\n19 {ours.name}_5e\n{others}")
    with ours.at_work():
        assert (tmp_path / cluster.MARK).is_file()
    assert slurm.read_text() == others and not (tmp_path / cluster.MARK).exists()
    slurm.write_text(f"7 {ours.name}_5e\n")
    cluster.take_back(tmp_path)  # no run was at work here: nothing is asked, nothing taken
    assert slurm.read_text()


def test_where_slurm_does_not_answer_the_mark_stays_and_the_next_run_is_refused(tmp_path, slurm):
    ours = cluster.chosen("slurm", tmp_path)
    (tmp_path / "bin" / "squeue").write_text("#!/bin/sh\necho squeue: error: no controller >&2\nexit 1\n")
    with ours.at_work():
        pass
    for _ in range(2):
        with pytest.raises(InputError, match=r"Slurm does not answer \(squeue: squeue: error: no controller\)"):
            cluster.take_back(tmp_path)


def test_a_job_that_does_not_end_is_named(tmp_path, slurm, monkeypatch):
    ours = cluster.chosen("slurm", tmp_path)
    (tmp_path / cluster.MARK).write_text(ours.name)
    slurm.write_text(f"7 {ours.name}_5e\n")
    shutil.copy("/bin/true", tmp_path / "bin" / "scancel")
    monkeypatch.setattr(cluster, "PATIENCE_S", -1.0)
    with pytest.raises(InputError, match="Slurm has not ended job 7 of an earlier run"):
        cluster.take_back(tmp_path)


def test_a_stage_on_a_node_is_handed_to_no_process_of_the_engine(tmp_path, slurm, monkeypatch):
    for name, value in cluster.chosen("slurm", tmp_path).environment.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setenv(starting.ENGINE, str(os.getppid()))
    assert starter.begun(tmp_path) is None
    with socket.socket(socket.AF_UNIX) as door:  # whoever listens there
        door.bind(f"\0{os.environ[starting.PLACE]}")
        door.listen()
        door.setblocking(False)
        assert starting.handed_over(["stops"]) is None
        with pytest.raises(BlockingIOError):
            door.accept()


def words(tmp_path, *lines):
    place = tmp_path / cluster.WORDS / "group_test"
    place.mkdir(parents=True)
    (place / "4.log").write_text("\n".join(["Building DAG of jobs...", *lines, *lines]) + "\n")
    return cluster.Slurm(tmp_path, tmp_path)


def test_of_what_jobs_said_the_stages_lines_are_told_each_once(tmp_path):
    found = words(tmp_path, "stopsheet: t1: stage stops: no permission", cluster.SAID_WHEN_STOPPED)
    assert found.said() == ["stopsheet: t1: stage stops: no permission"]


@pytest.mark.parametrize(("code", "told"), [(0, []), (1, ["stopsheet: t1: stage stops: no permission"])])
def test_what_a_stage_said_on_its_node_is_told_where_the_run_failed(tmp_path, code, told, capsys):
    found = words(tmp_path, "stopsheet: t1: stage stops: no permission")
    with (tmp_path / "lock").open("a") as lock:
        _, heard = engine.drive(
            [workspace.sys.executable, "-c", f"raise SystemExit({code})"], tmp_path, lock, elsewhere=found.said
        )
    assert heard.said == told


def test_a_full_disk_on_a_node_ends_the_run_at_once(tmp_path, capsys):
    found = words(tmp_path, FULL)
    tells = [
        engine.telling.line(event) for event in (Event("planned", job=Job(4, "wear", "t1", "m")), Event("failed", 4))
    ]
    code = f"for line in {tells!r}: print(line, flush=True)\nwhile True: print('x' * 1000, flush=True)"
    with (tmp_path / "lock").open("a") as lock:
        _, heard = engine.drive([workspace.sys.executable, "-c", code], tmp_path, lock, elsewhere=found.said)
    assert heard.said == [FULL] and capsys.readouterr().err == FULL + "\n"


def test_a_stage_that_is_tried_again_takes_away_the_note_of_the_one_that_was_killed(tmp_path, monkeypatch):
    monkeypatch.setenv("STOPSHEET_JOBS", str(tmp_path))
    killed = noted("t1: stage wear", tmp_path / "first")
    killed.__enter__()
    with noted("t1: stage wear", tmp_path / "second"):
        assert len(list(tmp_path.iterdir())) == 2
    with noted("t1: stage wear", tmp_path / "first"):
        assert len(list(tmp_path.iterdir())) == 1
    assert not list(tmp_path.iterdir())


def test_a_stage_that_failed_and_is_tried_again_has_not_failed():
    found = Progress()
    found.hear(Event("planned", job=Job(4, "wear", "t1", "first")))
    for kind in ("begun", "failed", "begun"):
        found.hear(Event(kind, 4))
    assert not found.failed and found.not_run
    found.hear(Event("failed", 4))
    assert found.failed == [4]
    found.hear(Event("done", 4))
    assert not found.failed and not found.not_run


def test_a_cluster_leaves_no_times_for_the_next_run(tmp_path):
    from pipeline.cli import progress

    found = Progress(0, {"wear": 4.0})
    found.hear(Event("planned", job=Job(4, "wear", "t1", "first")))
    for event in (Event("ready"), Event("begun", 4), Event("done", 4)):
        found.hear(event)
    progress.keep(tmp_path, found)
    assert found.left_s() is None and progress.earlier(tmp_path) == {}
