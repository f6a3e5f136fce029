"""The generated pages are in step with the code, and the README's commands are what CI runs."""

import subprocess

from pipeline.report.reference_pages import COMMAND, pages
from tests.conftest import REPO


def test_generated_pages_are_in_step():
    made = pages()
    assert len(made) > 30
    assert [name for name, text in made.items() if (REPO / "docs" / name).read_text() != text] == [], f"run `{COMMAND}`"


def test_readme_opens_with_the_job_and_has_two_commands():
    text = (REPO / "README.md").read_text()
    assert text.count("python3 -m venv .venv") == 2
    first_paragraph = text.split("\n\n")[1]
    assert "dynamometer" in first_paragraph and "sheet" in first_paragraph


def test_ci_runs_the_readmes_test_command():
    script = (REPO / ".ci" / "run").read_text()
    extraction = next(line for line in script.splitlines() if line.startswith("command="))
    found = subprocess.run(
        ["bash", "-c", f'{extraction}\nprintf %s "$command"'], cwd=REPO, capture_output=True, text=True, check=True
    )
    assert found.stdout.startswith("python3 -m venv .venv") and found.stdout.endswith("-m pytest -q")
    assert found.stdout in (REPO / "README.md").read_text()
