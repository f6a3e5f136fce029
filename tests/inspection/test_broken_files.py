"""Broken files of every format: a look ends in words or in a table, never in a traceback or a warning.

Formats whose libraries may crash on a broken file go through the command, which reads in a process of its own.
"""

from __future__ import annotations

import contextlib
import os
import random
import subprocess
import sys

import pytest

from pipeline.errors import InputError
from pipeline.inspection.look import look
from tests.conftest import REPO
from tests.inspection.messy import MESSES, write

FORMS = ("delimited", "xlsx", "tdms")
APART = ("parquet", "hdf5", "mdf")


def broken(data: bytes, seed: int) -> bytes:
    """The bytes with some flipped, cut off, made noughts or doubled."""
    draw, kept = random.Random(seed), bytearray(data)
    at = draw.randrange(len(kept))
    kind = draw.choice(("flip", "cut", "noughts", "double"))
    if kind == "flip":
        for _ in range(draw.choice((1, 5, 50))):
            kept[draw.randrange(len(kept) if draw.random() < 0.5 else min(4096, len(kept)))] = draw.randrange(256)
    elif kind == "cut":
        del kept[at:]
    elif kind == "noughts":
        kept[at : at + draw.randrange(2000)] = bytes(draw.randrange(2000))
    else:
        kept[at:at] = kept[: draw.randrange(3000)]
    return bytes(kept)


@pytest.mark.parametrize("seeds", [range(8), pytest.param(range(8, 60), marks=pytest.mark.heavy)])
@pytest.mark.parametrize("form", FORMS)
def test_a_broken_file_ends_in_words_or_a_table(form, seeds, tmp_path):
    path = write(next(mess for mess in MESSES if mess.form == form), tmp_path)[0]
    data = path.read_bytes()
    for seed in seeds:
        path.write_bytes(broken(data, seed))
        with contextlib.suppress(InputError):
            look([path], [path.name])


@pytest.mark.heavy
@pytest.mark.parametrize("form", APART)
def test_a_broken_file_of_a_library_that_may_crash_ends_in_words(form, tmp_path):
    path = write(next(mess for mess in MESSES if mess.form == form), tmp_path)[0]
    data = path.read_bytes()
    for seed in range(6):
        path.write_bytes(broken(data, seed))
        done = subprocess.run([sys.executable, "-m", "pipeline", "inspect", str(path)], env=os.environ | {"PYTHONPATH": str(REPO)}, capture_output=True, text=True, check=False)  # fmt: skip
        assert done.returncode in (0, 2, 3) and "Traceback" not in done.stderr, (seed, done.stderr[-600:])
        assert done.stdout or done.stderr.startswith("stopsheet: "), seed


def test_values_that_no_sensor_gives_are_left_out_and_told(tmp_path):
    path = write(MESSES[0], tmp_path)[0]
    lines = path.read_bytes().split(b"\r\n")
    cells = lines[60].split(b";")
    cells[2] = b"1e300"
    lines[60] = b";".join(cells)
    path.write_bytes(b"\r\n".join(lines))
    found = look([path], [path.name])
    assert "column 'Bremsmoment' holds 1 values that no sensor gives; they were left out" in found.notes
    assert found.guess("torque").sure and len(found.brakings) == 1
