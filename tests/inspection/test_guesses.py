"""Which column is which channel, over recordings of strange rigs: right and sure, or doubtful; never wrong without a doubt."""

from __future__ import annotations

from collections import Counter
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
import yaml

from pipeline.archive.card import load_card
from pipeline.errors import InputError
from pipeline.inspection.card import recordings_lines
from pipeline.inspection.look import Look, look
from pipeline.inspection.unit_guess import in_si, kinds_of
from pipeline.recordings.heads import listed, looked_at
from tests.inspection.drawn import brakings, drawn
from tests.inspection.messy import MESSES, SHORT, Mess, names, units, write
from tests.recordings.makers import card, write_card

CHANNELS = ("time", "speed", "torque", "pressure", "disc_temperature")
STOPS, INERTIA = 11, 26.0


@pytest.fixture(scope="module")
def room(tmp_path_factory):
    return tmp_path_factory.mktemp("messes")


@lru_cache(maxsize=64)
def seen(mess_name: str, room: Path) -> tuple[Mess, Path, Look]:
    mess = next(one for one in MESSES if one.name == mess_name)
    folder = room / str(MESSES.index(mess)) / "recordings"
    paths = write(mess, folder)
    return mess, folder.parent, look(paths, [path.name for path in paths])


def judged(mess: Mess, found: Look, channel: str) -> str:
    """right, doubtful (right, with a doubt), wrong but doubtful, wrong, or none."""
    guess = found.time if channel == "time" else found.guess(channel)
    if guess is None:
        return "none"
    column = mess.names[channel]
    true = {**units(), **mess.units}[channel]
    if channel == "speed" and guess.column == "Vehicle speed [km/h]":
        return "doubtful" if guess.doubts else "right"  # the same speed at the tyre
    right = guess.column.split(" [")[0] == column or (channel == "time" and guess.place is None)
    if channel == "time":
        right &= guess.unit == ("timestamp" if mess.clock != "number" else true)
    else:
        kind = next(kind for kind in kinds_of(channel) if np.isfinite(in_si(1.0, true, kind)))
        right &= bool(np.isclose(in_si(1.0, guess.unit, kind), in_si(1.0, true, kind), rtol=1e-6))
    return ("doubtful" if guess.doubts else "right") if right else ("wrong but doubtful" if guess.doubts else "wrong")


@pytest.mark.parametrize("name", [mess.name for mess in MESSES])
def test_no_guess_is_wrong_without_a_doubt(name, room):
    mess, _, found = seen(name, room)
    said = {channel: judged(mess, found, channel) for channel in CHANNELS}
    assert "wrong" not in said.values() and "none" not in said.values(), said
    assert len(found.brakings) == STOPS
    assert all(one.kind == "snub" for one in found.brakings)


def test_most_guesses_are_right_and_sure(room):
    """Figures of docs/inspecting.md."""
    said = [judged(*seen(mess.name, room)[::2], channel) for mess in MESSES for channel in CHANNELS]
    assert len(said) == 130
    assert said.count("right") >= 98
    assert said.count("right") + said.count("doubtful") >= 129


@pytest.mark.parametrize("name", [mess.name for mess in MESSES if mess.clock != "german"])
def test_what_is_written_for_the_card_is_read_as_it_was_seen(name, room):
    """The lines for test.yaml, put into a card, are read by the readers that a run uses."""
    mess, folder, found = seen(name, room)
    suffix = "".join(path.suffix for path in (folder / "recordings").iterdir() if path.name.startswith("Bremsung 1."))
    lines = recordings_lines(found, f"recordings/*{suffix}", "series" if mess.series else "stop")
    content = card() | {"recordings": yaml.safe_load("\n".join(lines))["recordings"], "rolling_radius": "318 mm"}
    write_card(folder, content)
    read = load_card(folder)
    paths = listed(folder, read)
    assert len(paths) == (1 if mess.series else STOPS)
    disagreeing = looked_at(paths[0], folder, read)
    assert set(disagreeing) == set(mess.wrong), disagreeing


def test_what_the_inertia_must_be_is_told(room):
    found = seen(MESSES[0].name, room)[2]
    assert found.inertia == pytest.approx(INERTIA, rel=0.03)  # drag of bearings and windage is in it


def test_pressure_rises_first(room):
    """As the simulated line and torque sensor have it; said as a reason."""
    reasons = seen(MESSES[4].name, room)[2].guess("pressure").reasons
    assert any(reason.startswith("rises ") and reason.endswith("ms before torque") for reason in reasons), reasons


def test_behaviour_decides_over_names_and_the_doubt_is_told(room):
    found = seen("torque and pressure swapped by name and unit", room)[2]
    torque = found.guess("torque")
    assert torque.column == "Bremsdruck" and torque.unit == "N m"
    assert any("its name says pressure" in doubt for doubt in torque.doubts)


def test_a_unit_of_the_wrong_size_is_a_doubt(tmp_path):
    """psi told as bar, ms told as s: the quantities together are beyond sense."""
    for wrong, channel in (({"pressure": "psi"}, "pressure"), ({"time": "ms"}, "time")):
        label = {"pressure": "bar", "time": "s"}[channel]
        mess = Mess(
            "x", names("Time", "Speed", "Torque", "Pressure", "Disc temp"), {**units(), **wrong}, wrong={channel: label}
        )
        paths = write(mess, tmp_path / channel)
        found = look(paths, [path.name for path in paths])
        guess = found.time if channel == "time" else found.guess(channel)
        assert guess.doubts, channel


def test_a_single_recording_is_enough_where_names_and_units_say_it(tmp_path):
    paths = write(Mess("x", names("Time", "Speed", "Torque", "Pressure", "Disc temp"), units()), tmp_path)
    found = look(paths[:1], ["one"])
    assert {
        channel: judged(Mess("x", names("Time", "Speed", "Torque", "Pressure", "Disc temp"), units()), found, channel)
        for channel in CHANNELS
    } == dict.fromkeys(CHANNELS, "right")


def test_without_any_braking_names_alone_are_doubtful(tmp_path):
    path = tmp_path / "rest.csv"
    rows = "\n".join(f"{k / 10},1500,5,0.1,{200 + k % 3}" for k in range(60))
    path.write_text(f"{','.join(SHORT.values())}\n{rows}\n")
    found = look([path], [path.name])
    assert found.brakings == []
    assert all(guess.doubts for guess in found.guesses)


def test_no_table_at_all_is_told(tmp_path):
    path = tmp_path / "letter.txt"
    path.write_text("Dear all,\nthe rig is down.\n")
    with pytest.raises(InputError, match="no three rows of numbers"):
        look([path], [path.name])


def drawn_counts(seeds: range, folder: Path) -> tuple[Counter, list[tuple[int, str]]]:
    """How the channels of drawn messes were judged, and those that are wrong without a doubt."""
    counts: Counter[str] = Counter()
    wrong = []
    for seed in seeds:
        mess, program = drawn(seed)
        paths = write(mess, folder / str(seed), brakings(program))
        found = look(paths, [path.name for path in paths])
        for channel in CHANNELS:
            said = judged(mess, found, channel)
            guess = found.time if channel == "time" else found.guess(channel)
            if said == "wrong but doubtful":
                same = guess.column.split(" [")[0] == mess.names[channel]
                said = "unit wrong but doubtful" if same else "column wrong but doubtful"
            counts[said] += 1
            if said == "wrong":
                wrong.append((seed, channel))
    return counts, wrong


@pytest.mark.parametrize("seeds", [range(12), pytest.param(range(12, 80), marks=pytest.mark.heavy)])
def test_drawn_messes_are_never_taken_wrongly_without_a_doubt(seeds, tmp_path):
    """But where the file itself tells a unit that makes as much sense as the true one: no witness in it can say so."""
    counts, wrong = drawn_counts(seeds, tmp_path)
    print(counts)
    plausible = {("torque", "lbf ft"), ("torque", "Nm"), ("disc_temperature", "°F")}
    for seed, channel in wrong:
        mess = drawn(seed)[0]
        assert channel in mess.wrong and (channel, mess.units[channel]) in plausible, (seed, channel)
    assert counts["column wrong but doubtful"] <= 0.02 * counts.total()
