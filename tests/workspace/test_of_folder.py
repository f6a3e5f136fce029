"""A run without a config: the workspace of an archive, or of a test's folder, by the default method."""

from __future__ import annotations

import pytest

from pipeline.cli import run
from pipeline.errors import InputError
from pipeline.workspace.of_folder import config_of
from pipeline.workspace.run import load_run
from tests.recordings.makers import text_test


def test_a_test_alone_and_its_archive_have_one_workspace(tmp_path):
    folder = text_test(tmp_path / "my tests" / "t")
    config = config_of(folder)
    assert config == config_of(folder.parent) == tmp_path / "my tests-run" / "config.yaml"
    found = load_run(config)
    assert found.tests == ["t"] and found.methods == ["default"]
    assert found.workspace.results.resolve() == tmp_path / "my tests-run" / "results"


def test_a_config_that_is_there_is_used_as_it_is(tmp_path):
    folder = text_test(tmp_path / "archive" / "t")
    config = config_of(folder)
    config.write_text(config.read_text() + "# edited\n")
    assert config_of(folder).read_text().endswith("# edited\n")


def test_folders_beside_the_tests_that_are_none_are_refused(tmp_path):
    folder = text_test(tmp_path / "archive" / "t")
    (tmp_path / "archive" / "letters").mkdir()
    (tmp_path / "archive" / ".schemas").mkdir()
    with pytest.raises(InputError, match=r"none \(letters\)"):
        config_of(folder)
    assert not (tmp_path / "archive-run").exists()


def test_a_folder_without_tests_and_one_with_a_config_say_what_to_give(tmp_path, capsys):
    assert run(["run", str(tmp_path)]) == 2
    assert "is a folder without tests; give a config file" in capsys.readouterr().err
    (tmp_path / "config.yaml").write_text("")
    assert run(["run", str(tmp_path)]) == 2
    assert "give the config file in it" in capsys.readouterr().err


def test_blanks_are_told_before_anything_is_made(tmp_path, capsys):
    folder = text_test(tmp_path / "archive" / "t")
    card = folder / "test.yaml"
    card.write_text(card.read_text().replace("inertia: 26 kg m^2", "inertia: FILL_IN  # at the shaft"))
    assert run(["run", str(folder)]) == 2
    assert "line 24: inertia: a blank to fill in (FILL_IN)" in capsys.readouterr().err
    assert not (tmp_path / "archive-run").exists()
