"""A place that cannot be written is named as the reader wrote it."""

import pytest

from pipeline.cli import run
from pipeline.results import write_text
from tests.recordings.makers import samples, text


def test_a_folder_where_a_file_is_wanted_is_named_and_not_the_part_beside_it(tmp_path, capsys):
    page, recording = tmp_path / "page.html", tmp_path / "a.csv"
    page.mkdir()
    with pytest.raises(IsADirectoryError) as refused:
        write_text(page, "words")
    assert refused.value.filename == str(page)
    recording.write_text(text(samples(1), units=True))
    assert run(["inspect", str(recording), "--html", str(page)]) == 2
    said = capsys.readouterr().err
    assert f"{page}: Is a directory" in said and ".part" not in said
    assert [path.name for path in tmp_path.iterdir() if path.name.endswith(".part")] == []
