"""Wrong calls and configs end with 2 and one line; nothing is written."""

import pytest

from pipeline.cli import run
from tests.conftest import run_stopsheet


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (
            "archive: archive\nresults: results\nmethods: [m.yaml]\nmethod: x\n",
            "unknown key; nearest known key: methods",
        ),
        ("archive: gone\nresults: results\nmethods: [m.yaml]\n", "no folder 'gone'"),
        (
            "archive: archive\nresults: results\nmethods: [bad.yaml]\n",
            "bad.yaml: line 1: reduction.averages: unknown key",
        ),
        ("][", "config.yaml"),
    ],
)
def test_a_bad_config_ends_with_2_and_one_line(tmp_path, content, said, capsys):
    (tmp_path / "archive").mkdir()
    (tmp_path / "m.yaml").write_text("")
    (tmp_path / "bad.yaml").write_text("reduction: {averages: time}\n")
    (tmp_path / "config.yaml").write_text(content)
    assert run(["run", str(tmp_path / "config.yaml")]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert said in line
    assert not (tmp_path / "results").exists()


def test_a_wrong_call_ends_with_2():
    assert run_stopsheet("reduce", check=False).returncode == 2
    assert run_stopsheet("run", "no/such/config.yaml", check=False).returncode == 2


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["run", "config.yaml", "--cores", "two"], "'two'"),
        (["run", "config.yaml", "--cores", "0"], "at least 1"),
        (["run"], "config"),
        (["reduce", "x"], "'reduce'"),
        ([], "COMMAND"),
        (["check", "a", "b"], "b"),
        (["run", "--cores=1", "config.yaml", "--no-such-option"], "--no-such-option"),
    ],
)
def test_a_wrong_call_is_one_line(tmp_path, arguments, said, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "config.yaml").write_text("")
    try:
        code = run(arguments)
    except SystemExit as end:
        code = end.code
    (line,) = capsys.readouterr().err.splitlines()
    assert code == 2
    assert line.startswith("stopsheet") and said in line


@pytest.mark.parametrize("command", [["run"], ["check"], ["plan"], ["predict"], ["docs"], ["delta"], []])
def test_every_command_has_help(command, capsys):
    for flag in ("-h", "--help"):
        with pytest.raises(SystemExit) as end:
            run([*command, flag])
        assert end.value.code == 0
        assert "Usage: stopsheet" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize("blocks", [["check 1", "bed-in"], ["--read-after", "check 1", "--read-after=bed-in"]])
def test_plan_takes_blocks_in_a_row_or_one_by_one(monkeypatch, blocks):
    called = []
    monkeypatch.setattr("pipeline.cli.plan.plan", called.append)
    before = [] if blocks[0].startswith("--") else ["--read-after"]
    assert run(["plan", "--design", "folder", *before, *blocks, "--mu", "0.35", "--json"]) == 0
    (given,) = called
    assert given.read_after == ("check 1", "bed-in")
    assert (given.design.name, given.mu, given.reading_u_um, given.as_json) == ("folder", 0.35, 1.0, True)
