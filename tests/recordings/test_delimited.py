"""Delimited text in every spelling that a rig's recorder has, and the damage that happens to it."""

import numpy as np
import pytest

from pipeline.archive.card import load_card
from pipeline.recordings import delimited
from tests.recordings.makers import card, expected, ingested, samples, text, text_test, write_card, written

SI = ["time", "speed", "torque", "pressure", "disc_temperature"]

STYLES = {
    "plain": {},
    "semicolon and decimal comma": {
        "delimiter": ";", "decimal": ",", "recordings": {"delimiter": ";", "decimal": ","},
    },
    "tab": {"delimiter": "\t", "recordings": {"delimiter": "\t"}},
    "units row found": {"units": True},
    "units row stated": {"units": True, "recordings": {"units_row": "true"}},
    "lines before the header": {"before": "rig north\n\nprogram 7, 3\n", "recordings": {"skip_lines": 3}},
    "comments": {"before": "# made up\n  # again\n", "recordings": {"comment": "#"}},
    "byte order mark": {"before": "\ufeff"},
    "Windows line ends": {"newline": "\r\n"},
    "old line ends": {"newline": "\r"},
    "quoted": {"quote": '"'},
    "quoted decimal comma": {
        "quote": '"', "decimal": ",", "delimiter": ";", "recordings": {"delimiter": ";", "decimal": ","},
    },
    "commas in quotes between commas": {"quote": '"', "decimal": ",", "recordings": {"decimal": ","}},
    "strokes": {"delimiter": "|", "recordings": {"delimiter": "|"}},
    "blanks": {"delimiter": "  ", "before": "rig north\n", "recordings": {"delimiter": "blanks", "skip_lines": 1}},
    "one blank and a units row": {"delimiter": " ", "units": True, "recordings": {"delimiter": "blanks"}},
    "blanks, decimal comma, comments": {
        "delimiter": "\t \t", "decimal": ",", "before": "# made up\n", "recordings": {"delimiter": "blanks", "decimal": ",", "comment": "#"},
    },
    "UTF-16 with its mark": {"encoding": "utf-16", "recordings": {"encoding": "utf-16"}},
    "UTF-16 without it, the other way round": {
        "encoding": "utf-16-be", "newline": "\r\n", "before": "Prüfstand\n", "recordings": {"encoding": "UTF16", "skip_lines": 1},
    },
    "gzip": {"suffix": ".csv.gz"},
    "zstandard": {"suffix": ".csv.zst"},
    "Latin-1": {"before": "Prüfstand °\n", "encoding": "latin-1", "recordings": {"encoding": "latin-1", "skip_lines": 1}},
}  # fmt: skip


@pytest.mark.parametrize("style", STYLES.values(), ids=STYLES.keys())
def test_every_spelling_gives_the_same_channels(tmp_path, style):
    table, record = ingested(text_test(tmp_path / "t", **style), tmp_path / "out")
    assert record["unusable"] is None
    assert record["findings"] == []
    assert [r["rows"] for r in record["recordings"]] == [600, 600, 600]
    for number in (1, 2, 3):
        got = table.filter(recording=number).select(SI).to_numpy()
        # Six decimals of the file's unit: half a unit of the last place, in SI.
        assert np.all(np.abs(got - expected(number)) <= np.array([1, 0.105, 1, 1e5, 1]) * 0.51e-6)


def numbered() -> dict[str, dict[str, str]]:
    """Channels by the number of their column."""
    channels = card()["recordings"]["channels"]
    return {name: {**one, "column": f"column {at}"} for at, (name, one) in enumerate(channels.items(), start=1)}


@pytest.mark.parametrize("style", [{}, {"delimiter": "blanks"}, {"delimiter": ";", "comment": "#"}])
def test_without_a_row_of_names_columns_are_counted(tmp_path, style):
    folder = write_card(tmp_path / "t", card(header_row=False, channels=numbered(), **style))
    mark = {"blanks": "   "}.get(style.get("delimiter", ","), style.get("delimiter", ","))
    for number in (1, 2, 3):
        lines = text(samples(number), delimiter=mark).splitlines()[1:]
        written(folder, f"{number}.csv", "\n".join(["# made up", *lines] if "comment" in style else lines).encode())
    table, record = ingested(folder, tmp_path / "out")
    assert record["findings"] == []
    for number in (1, 2, 3):
        got = table.filter(recording=number).select(SI).to_numpy()
        assert np.all(np.abs(got - expected(number)) <= np.array([1, 0.105, 1, 1e5, 1]) * 0.51e-6)


def test_a_force_at_a_lever_arm_is_a_torque(tmp_path):
    """T = F x arm: 9.80665 N a kgf at 250 mm."""
    content = card()
    content["recordings"]["channels"]["torque"] = {"column": "Mb", "unit": "kgf", "arm": "250 mm"}
    folder = write_card(tmp_path / "t", content)
    written(folder, "1.csv", text(samples(1)).encode())
    table, _ = ingested(folder, tmp_path / "out")
    assert np.allclose(table["torque"].to_numpy(), samples(1)["torque"] * 9.80665 * 0.25, atol=1e-5)


@pytest.mark.parametrize(
    ("channel", "change", "why"),
    [
        ("torque", {"unit": "kgf"}, "a force (N, kN, daN, lbf, kgf) with its lever arm"),
        ("torque", {"arm": "250 mm"}, "channels.torque.unit: unit 'N m' is not of the kind force"),
        ("torque", {"unit": "N", "arm": "0 mm"}, "recordings.channels.torque.arm: '0 mm' must be above zero"),
        ("pressure", {"arm": "250 mm"}, "channels.pressure.arm: only of torque"),
        (
            "time",
            {"dates": "day_first"},
            "channels.time.dates: only of time; accepted: dates of time with unit timestamp",
        ),
        ("time", {"unit": "timestamp", "dates": "year_first"}, "day_first"),
    ],
)
def test_what_a_channel_says_beside_its_unit_is_held_against_it(tmp_path, channel, change, why):
    content = card()
    content["recordings"]["channels"][channel] |= change
    folder = write_card(tmp_path / "t", content)
    written(folder, "1.csv", text(samples(1)).encode())
    assert why in ingested(folder, tmp_path / "out")[1]["unusable"]


def one(tmp_path, content: bytes, name: str = "0001.csv", **recordings):
    """Ingest a test of a good recording and the one in question."""
    folder = write_card(tmp_path / "t", card(**recordings))
    written(folder, "0000.csv", text(samples(7)).encode())
    written(folder, name, content)
    return ingested(folder, tmp_path / "out")


def findings(record, code):
    return [f for f in record["findings"] if f["code"] == code]


def test_rows_with_fields_too_many_or_too_few_are_left_out_and_named(tmp_path):
    lines = text(samples(1)).splitlines()
    lines[100] = lines[100].replace(".", ",")
    lines[200] = ",".join(lines[200].split(",")[:3])
    table, record = one(tmp_path, "\n".join(lines).encode())
    assert table.filter(recording=2).height == 598
    (found,) = findings(record, "recording_damaged")
    assert found["file"] == "recordings/0001.csv"
    assert found["evidence"]["count"] == 2
    assert found["evidence"]["line"] == 101
    assert found["severity"] == "info"


@pytest.mark.parametrize(("cell", "what"), [("x1", "number"), ("inf", "number"), ("NaN", "absent"), ("1e9", "range")])
def test_cells_that_are_no_measurement_are_missing_and_counted(tmp_path, cell, what):
    lines = text(samples(1)).splitlines()
    for at in range(300, 310):
        fields = lines[at].split(",")
        fields[2] = cell
        lines[at] = ",".join(fields)
    table, record = one(tmp_path, "\n".join(lines).encode())
    rows = table.filter(recording=2)
    assert rows["torque"].null_count() == 10
    assert rows["torque"].is_nan().sum() == 0
    (found,) = findings(record, "recording_damaged")
    assert (found["channel"], found["evidence"]["what"], found["evidence"]["count"]) == ("torque", what, 10)
    assert found["severity"] == "suspect"


ODD_CELLS = [" 7 ", "+7", "7.", ".7", "7e-2", "7E2", "-0", "", " ", "nan", "--", "inf", "1e400", "1e-400", "1_0", "0x10", "7f",
             "7,5", "7.5", "1.234,5", '"7"', '"7', '""', "\u00a07", "7\u2009", "1d2", "0.1000000000000000055511151231257827",
             "9007199254740993", "179769313486231580793e289"]  # fmt: skip


@pytest.mark.parametrize("decimal", [".", ","])
@pytest.mark.parametrize("cell", ODD_CELLS)
def test_numbers_read_at_once_are_those_read_by_way_of_text(tmp_path, cell, decimal):
    """One cell, and a row with a field too many after it: same rows, same damage, to the last bit."""
    plain = text({name: v[:40] for name, v in samples(1).items()}, delimiter=";", decimal=decimal).splitlines()
    odd = plain[20].split(";")
    odd[2] = cell
    path = tmp_path / "a.csv"
    path.write_text(
        "\n".join([*plain[:20], ";".join(odd), *plain[21:30], "1;2;3;4;5;6", *plain[30:]]) + "\n", encoding="utf-8"
    )
    folder = write_card(tmp_path / "t", card(delimiter=";", decimal=decimal))
    recordings = load_card(folder).recordings

    def chunk(at_once: bool):
        [(layout, cells)] = delimited.rows(path, recordings, needed=tuple(SI), in_numbers=at_once)
        return delimited.in_numbers(cells, layout, recordings)

    fast, slow = chunk(True), chunk(False)
    assert fast.rows.equals(slow.rows, null_equal=True)
    assert np.array_equal(np.signbit(fast.rows.to_numpy()), np.signbit(slow.rows.to_numpy()))
    assert fast.damage == slow.damage
    assert "fields" in [one.what for one in fast.damage]


def test_rows_without_a_time_are_left_out(tmp_path):
    lines = text(samples(1)).splitlines()
    lines[50] = ",".join(["", *lines[50].split(",")[1:]])
    lines[60] = ",".join(["?", *lines[60].split(",")[1:]])
    table, record = one(tmp_path, "\n".join(lines).encode())
    assert table.filter(recording=2).height == 598
    assert findings(record, "recording_damaged")[0]["channel"] == "time"


BROKEN = {
    "empty": (b"", "empty"),
    "blank": (b"\n \n\n", "header"),
    "header only": (b"t,n,Mb,p,T1\n", "0 usable rows"),
    "binary": (bytes(range(256)) * 40, "binary"),
    "UTF-16": (text(samples(1)).encode("utf-16"), "UTF-16"),
    "one endless line": (b"9" * 3_000_000, "longer than 131072 characters"),
    "column gone": (text(samples(1)).replace("Mb", "Md", 1).encode(), "'Mb' (torque); nearest: 'Md'"),
    "column twice": (text(samples(1)).replace("T1", "T1,Mb", 1).encode(), "stands 2 times"),
    "other delimiter": (text(samples(1), delimiter=";").encode(), "delimiter ';'?"),
    "other decimal": (text(samples(1), decimal="|").replace("|", ".5.").encode(), "no numbers"),
}


@pytest.mark.parametrize(("content", "why"), BROKEN.values(), ids=BROKEN.keys())
def test_a_recording_that_is_not_what_the_card_says_is_named_and_the_rest_goes_on(tmp_path, content, why):
    table, record = one(tmp_path, content)
    good, bad = record["recordings"]
    assert good["error"] is None
    assert why in bad["error"]
    assert table["recording"].unique().to_list() == [1]
    (found,) = findings(record, "recording_unreadable")
    assert found["file"] == "recordings/0001.csv"
    assert found["severity"] == "rejected"


def test_a_compressed_recording_that_ends_early_is_unreadable(tmp_path):
    import gzip

    whole = gzip.compress(text(samples(1)).encode())
    folder = write_card(tmp_path / "t", card())
    written(folder, "0000.csv", text(samples(7)).encode())
    (folder / "recordings" / "0001.csv.gz").write_bytes(whole[: len(whole) // 2])
    _, record = ingested(folder, tmp_path / "out")
    assert "ends early" in record["recordings"][1]["error"]


def test_a_decimal_comma_that_the_card_does_not_state_is_asked_for(tmp_path):
    _, record = one(
        tmp_path, text(samples(1), delimiter=";", decimal=",").encode(), delimiter=";", files="recordings/0001.csv"
    )
    assert record["unusable"]
    assert "recordings.decimal ','" in record["recordings"][0]["error"]


def test_a_header_in_another_encoding_is_asked_for(tmp_path):
    content = card()
    content["recordings"]["channels"]["disc_temperature"]["column"] = "T1 °C"
    folder = write_card(tmp_path / "t", content)
    written(folder, "1.csv", text(samples(1)).replace("T1", "T1 °C", 1).encode("latin-1"))
    _, record = ingested(folder, tmp_path / "out")
    assert "is recordings.encoding latin-1?" in record["recordings"][0]["error"]


def test_a_unit_that_the_file_itself_contradicts_is_a_finding(tmp_path):
    content = text(samples(1), units=True).replace("[bar]", "[psi]", 1)
    _, record = one(tmp_path, content.encode())
    (found,) = findings(record, "unit_disagrees")
    assert found["channel"] == "pressure"
    assert found["evidence"] == {"recordings": "psi", "card": "bar", "files": ["recordings/0001.csv"]}


def test_a_unit_of_another_kind_and_one_in_a_columns_name_are_findings(tmp_path):
    content = text(samples(1), units=True).replace("[bar]", "[degC]", 1)
    _, record = one(tmp_path, content.encode())
    assert [f["channel"] for f in findings(record, "unit_disagrees")] == ["pressure"]
    named = card()
    named["recordings"]["channels"]["torque"]["column"] = "Torque [lbf ft]"
    folder = write_card(tmp_path / "named", named)
    written(folder, "1.csv", text(samples(1)).replace("Mb", "Torque [lbf ft]", 1).encode())
    _, record = ingested(folder, tmp_path / "out2")
    (found,) = findings(record, "unit_disagrees")
    assert (found["channel"], found["file"]) == ("torque", None)
    assert found["evidence"] == {"recordings": "lbf ft", "card": "N m"}


def test_a_unit_that_one_file_of_several_names_is_told_of_that_file(tmp_path):
    folder = write_card(tmp_path / "t", card())
    for number in (1, 2, 3):
        content = text(samples(number), units=True)
        written(folder, f"{number}.csv", (content.replace("[degC]", "[degF]", 1) if number == 2 else content).encode())
    _, record = ingested(folder, tmp_path / "out")
    (found,) = findings(record, "unit_disagrees")
    assert (found["channel"], found["file"]) == ("disc_temperature", "recordings/2.csv")
    assert found["evidence"] == {"recordings": "degF", "card": "degC", "files": ["recordings/2.csv"]}


def test_a_speed_in_one_over_seconds_says_nothing_of_its_unit(tmp_path):
    content = text(samples(1), units=True).replace("[rpm]", "[1/s]", 1)
    _, record = one(tmp_path, content.encode())
    assert findings(record, "unit_disagrees") == []


def test_a_slow_channel_is_interpolated_onto_the_times_of_torque(tmp_path):
    lines = text(samples(1)).splitlines()
    for at in range(1, len(lines)):
        if (at - 1) % 10:
            lines[at] = ",".join([*lines[at].split(",")[:4], ""])
    table, record = one(tmp_path, "\n".join(lines).encode())
    got = table.filter(recording=2).select(SI).to_numpy()
    # Linear between its samples: wrong by no more than the bend of the signal, 0.1 s x 20 K/s / 8.
    assert np.abs(got[:591, 4] - expected(1)[:591, 4]).max() < 0.26
    assert np.isfinite(got[:, 4]).all()
    assert record["findings"] == []


def test_a_dropout_of_a_slow_channel_stays_missing(tmp_path):
    lines = text(samples(1)).splitlines()
    for at in range(1, len(lines)):
        if (at - 1) % 10 or 200 < at < 400:
            lines[at] = ",".join([*lines[at].split(",")[:4], ""])
    table, _ = one(tmp_path, "\n".join(lines).encode())
    missing = table.filter(recording=2)["disc_temperature"].is_null()
    assert 150 < missing.sum() < 215
    assert not missing[:190].any()


def test_a_dropout_of_a_channel_at_full_rate_is_not_filled(tmp_path):
    lines = text(samples(1)).splitlines()
    for at in (300, 301, 420):
        fields = lines[at].split(",")
        fields[3] = ""
        lines[at] = ",".join(fields)
    table, _ = one(tmp_path, "\n".join(lines).encode())
    assert table.filter(recording=2)["pressure"].null_count() == 3


def test_blocks_of_a_long_recording_join_without_a_seam(tmp_path, monkeypatch):
    from pipeline.recordings import delimited

    whole, _ = ingested(text_test(tmp_path / "t"), tmp_path / "a")
    monkeypatch.setattr(delimited, "BLOCK_BYTES", 999)
    pieces, record = ingested(tmp_path / "t", tmp_path / "b")
    assert whole.equals(pieces)
    assert [r["digest"] for r in record["recordings"]] == [
        r["digest"] for r in ingested(tmp_path / "t", tmp_path / "c")[1]["recordings"]
    ]
