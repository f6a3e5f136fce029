"""A folder: files grouped by form, in natural order, one stop a file or series, the odd ones out named; the command on top."""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
from dataclasses import replace

import polars as pl
import pytest

from pipeline.cli import run
from pipeline.inspection.folders import looked_into
from tests.conftest import REPO
from tests.inspection.messy import GERMAN, MESSES, Mess, columns_of, stops, units, write

PLAIN = Mess("plain", GERMAN, units())


@pytest.fixture(scope="module")
def mixed(tmp_path_factory):
    """Eleven stops; one file with points and commas, a PDF, an empty file, a wear table, hidden files."""
    folder = tmp_path_factory.mktemp("mixed") / "rig"
    write(PLAIN, folder)
    other = write(replace(PLAIN, delimiter=",", decimal="."), folder.parent / "other")
    (folder / "Bremsung 12.csv").write_bytes(other[0].read_bytes())
    (folder / "report.pdf").write_bytes(b"%PDF-1.7 made up")
    (folder / "empty.csv").write_bytes(b"")
    (folder / "wear.csv").write_text("after_stop,component,quantity,point,value,unit\n")
    (folder / ".hidden").write_text("x")
    return folder


def test_files_are_grouped_and_the_odd_ones_named(mixed):
    main, *odd = looked_into(mixed).groups
    assert [path.name for path in main.files] == [f"Bremsung {n}.csv" for n in range(1, 12)]
    assert main.holds == "stop" and main.unlike == [] and len(main.brakings) == 11
    assert sorted(path.name for group in odd for path in group.files) == ["Bremsung 12.csv", "empty.csv", "report.pdf"]
    assert {g.why for g in odd} == {
        "",
        "is empty",
        "is a PDF document; export the samples themselves, as CSV or Parquet",
    }


def test_a_series_is_known(tmp_path):
    write(replace(PLAIN, series=True), tmp_path)
    group = looked_into(tmp_path).groups[0]
    assert group.holds == "series" and len(group.brakings) == 11


def test_a_file_without_a_braking_is_named(tmp_path):
    paths = write(PLAIN, tmp_path)
    lines = paths[4].read_text().splitlines()
    paths[4].write_text("\n".join(lines[:30]) + "\n")
    assert looked_into(tmp_path).groups[0].unlike == [("Bremsung 5.csv", 0)]


def test_the_command_says_it_in_words(mixed, capsys):
    assert run(["inspect", str(mixed)]) == 0
    said = capsys.readouterr().out
    for text in ("11 files of one form: Bremsung 1.csv to Bremsung 11.csv", "one stop a file", "delimiter ';'", "header in line 1, units in line 2",
                 "brakings: 11 (11 snubs)", "report.pdf): is a PDF document", "delimiter ',' (not: delimiter ';')", "recordings:"):  # fmt: skip
        assert text in said, text
    assert said.isascii() or "°" in said


def test_json_and_page(mixed, tmp_path, capsys):
    page = tmp_path / "look.html"
    assert run(["inspect", str(mixed / "Bremsung 1.csv"), "--json", "--html", str(page)]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["channels"]["torque"]["column"] == "Bremsmoment" and found["channels"]["torque"]["sure"]
    assert found["brakings"][0]["kind"] == "snub"
    text = page.read_text(encoding="utf-8")
    assert (
        "data:image/svg+xml" in text
        and "Bremsmoment" in text
        and "http" not in text.split("<body")[1].replace("http://www.w3.org", "")
    )


def test_json_of_a_folder(mixed, capsys):
    assert run(["inspect", str(mixed), "--json"]) == 0
    groups = json.loads(capsys.readouterr().out)["groups"]
    assert len(groups[0]["files"]) == 11 and groups[0]["holds"] == "stop"


def test_what_is_not_read_ends_with_3_and_a_missing_file_with_2(mixed, tmp_path, capsys):
    assert run(["inspect", str(mixed / "report.pdf")]) == 3
    assert "is a PDF document; export the samples" in capsys.readouterr().out
    assert run(["inspect", str(tmp_path / "none.csv")]) == 2
    assert run(["inspect", str(tmp_path)]) == 2


@pytest.mark.parametrize(
    "name",
    ["MDF, german abbreviations", "TDMS with a time channel", "HDF5, french", "workbook, header in row 3, units row"],
)
def test_stored_formats_in_words(name, tmp_path, capsys):
    mess = next(one for one in MESSES if one.name == name)
    paths = write(mess, tmp_path)
    assert run(["inspect", str(paths[0])]) == 0
    assert f"format: {mess.form}" in capsys.readouterr().out


@pytest.mark.parametrize("suffix", [".parquet", ".mf4", ".tdms", ".h5", ".xlsx"])
def test_a_damaged_file_is_told_not_thrown(tmp_path, suffix, capsys):
    form = {".parquet": "Parquet", ".mf4": "MDF", ".tdms": "TDMS", ".h5": "HDF5", ".xlsx": "workbook"}[suffix]
    mess = next(one for one in MESSES if one.name.startswith(form))
    path = write(mess, tmp_path)[0]
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 3])
    assert run(["inspect", str(path)]) in (0, 3)
    assert "Traceback" not in capsys.readouterr().out


def test_a_pipe_is_not_waited_for(tmp_path, capsys):
    os.mkfifo(tmp_path / "pipe.csv")
    assert run(["inspect", str(tmp_path / "pipe.csv")]) == 2
    assert "is a pipe or a device" in capsys.readouterr().err
    assert run(["inspect", str(tmp_path)]) == 2
    assert "holds no file that may be a recording" in capsys.readouterr().err


def test_help_loads_no_table_and_no_science():
    done = subprocess.run(
        [sys.executable, "-c", "import sys\nfrom pipeline.cli import run\ntry:\n    run(['inspect', '--help'])\nfinally:\n    print('loaded', *sys.modules)"],
        env=os.environ | {"PYTHONPATH": str(REPO)}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    loaded = set(done.stdout.split("loaded ")[-1].split())
    assert "typer" in loaded and not loaded & {"polars", "numpy", "scipy", "pyarrow", "pint"}


@pytest.mark.heavy
def test_looking_into_a_hundred_megabytes_takes_a_few_times_what_reading_them_takes(tmp_path):
    """CPU of the whole command, its start included, against that of a script that only reads the table (4 to 5 times as measured)."""
    path = tmp_path / "long.csv"
    rows = pl.concat(stops())
    made = columns_of(PLAIN, rows)
    body = pl.DataFrame({name: values for name, (_, values) in made.items()}).select(pl.exclude(GERMAN["time"]))
    with path.open("w", encoding="utf-8") as file:
        file.write(";".join(made) + "\n" + ";".join(unit for unit, _ in made.values()) + "\n")
        at = 0.0
        while path.stat().st_size < 100e6:
            time = pl.Series(GERMAN["time"], [at + k * 0.02 for k in range(body.height)])
            at += body.height * 0.02 + 30.0
            table = pl.DataFrame([time, *body.get_columns()])
            file.write(table.write_csv(separator=";", decimal_comma=True, float_precision=3, include_header=False))
    said, looked = run_and_cpu("-m", "pipeline", "inspect", str(path))
    script = "import sys, polars as pl; pl.read_csv(sys.argv[1], separator=';', decimal_comma=True, skip_rows_after_header=1)"
    _, read = run_and_cpu("-c", script, str(path))
    print(f"looked into in {looked:.2f} s, read in {read:.2f} s")
    assert "brakings: " in said and ": sure; named 'Bremsmoment'" in said
    assert looked < 8 * read


def run_and_cpu(*arguments: str) -> tuple[str, float]:
    """What the interpreter printed, and the processor time that it took, s."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        [sys.executable, *arguments],
        env=os.environ | {"PYTHONPATH": str(REPO)},
        capture_output=True,
        text=True,
        check=True,
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return done.stdout, after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime
