"""`stopsheet new-test`: from strange recordings to a card that runs, with the blanks filled in by hand and nothing else."""

from __future__ import annotations

import fnmatch
import json
import re
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import polars as pl
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.archive.card import load_card
from pipeline.archive.scan import scan
from pipeline.cli import run
from pipeline.errors import InputError
from pipeline.inputs.blanks import BLANK, blanks
from pipeline.inputs.model import _TextLoader
from pipeline.inspection.blocks import grouped
from pipeline.inspection.brakings import Braking
from pipeline.inspection.card import quoted, wildcard
from pipeline.inspection.folders import looked_into
from pipeline.inspection.said import date_of, pistons, taken
from pipeline.inspection.schedule_table import schedule_lines
from pipeline.recordings.heads import listed
from pipeline.workspace.input_files import FILES, text
from tests.conftest import REPO
from tests.hostile.base import write_base
from tests.hostile.chain import METHOD, to_stops
from tests.inspection.messy import GERMAN, MESSES, Mess, units, write, write_parts

PLAIN = Mess("plain", GERMAN, units())
ANSWERS = {
    "compound": "Marram 4", "batch": "M4-2406", "specimen": "A", "date": "2026-03-02", "rig": "north", "inertia": "26 kg m^2",
    "rolling_radius": "318 mm",
}  # fmt: skip


def made(tmp_path: Path, mess: Mess, *options: str) -> Path:
    source = tmp_path / "source"
    write(mess, source)
    folder = tmp_path / "archive" / "t1"
    assert run(["new-test", str(folder), "--from", str(source), *options]) == 0
    return folder


def filled(folder: Path, truth: Path) -> None:
    """Blanks replaced by what the sound card of the simulated test says; nothing else is touched."""
    brake = yaml.safe_load((truth / "test.yaml").read_text())["brake"]
    text = (folder / "test.yaml").read_text(encoding="utf-8")
    for key, value in ANSWERS.items():
        text = re.sub(rf"(?m)^{key}: FILL_IN", f"{key}: {value}", text)
    for key in ("effective_radius", "pad_area"):
        text = re.sub(rf"(?m)^  {key}: FILL_IN", f"  {key}: {brake[key]}", text)
    text = re.sub(
        r"(?m)^  pistons_per_side: \[FILL_IN\]", f"  pistons_per_side: [{', '.join(brake['pistons_per_side'])}]", text
    )
    assert "FILL_IN" not in text.split("\n", 2)[2], text
    (folder / "test.yaml").write_text(text, encoding="utf-8")


@pytest.fixture(scope="module")
def truth(tmp_path_factory):
    """The sound test with its own card, reduced: µ of each stop."""
    room = tmp_path_factory.mktemp("truth")
    folder = write_base(room / "archive", "delimited", "t")
    to_stops(folder, room / "results")
    return folder, pl.read_parquet(room / "results" / METHOD / "tests" / "t" / "stops.parquet")


WALKED = ("german, units row in brackets, Latin-1", "spanish, series, ISO stamps", "numbered names, no units, shuffled")
FURTHER = ("french, tab, units row, km/h", "english, psi, lbf ft, degF", "MDF, german abbreviations", "TDMS with a time channel", "HDF5, french",
           "workbook, header in row 3, units row", "torque and pressure swapped by name and unit", "negative torque, rad/s, kPa",
           "time of day, decimal comma", "Parquet, timestamps, no units")  # fmt: skip


@pytest.mark.parametrize("name", [*WALKED, *(pytest.param(name, marks=pytest.mark.heavy) for name in FURTHER)])
def test_a_strange_archive_is_walked_to_its_numbers(name, tmp_path, truth):
    """new-test, blanks filled in, reduced: every stop of use, and µ as from the sound card."""
    folder = made(tmp_path, next(one for one in MESSES if one.name == name))
    with pytest.raises(InputError, match="to fill in"):
        load_card(folder)
    filled(folder, truth[0])
    to_stops(folder, tmp_path / "results")
    stops = pl.read_parquet(tmp_path / "results" / METHOD / "tests" / "t1" / "stops.parquet")
    sound = truth[1]
    assert stops.height == sound.height
    if "swapped" in name:  # the file's own units contradict the card's
        assert set(stops["status"]) == {"suspect"}
    else:
        assert set(stops["status"]) == {"ok"}, stops["findings"].to_list()
    mu = (stops["mu"] / (sound["mu"] * sound_factor(sound))).to_numpy()
    assert abs(mu - 1).max() < 0.01


def sound_factor(sound: pl.DataFrame) -> float:
    """The walked card leaves efficiency at 1 and the threshold at 0 where the sound one has 0.97 and 0.4 bar."""
    return 0.97 * float(((sound["pressure_bar"] - 0.4) / sound["pressure_bar"]).mean())


@pytest.mark.parametrize(
    ("form", "line"), [("hdf5", 'dataset: "runs/*"'), pytest.param("xlsx", 'sheet: "Stop *"', marks=pytest.mark.heavy)]
)
def test_the_parts_of_one_file_are_recordings(form, line, tmp_path, truth):
    """Groups or sheets, in natural order, what is no recording left aside."""
    path = write_parts(replace(PLAIN, form=form), tmp_path / "source")
    folder = tmp_path / "archive" / "t1"
    assert run(["new-test", str(folder), "--from", str(path)]) == 0
    text = (folder / "test.yaml").read_text(encoding="utf-8")
    assert f"  {line}\n  channels:" in text and "holds: stop" in text
    filled(folder, truth[0])
    to_stops(folder, tmp_path / "results")
    stops = pl.read_parquet(tmp_path / "results" / METHOD / "tests" / "t1" / "stops.parquet")
    assert set(stops["status"]) == {"ok"} and stops.height == 11
    assert stops["block"].to_list() == [b.name for b in load_card(folder).blocks for _ in range(b.stops)]


def test_blanks_are_named_with_line_key_and_what_to_write(tmp_path, capsys):
    folder = made(tmp_path, PLAIN)
    said = capsys.readouterr().out
    found = blanks((folder / "test.yaml").read_text(encoding="utf-8"))
    keys = {one.key for one in found}
    assert keys == {
        "compound",
        "batch",
        "specimen",
        "date",
        "rig",
        "brake.effective_radius",
        "brake.pistons_per_side",
        "brake.pad_area",
        "inertia",
    }
    lines = (folder / "test.yaml").read_text(encoding="utf-8").splitlines()
    for one in found:
        assert one.key.split(".")[-1] in lines[one.line - 1] and one.hint
        assert f"line {one.line}: {one.key}" in said
    assert run(["check", str(folder)]) == 3
    checked = capsys.readouterr().out
    assert "9 blanks to fill in" in checked and all(f"line {one.line} {one.key}" in checked for one in found)
    assert scan(folder.parent).tests == {"t1": None}  # no compound of that name is made


def test_a_blank_anywhere_in_an_input_file_is_refused(tmp_path):
    path = tmp_path / "test.yaml"
    path.write_text(
        "schema: 1\ncompound: x\nblocks:\n  - {name: a, stops: FILL_IN}\n  - {name: b, pressure: FILL_IN bar}  # such as 40 bar\n"
    )
    found = blanks(path.read_text())
    assert [(one.line, one.key, one.hint) for one in found] == [
        (4, "blocks.entry 1.stops", ""),
        (5, "blocks.entry 2.pressure", "such as 40 bar"),
    ]


def braked(kind: str, start: float, end: float, bar: float, celsius: float, at: float) -> Braking:
    """One braking as found; rpm."""
    w = np.pi / 30
    return Braking("f", at, 3.0, start * w, end * w, bar * 1e5, 500.0, celsius + 273.15, celsius + 400.0, kind, (0, 9))


def test_blocks_are_neighbours_alike(tmp_path):
    """Bedding, checks that return, a map in steps of 20 K, an odd one among equals, a fade, its recovery, a drag; scatter in all."""
    rng = np.random.default_rng(3)
    wanted = [("bedding", 12, "snub", (1600, 600), 30, 230), ("check", 4, "snub", (1450, 850), 25, 300), ("map", 2, "snub", (1450, 850), 25, 100),
              ("map", 2, "snub", (1450, 850), 25, 120), ("check", 4, "snub", (1450, 850), 25, 300), ("map", 7, "stop", (1000, 5), 25, 200),
              ("check", 4, "snub", (1450, 850), 25, 300), ("fade", 6, "snub", (1900, 700), 42, 200), ("recovery", 5, "snub", (1450, 850), 25, 220),
              ("drag", 2, "drag", (700, 700), 12, 250)]  # fmt: skip
    several, at = [], 0.0
    for purpose, count, kind, (start, end), bar, celsius in wanted:
        for number in range(count):
            at += 40.0
            hotter = 30.0 * number if purpose == "fade" else 0.0
            scatter = rng.normal(0, 1, 4) * (3.0, 3.0, 0.2, 1.2)
            odd = purpose == "map" and count == 7 and number == 3
            several.append(
                braked(
                    kind,
                    start + scatter[0],
                    end + scatter[1],
                    bar * (2.0 if odd else 1.0) + scatter[2],
                    celsius + hotter + scatter[3],
                    at,
                )
            )
    found = grouped(several)
    assert [(b.purpose, b.stops, b.kind) for b in found] == [one[:3] for one in wanted]
    assert [b.interval for b in found if b.purpose == "fade"] == [40.0]
    assert grouped([]) == []


@pytest.mark.heavy
def test_the_blocks_of_a_sample_are_found(tmp_path):
    """Ends of blocks as the sample's own card has them; most purposes."""
    folder = REPO / "rig_samples" / "archive" / "m4-2403-a"
    card = load_card(folder)
    blocks = grouped(looked_into(folder / "recordings").groups[0].brakings)
    ends = [
        {sum(b.stops for b in several[: at + 1]) for at in range(len(several))} for several in (blocks, card.blocks)
    ]
    assert len(ends[0] & ends[1]) >= 0.95 * len(ends[1])
    assert [b.stops for b in blocks if b.purpose == "check"] == [b.stops for b in card.blocks if b.purpose == "check"]
    assert [b.stops for b in blocks if b.purpose == "fade"] == [b.stops for b in card.blocks if b.purpose == "fade"]


def test_what_the_header_says_is_taken_where_it_is_clear(tmp_path):
    before = (
        "Werkstoff: Marram 4",
        "Charge;M4-2406",
        "Datum: 02.03.2026",
        "Trägheitsmoment [kg m^2]: 26",
        "Prüfstand = Nord",
        "Rollradius: 318",
        "",
    )
    folder = made(tmp_path, replace(PLAIN, before=before))
    text = (folder / "test.yaml").read_text(encoding="utf-8")
    for line in ("compound: Marram 4", "batch: M4-2406", "date: 2026-03-02", "rig: Nord"):
        assert f"{line}  # from the recordings" in text, line
    assert re.search(r'inertia: "?26 kg m\^2"?  # from the recordings', text)


def test_linked_recordings_are_the_same_file(tmp_path):
    folder = made(tmp_path, PLAIN, "--recordings", "link")
    assert (folder / "recordings" / "Bremsung 1.csv").stat().st_ino == (
        tmp_path / "source" / "Bremsung 1.csv"
    ).stat().st_ino


def test_what_is_not_taken_is_told(tmp_path, capsys):
    paths = write(PLAIN, tmp_path / "source")
    (tmp_path / "source" / "note.pdf").write_bytes(b"%PDF-1.7")
    paths[3].write_text("\n".join(paths[3].read_text().splitlines()[:30]) + "\n")
    assert run(["new-test", str(tmp_path / "archive" / "t1"), "--from", str(tmp_path / "source")]) == 0
    said = capsys.readouterr().out
    assert "not taken: note.pdf: is a PDF document" in said and "odd: Bremsung 4.csv holds 0 brakings" in said


def test_a_name_with_brackets_is_found_by_the_card(tmp_path, truth):
    path = write(replace(PLAIN, series=True), tmp_path / "source")[0].rename(tmp_path / "source" / "run [1].csv")
    folder = tmp_path / "archive" / "t1"
    assert run(["new-test", str(folder), "--from", str(path)]) == 0
    filled(folder, truth[0])
    assert [p.name for p in listed(folder, load_card(folder))] == ["run [1].csv"]


def test_a_folder_that_is_there_is_left_alone(tmp_path, capsys):
    folder = made(tmp_path, PLAIN)
    before = (folder / "test.yaml").read_bytes()
    assert run(["new-test", str(folder), "--from", str(tmp_path / "source")]) == 2
    assert "not empty" in capsys.readouterr().err and (folder / "test.yaml").read_bytes() == before


def test_nothing_is_left_where_nothing_can_be_read(tmp_path, capsys):
    (tmp_path / "source").mkdir()
    (tmp_path / "source" / "a.pdf").write_bytes(b"%PDF-1.7")
    assert run(["new-test", str(tmp_path / "archive" / "t1"), "--from", str(tmp_path / "source")]) == 2
    assert "is a PDF document" in capsys.readouterr().err and not (tmp_path / "archive").exists()


SCHEDULE = "Block;Zweck;Anzahl;Anfangsdrehzahl [1/min];Enddrehzahl [1/min];Bremsdruck [bar];Anfangstemperatur [°C]\nEinlauf;bedding;5;1600;650;30;230\nKontrolle;check;6;1450;850;25,5;300\n"


@pytest.mark.parametrize("suffix", [".csv", ".xlsx"])
def test_a_schedule_comes_from_a_table(tmp_path, suffix):
    table = tmp_path / f"plan{suffix}"
    if suffix == ".csv":
        table.write_text(SCHEDULE, encoding="utf-8")
    else:
        import openpyxl

        book = openpyxl.Workbook()
        for row in SCHEDULE.splitlines():
            book.active.append([float(c.replace(",", ".")) if re.match(r"^[\d,]+$", c) else c for c in row.split(";")])
        book.save(table)
    folder = made(tmp_path, PLAIN, "--schedule", str(table))
    blocks = yaml.safe_load((folder / "test.yaml").read_text(encoding="utf-8"))["blocks"]
    assert [(b["name"], b["purpose"], b["kind"], b["stops"]) for b in blocks] == [
        ("Einlauf", "bedding", "snub", 5),
        ("Kontrolle", "check", "snub", 6),
    ]
    assert [float(b["pressure"].split()[0]) for b in blocks] == [30.0, 25.5]


@pytest.mark.parametrize(
    ("table", "why"),
    [
        ("Block;Anzahl\na;3\n", "no column for from"),
        ("Block;Anzahl;v1;v2;p [bar]\na;3;1500;700;30\n", "line 2: from: '1500' has no unit"),
        ("Block;Anzahl;v1 [rpm];v2 [rpm];p [N]\na;3;1500;700;30\n", "line 2: unit 'N' is not of the kind pressure"),
        (
            "Block;Anzahl;Art;v1 [rpm];p [bar]\na;3;braking;1500;30\n",
            "line 2: kind: 'braking'; write stop, snub or drag",
        ),
        ("Block;Anzahl;v1 [rpm];p [bar]\na;three;1500;30\n", "line 2: stops: 'three' is not a whole number"),
        ("", "holds no table"),
    ],
)
def test_a_schedule_that_cannot_be_read_names_line_and_column(tmp_path, table, why):
    (tmp_path / "plan.csv").write_text(table)
    with pytest.raises(InputError, match=re.escape(why)) as told:
        schedule_lines(tmp_path / "plan.csv")
    assert str(told.value).startswith("plan.csv")


def test_many_cards_from_a_register(tmp_path, capsys):
    for number in (1, 2, 3):
        write(PLAIN, tmp_path / "old" / f"2019-{number}")
    (tmp_path / "list.csv").write_text(
        "Versuch,Messdaten,Werkstoff,Charge,Muster,Datum,Prüfstand,Trägheit [kg m^2],Kolben,Bediener\n"
        "M4 1/A,2019-1,Marram 4,M4-1,A,2019-03-02,north,26,30/34/38 mm,somebody\n"
        "m4-2-a,2019-2,Marram 4,M4-2,A,03/04/2019,north,26,30/34/38 mm,somebody\n"
        "m4-9-a,2019-9,Marram 4,M4-9,A,2019-04-02,north,26,30/34/38 mm,somebody\n",
        encoding="utf-8",
    )
    assert (
        run(
            [
                "new-test",
                str(tmp_path / "archive"),
                "--from",
                str(tmp_path / "old"),
                "--register",
                str(tmp_path / "list.csv"),
            ]
        )
        == 3
    )
    out, err = capsys.readouterr()
    assert "columns that are not used: Bediener" in out and "2 of 3 tests made" in out
    assert "line 4: '2019-9' is not in" in err and "2019-1, 2019-2, 2019-3" in err
    first, second = (
        yaml.safe_load((tmp_path / "archive" / t / "test.yaml").read_text(encoding="utf-8"))
        for t in ("m4-1-a", "m4-2-a")
    )
    assert (first["compound"], first["batch"], str(first["date"]), first["inertia"]) == (
        "Marram 4",
        "M4-1",
        "2019-03-02",
        "26 kg m^2",
    )
    assert first["brake"]["pistons_per_side"] == ["30 mm", "34 mm", "38 mm"]
    assert second["date"] == "FILL_IN"  # the third of April or the fourth of March


@pytest.mark.parametrize(
    ("text", "day"),
    [("2026-03-02", "2026-03-02"), ("2026-03-02T10:00", "2026-03-02"), ("02.03.2026", "2026-03-02"), ("17/03/2026", "2026-03-17"), ("03/17/2026", "2026-03-17"),
     ("03/04/2026", None), ("04/04/2026", "2026-04-04"), ("31.02.2026", None), ("March", None), ("", None)],
)  # fmt: skip
def test_a_date_is_taken_where_it_means_one_day(text, day):
    assert date_of(text) == day


def test_values_said_are_taken_where_a_card_reads_them():
    good, unclear = taken({"Inertia": "26", "Pad area": "52 cm2", "Operator": "x", "Lot": "7"})
    assert good == {"brake.pad_area": "52 cm2", "batch": "7"} and unclear == {"inertia": "26"}
    assert pistons("2 x 36 mm") == "[36 mm, 36 mm]" and pistons("30") is None


def test_the_schema_takes_the_samples_cards_and_names_what_is_wrong():
    schema = json.loads(text("test"))
    for folder in sorted((REPO / "rig_samples" / "archive").iterdir())[:3]:
        content = json.loads(json.dumps(yaml.safe_load((folder / "test.yaml").read_text()), default=str))
        jsonschema.validate(content, schema)
        for wrong in ({"shaft_colour": "red"}, {"blocks": [{**content["blocks"][0], "kind": "snubb"}]}):
            with pytest.raises(jsonschema.ValidationError):
                jsonschema.validate({**content, **wrong}, schema)
    assert "mm" in json.dumps(schema["$defs"]["FrictionRing"])


@pytest.mark.parametrize(("pattern", "names"), [("config.yaml", ["config"]), ("methods/*.yaml", ["method"]), ("targets/*.yaml", ["target"]), ("rigs/*.yaml", ["rig"]),
                                                ("duties/*.yaml", ["duty", "logged-duty"])])  # fmt: skip
def test_the_schemas_of_the_other_inputs_take_the_samples(pattern, names):
    """A file is one of the forms that it may have; another key is refused by each."""
    assert set(names) <= set(FILES)
    paths = sorted((REPO / "rig_samples").glob(pattern))
    assert paths
    for path in paths:
        content = json.loads(json.dumps(yaml.safe_load(path.read_text()) or {}, default=str))
        checks = [jsonschema.Draft7Validator(json.loads(text(name))) for name in names]
        assert any(check.is_valid(content) for check in checks), [
            error.message for error in checks[0].iter_errors(content)
        ]
        assert not any(check.is_valid({**content, "shaft_colour": "red"}) for check in checks)


@pytest.mark.heavy
def test_from_recordings_to_the_first_page_in_three_commands(tmp_path, truth, capfd):
    """inspect, new-test, the blanks, run: without a config, a conversion or another edited line."""
    source = tmp_path / "source"
    write(MESSES[0], source)
    folder = tmp_path / "archive" / "t1"
    assert run(["inspect", str(source)]) == 0
    assert run(["new-test", str(folder), "--from", str(source)]) == 0
    filled(folder, truth[0])
    assert run(["run", str(folder), "--cores", "1"]) == 0
    assert "11 ok, 0 suspect, 0 rejected" in capfd.readouterr().out
    assert (tmp_path / "archive-run" / "results" / "default" / "tests" / "t1" / "test.html").is_file()


@given(st.text(min_size=1, max_size=60))
@settings(max_examples=300, deadline=None)
def test_any_name_is_read_back_from_the_card_as_it_was(text):
    """In braces and alone, whatever it holds: quotes, colons, hashes, line ends, other scripts."""
    if any(0xD800 <= ord(c) <= 0xDFFF for c in text):
        return
    written = f"a: {quoted(text)}\nb: {{column: {quoted(text)}, unit: s}}  # {BLANK}\n"
    assert yaml.safe_load(written.replace("a: ", "a: ", 1))["b"]["unit"] == "s"
    content = yaml.load(written, Loader=_TextLoader)
    assert content["a"] == text and content["b"]["column"] == text


@given(
    st.lists(
        st.text(alphabet="abStop 01/#-_[]*", min_size=1, max_size=12).filter(
            lambda t: not t.endswith("/") and not t.startswith("/") and "//" not in t
        ),
        min_size=1,
        max_size=6,
        unique=True,
    )
)
@settings(max_examples=200, deadline=None)
def test_a_wildcard_matches_all_that_is_wanted(parts):
    """Level by level, as the readers match."""
    depth = parts[0].count("/")
    wanted = [part for part in parts if part.count("/") == depth]
    pattern = wildcard(wanted, parts)
    for part in wanted:
        levels, asked = part.split("/"), pattern.split("/")
        assert len(levels) == len(asked) and all(
            fnmatch.fnmatchcase(a, b) for a, b in zip(levels, asked, strict=True)
        ), (pattern, part)
