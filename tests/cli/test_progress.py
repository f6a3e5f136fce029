"""How far a run is: counts, the stage at work, the time left; on a terminal one line, on a pipe nothing."""

import errno
import os
import pty
import sys

import pytest

from pipeline.cli import engine, progress, screen
from pipeline.cli.progress import Progress, duration
from pipeline.workspace.telling import Event, Job, heard, line


class Clock:
    now = 0.0

    def __call__(self):
        return self.now


def planned(clock, cores=1, earlier=None):
    """Three stages of two tests: channels of t1 and t2, then wear of t1."""
    found = Progress(cores, earlier, clock)
    for number, stage, subject in ((1, "wear", "t1"), (2, "channels", "t2"), (3, "channels", "t1")):
        found.hear(Event("planned", job=Job(number, stage, subject, "first" if stage == "wear" else "")))
    found.hear(Event("ready"))
    return found


def test_the_time_left_is_that_of_the_like_that_ended_in_this_run():
    clock = Clock()
    found = planned(clock, earlier={"wear": 4.0, "channels": 100.0})
    assert found.left_s() == pytest.approx(204.0)
    found.hear(Event("begun", 3))
    clock.now = 10.0
    found.hear(Event("done", 3))
    assert found.left_s() == pytest.approx(10.0 + 4.0)
    found.hear(Event("begun", 2))
    clock.now = 13.0
    assert found.left_s() == pytest.approx(7.0 + 4.0)
    assert found.line() == "1 of 3 done  channels t2, 3 s  about 10 s left"


def test_two_cores_halve_the_time_left_but_not_that_of_one_stage():
    clock = Clock()
    found = planned(clock, 2, {"wear": 2.0, "channels": 10.0})
    assert found.left_s() == pytest.approx(11.0)
    found.hear(Event("begun", 2))
    found.hear(Event("begun", 3))
    clock.now = 1.0
    assert found.left_s() == pytest.approx(10.0)
    assert "channels t1 and 1 more, 1 s" in found.line()


def test_nothing_is_said_of_the_time_left_before_anything_ended():
    found = planned(Clock())
    assert found.left_s() is None and found.line() == "0 of 3 done"
    assert Progress().line() == progress.LOOKING


def test_what_failed_and_what_waits_for_it_are_told_apart():
    found = planned(Clock())
    for event in (Event("begun", 3), Event("failed", 3), Event("done", 2), Event("done", 99)):
        found.hear(event)
    assert [job.subject for job, _ in found.ran] == ["t2"]
    assert [job.stage for job in found.not_run] == ["wear"] and found.failed == [3]
    assert [job.words for job in found.planned] == ["channels t1", "channels t2", "wear t1 (first)"]


def test_durations_are_kept_for_the_next_run_and_a_damaged_file_costs_nothing(tmp_path):
    clock = Clock()
    found = planned(clock, earlier={"wear": 4.0})
    found.hear(Event("begun", 2))
    clock.now = 2.0
    found.hear(Event("done", 2))
    progress.keep(tmp_path, found)
    assert progress.earlier(tmp_path) == {"wear": 4.0, "channels": 2.0}
    (tmp_path / progress.KEPT).write_text("[1")
    assert progress.earlier(tmp_path) == {}


@pytest.mark.parametrize(
    ("seconds", "said"), [(0.4, "5 s"), (42, "40 s"), (57, "1 min"), (150, "2 min"), (3660, "1 h 1 min")]
)
def test_a_time_as_people_say_it(seconds, said):
    assert duration(seconds) == said


def drawn(monkeypatch, work):
    """What reaches a terminal of 60 columns while `work` has the screen."""
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "60")
    monkeypatch.setattr(screen, "REFRESH_S", 0.0)
    ours, theirs = pty.openpty()
    with os.fdopen(theirs, "w") as stream, screen.shown(lambda: "1 of 3 done  wear t\x9b1", stream) as shown:
        work(shown)
    with os.fdopen(ours, "rb", buffering=0) as terminal:
        return b"".join(_until_hung_up(terminal)).decode()


def _until_hung_up(terminal):
    """All that was written: one read may return before the kernel has passed on the rest."""
    while True:
        try:
            part = terminal.read(1 << 16)
        except OSError as error:
            if error.errno != errno.EIO:
                raise
            return
        if not part:
            return
        yield part


def test_a_terminal_gets_one_line_that_goes_when_all_is_done(monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")

    def work(shown):
        shown.draw()
        shown.say("stopsheet: t1: no")

    found = drawn(monkeypatch, work)
    assert found.count("1 of 3 done") >= 2 and "\x9b" not in found
    assert "stopsheet: t1: no\r\n" in found
    assert "\x1b[3" not in found  # no colours
    assert found.rindex("\x1b[2K") > found.rindex("1 of 3 done")  # the line is cleared


@pytest.mark.parametrize("term", ["dumb", ""])
def test_a_terminal_that_cannot_move_its_cursor_gets_no_line(monkeypatch, term):
    class Terminal:
        def isatty(self):
            return True

    monkeypatch.setenv("TERM", term)
    assert not screen.moves(Terminal())


def test_the_engines_words_go_to_the_log_and_its_news_to_nobody(tmp_path, capsys):
    news = [Event("planned", job=Job(1, "wear", "t1", "first", ("new",))), Event("ready"), Event("done", 1)]
    code = f"print('Select jobs to execute...')\nfor text in {[line(one) for one in news]!r}: print(text)\nprint('stopsheet: t1: no')"
    with (tmp_path / "lock").open("a") as lock:
        _, heard = engine.drive([sys.executable, "-c", code], tmp_path, lock)
    captured = capsys.readouterr()
    assert captured.out == "" and captured.err == "stopsheet: t1: no\n"
    assert (tmp_path / "run.log").read_text() == "Select jobs to execute...\nstopsheet: t1: no\n"
    assert [job.why for job, _ in heard.progress.ran] == [("new",)]


def test_a_log_that_cannot_be_written_ends_no_run(tmp_path):
    (tmp_path / "run.log").mkdir()
    with (tmp_path / "lock").open("a") as lock:
        code, heard = engine.drive([sys.executable, "-c", "print('x')"], tmp_path, lock)
    assert code == 0 and heard.log is None and list(heard.last)[:1] == ["x"]


def test_news_of_a_clusters_job_of_several_stages_is_no_news_of_a_stage():
    """The engine gives it a name where a stage has a number."""
    named = line(Event("done", "5f0c-stages"))  # type: ignore[arg-type]
    assert heard(named) is None
    assert heard(line(Event("done", 5))) == Event("done", 5)
