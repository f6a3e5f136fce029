"""A stage of a run that goes on with an earlier method writes no results once the plan has moved on."""

import pytest

from pipeline import cli
from pipeline.results import files
from tests.report import makers


@pytest.fixture(autouse=True)
def free_again():
    yield
    files.write_only_while(lambda: None)


def wear(tmp_path, planned):
    paths = makers.results_of_test(tmp_path, "m4-a")
    (paths["into"] / "wear.json").unlink(missing_ok=True)
    given = tmp_path / "given.json"
    given.write_text(planned)
    code = cli.run(["wear", f"--test={paths['folder']}", f"--into={paths['into']}", f"--settings={makers.DEFAULT_SETTINGS}",
                    f"--given={given}"])  # fmt: skip
    return code, paths["into"]


def test_results_are_written_while_the_method_is_the_plans(tmp_path):
    code, into = wear(tmp_path, makers.DEFAULT_SETTINGS)
    assert code == 0 and (into / "wear.json").is_file()


def test_nothing_is_written_for_a_method_that_is_the_plans_no_more(tmp_path, capsys):
    with pytest.raises(SystemExit) as end:
        wear(tmp_path, makers.DEFAULT_SETTINGS.replace("{", "{ ", 1))
    assert end.value.code == 1
    assert "the method was edited since this stage was started; run again" in capsys.readouterr().err
    into = next(tmp_path.rglob("stops.parquet")).parent
    assert not (into / "wear.json").exists() and not list(into.glob("*.part")) and not list(into.glob("*.fault.*"))
