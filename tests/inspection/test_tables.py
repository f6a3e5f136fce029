"""What a new card takes from brakings and tables: blocks, a schedule, a register of tests, what the header says."""

from __future__ import annotations

import re

import numpy as np
import pytest
import yaml

from pipeline.archive.card import load_card
from pipeline.cli import run
from pipeline.errors import InputError
from pipeline.inspection.blocks import grouped
from pipeline.inspection.brakings import Braking
from pipeline.inspection.folders import looked_into
from pipeline.inspection.said import date_of, pistons, taken
from pipeline.inspection.schedule_table import schedule_lines
from tests.conftest import REPO
from tests.inspection.messy import write
from tests.inspection.walking import PLAIN, made


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


SCHEDULE = "Block;Zweck;Anzahl;Anfangsdrehzahl [1/min];Enddrehzahl [1/min];Bremsdruck [bar];Anfangstemperatur [°C]\nEinlauf;bedding;5;1600;650;30;230\nKontrolle;check;6;1450;850;25,5;300\n"


@pytest.mark.parametrize("suffix", [".csv", ".txt", ".xlsx"])
def test_a_schedule_comes_from_a_table(tmp_path, suffix):
    table = tmp_path / f"plan{suffix}"
    if suffix != ".xlsx":
        table.write_text(SCHEDULE, encoding="utf-8" if suffix == ".csv" else "utf-16")
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
