"""No test's outcome hangs on how busy the machine is: none reads a clock, sleeps or takes one read for the whole, but where it says why."""

import re
from pathlib import Path

TESTS = Path(__file__).parents[1]
TIMED = re.compile(
    r"\btime\.(?:sleep|monotonic|perf_counter|process_time|time)\b|\bos\.read\(|\btimeout=|\bdeadline=(?!None)"
    r"|\bgetrusage\(|\"TaskDuration\""
)
#: what may, and why a busy machine changes nothing there
ALLOWED = {
    "browser/test_index.py": "processor time of a page against that of a smaller one in the same browser",
    "browser/waiting.py": "polls until the page is there; the longest wait is for a page that never will be",
    "cli/test_starter.py": "polls until a process is there or has gone; the longest wait is for one that stays",
    "cluster/slurm.py": "polls until Slurm answers; the longest wait is for one that never will",
    "cluster/test_slurm.py": "polls until a stage is at work on the node; the longest wait is for one that never will be",
    "friction/test_map.py": "CPU time of its own process, a 26th of what is allowed",
    "hostile/test_limits.py": "what the child does for ever: the parent's clock goes by looks",
    "inspection/test_folders.py": "processor time of a command against that of a script that only reads the same file",
    "inputs/test_seen.py": "dates a file; nothing is waited for",
    "workflow/test_hostile_names.py": "dates a file; nothing is waited for",
    "workflow/test_parts.py": "waits until files are older than what proves nothing, and polls until a stage is done",
    "workflow/test_kills.py": "polls until a process is there or has gone; the longest wait is for one that stays",
}


def timed(folder: Path) -> set[str]:
    """Files of the suite that use a clock; studies and benchmarks are commands, of which the suite asks no time."""
    files = [path for path in folder.rglob("*.py") if path.parent.name not in ("studies", "benchmarks")]
    files += folder.glob("studies/test_*.py")
    found = {str(path.relative_to(folder)) for path in files if TIMED.search(path.read_text(encoding="utf-8"))}
    return found - {str(Path(__file__).relative_to(TESTS))}


def test_no_test_hangs_on_the_clock():
    assert timed(TESTS) == set(ALLOWED)


def test_one_that_does_is_found(tmp_path):
    for name, text in {
        "a": "begun = time.monotonic()",
        "b": "os.read(one, 9)",
        "c": "run(timeout=3)",
        "d": "x",
    }.items():
        (tmp_path / f"test_{name}.py").write_text(text)
    assert timed(tmp_path) == {"test_a.py", "test_b.py", "test_c.py"}
