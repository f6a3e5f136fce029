"""XLSX and HDF5: the samples to the last digit, parts by a wildcard, and what is broken, hostile or something else said in one line."""

import datetime
import io
import sys
import zipfile

import numpy as np
import openpyxl
import polars as pl
import pytest

from tests.recordings.makers import COLUMNS, UNITS, card, expected, ingested, samples, write_card, written

h5py = pytest.importorskip("h5py")
SI = ["time", "speed", "torque", "pressure", "disc_temperature"]


def workbook(path, sheets, *, before=(), units=False):
    """A workbook of sheets: name -> number of the stop."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, number in sheets.items():
        sheet = book.create_sheet(name)
        for row in before:
            sheet.append(row)
        raw = samples(number)
        sheet.append([COLUMNS[key] for key in raw])
        if units:
            sheet.append([f"[{UNITS[key]}]" for key in raw])
        for row in np.column_stack(list(raw.values())).tolist():
            sheet.append(row)
    path.parent.mkdir(parents=True, exist_ok=True)
    book.save(path)


def hdf5(path, stops, *, table=False):
    path.parent.mkdir(parents=True, exist_ok=True)
    with h5py.File(path, "w") as file:
        for name, number in stops.items():
            raw = {COLUMNS[key]: values for key, values in samples(number).items()}
            if table:
                rows = np.empty(len(raw["t"]), dtype=[(n, "f8") for n in raw])
                for n, values in raw.items():
                    rows[n] = values
                file.create_dataset(name, data=rows)
            else:
                for key, (n, values) in zip(UNITS, raw.items(), strict=True):
                    file.create_dataset(f"{name}/{n}", data=values, chunks=(64,), compression="gzip").attrs["units"] = (
                        UNITS[key]
                    )


def whole(table, numbers):
    got, wanted = table.select(SI).to_numpy(), np.concatenate([expected(n) for n in numbers])
    assert got.shape == wanted.shape and np.all(np.abs(got - wanted) <= 1e-12 * np.abs(wanted) + 1e-12)


def files(record):
    return [one["file"] for one in record["recordings"]]


def test_each_sheet_that_matches_is_a_recording_in_natural_order(tmp_path):
    folder = write_card(tmp_path / "t", card(format="xlsx", sheet="Stop *"))
    workbook(folder / "recordings" / "a.xlsx", {"Stop 10": 3, "Notes": 9, "Stop 2": 2, "Stop 1": 1}, units=True)
    table, record = ingested(folder, tmp_path / "out")
    assert files(record) == [f"recordings/a.xlsx#Stop {n}" for n in (1, 2, 10)] and record["findings"] == []
    whole(table, (1, 2, 3))


def test_a_workbook_of_one_sheet_is_a_recording_and_of_several_asks_which(tmp_path):
    content = card(format="xlsx", skip_lines=3)
    folder = write_card(tmp_path / "t", content)
    workbook(folder / "recordings" / "1.xlsx", {"any": 1}, before=[[], ["rig north"], []])
    workbook(folder / "recordings" / "2.xlsx", {"a": 2, "b": 3}, before=[[], ["rig north"], []])
    table, record = ingested(folder, tmp_path / "out")
    assert files(record) == ["recordings/1.xlsx", "recordings/2.xlsx"]
    assert "'a', 'b'" in record["recordings"][1]["error"] and "recordings.sheet" in record["recordings"][1]["error"]
    whole(table, (1,))


def test_a_formula_counts_by_its_stored_value_and_never_runs(tmp_path):
    """A cell with a formula and no stored value is no sample; text is no number."""
    folder = write_card(tmp_path / "t", card(format="xlsx"))
    path = folder / "recordings" / "1.xlsx"
    workbook(path, {"s": 1})
    book = openpyxl.load_workbook(path)
    book["s"]["D5"], book["s"]["D6"], book["s"]["D7"], book["s"]["D8"] = "=1+1", "4 bar", True, "#DIV/0!"
    book.save(path)
    parts = {n: zipfile.ZipFile(path).read(n) for n in zipfile.ZipFile(path).namelist()}
    sheet = parts["xl/worksheets/sheet1.xml"].decode()
    parts["xl/worksheets/sheet1.xml"] = (
        sheet.replace("<f>1+1</f><v />", "<f>1+1</f><v>77</v>")
        .replace("<f>1+1</f><v></v>", "<f>1+1</f><v>77</v>")
        .encode()
    )
    with zipfile.ZipFile(path, "w") as out:
        for name, data in parts.items():
            out.writestr(name, data)
    table, record = ingested(folder, tmp_path / "out")
    pressure = table["pressure"].to_numpy() / 1e5
    assert (
        pressure[3] == pytest.approx(77.0)
        and np.isnan(pressure[4:7]).all()
        and np.isfinite(np.delete(pressure, [4, 5, 6])).all()
    )
    assert [f["code"] for f in record["findings"]] == ["recording_damaged"]


def test_cells_of_dates_are_timestamps(tmp_path):
    content = card(format="xlsx", sheet="*")
    content["recordings"]["channels"]["time"]["unit"] = "timestamp"
    folder = write_card(tmp_path / "t", content)
    book = openpyxl.Workbook()
    start = datetime.datetime(2026, 3, 2, 23, 59, 58)
    for name, form in (("a", lambda t: t), ("b", lambda t: (t + datetime.timedelta(hours=1)).isoformat())):
        sheet = book.create_sheet(name) if name == "b" else book.active
        sheet.title = name
        sheet.append(list(COLUMNS.values()))
        raw = samples(1 if name == "a" else 2)
        for row in np.column_stack(list(raw.values())).tolist():
            sheet.append([form(start + datetime.timedelta(seconds=round(row[0] - raw["time"][0], 3))), *row[1:]])
    (folder / "recordings").mkdir(exist_ok=True)
    book.save(folder / "recordings" / "1.xlsx")
    table, record = ingested(folder, tmp_path / "out")
    assert [r["first_time"] for r in record["recordings"]] == [86398.0, 89998.0] and record["unusable"] is None
    assert np.allclose(np.diff(table.filter(pl.col("recording") == 1)["time"].to_numpy()), 0.01, atol=1e-6)


@pytest.mark.parametrize("table", [False, True])
def test_each_group_or_table_that_matches_is_a_recording(tmp_path, table):
    folder = write_card(tmp_path / "t", card(format="hdf5", dataset="run/stop*"))
    hdf5(folder / "recordings" / "a.h5", {"run/stop10": 3, "run/stop2": 2, "run/stop1": 1, "other": 9}, table=table)
    got, record = ingested(folder, tmp_path / "out")
    assert files(record) == [f"recordings/a.h5#run/stop{n}" for n in (1, 2, 10)] and record["findings"] == []
    whole(got, (1, 2, 3))


def test_units_of_hdf5_datasets_are_held_against_the_card(tmp_path):
    folder = write_card(tmp_path / "t", card(format="hdf5", dataset="*"))
    hdf5(folder / "recordings" / "a.h5", {"s1": 1})
    with h5py.File(folder / "recordings" / "a.h5", "a") as file:
        file["s1/p"].attrs["units"] = "MPa"
    _, record = ingested(folder, tmp_path / "out")
    (found,) = [f for f in record["findings"] if f["code"] == "unit_disagrees"]
    assert found["evidence"] == {"recordings": "MPa", "card": "bar"}


def _linked(file, place):
    del file["s1/p"]
    file["s1/p"] = h5py.ExternalLink("other.h5", "/p")


def _outside(file, place):
    del file["s1/p"]
    (place / "secret.bin").write_bytes(b"\0" * 4800)
    file.create_dataset("s1/p", (600,), "f8", external=[(str(place / "secret.bin"), 0, 4800)])


def _virtual(file, place):
    del file["s1/p"]
    layout = h5py.VirtualLayout((600,), "f8")
    layout[:] = h5py.VirtualSource(str(place / "other.h5"), "p", (600,))
    file.create_virtual_dataset("s1/p", layout)


def _huge(file, place):
    del file["s1/p"]
    file.create_dataset("s1/p", (10**12,), "f8", chunks=(10**6,))


def _wide(file, place):
    del file["s1/p"]
    file.create_dataset("s1/p", (600,), "f8", maxshape=(None,), chunks=(10**8,))


def _other_length(file, place):
    del file["s1/p"]
    file["s1/p"] = np.zeros(10)


def _square(file, place):
    del file["s1/p"]
    file["s1/p"] = np.zeros((600, 2))


@pytest.mark.parametrize(
    ("spoil", "said"),
    [(_linked, "is a link"), (_outside, "other files"), (_virtual, "other files"), (_huge, "100,000,000"), (_wide, "blocks of over"),
     (_other_length, "different numbers of samples"), (_square, "not a row of numbers")],
)  # fmt: skip
def test_hdf5_that_leads_out_or_holds_too_much_is_refused(tmp_path, spoil, said):
    folder = write_card(tmp_path / "t", card(format="hdf5", dataset="*"))
    hdf5(folder / "recordings" / "a.h5", {"s1": 1})
    with h5py.File(folder / "recordings" / "a.h5", "a") as file:
        spoil(file, tmp_path)
    table, record = ingested(folder, tmp_path / "out")
    assert said in record["unusable"] and "\n" not in record["unusable"] and table.height == 0


@pytest.mark.parametrize(("form", "key", "suffix"), [("xlsx", "sheet", ".xlsx"), ("hdf5", "dataset", ".h5")])
def test_a_broken_file_is_one_message_and_the_rest_goes_on(tmp_path, form, key, suffix):
    folder = write_card(tmp_path / "t", card(format=form, **{key: "s*"}))
    good = folder / "recordings" / f"1{suffix}"
    (workbook if form == "xlsx" else hdf5)(good, {"s1": 1})
    data = good.read_bytes()
    for name, content in (("2", data[: len(data) // 3]), ("3", b"nothing of the sort"), ("4", b"")):
        written(folder, f"{name}{suffix}", content)
    (workbook if form == "xlsx" else hdf5)(folder / "recordings" / f"5{suffix}", {"other": 2})
    table, record = ingested(folder, tmp_path / "out")
    errors = [one["error"] for one in record["recordings"]]
    assert errors[0] is None and all(errors[1:]) and not any("\n" in e for e in errors[1:])
    assert "'other" in errors[4] and f"recordings.{key}" in errors[4]
    whole(table, (1,))


def test_a_packed_workbook_that_unpacks_without_end_is_refused(tmp_path):
    folder = write_card(tmp_path / "t", card(format="xlsx"))
    bomb = io.BytesIO()
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as out, out.open("xl/worksheets/sheet1.xml", "w") as part:
        for _ in range(300):
            part.write(b"\0" * (1 << 20))
    written(folder, "1.xlsx", bomb.getvalue())
    _, record = ingested(folder, tmp_path / "out")
    assert "no recording packs like that" in record["unusable"]


@pytest.mark.parametrize(("form", "package"), [("xlsx", "fastexcel"), ("hdf5", "h5py")])
def test_a_reader_that_is_not_installed_is_named_with_the_command(tmp_path, monkeypatch, form, package):
    monkeypatch.setitem(sys.modules, package, None)
    folder = write_card(tmp_path / "t", card(format=form))
    written(folder, "1.bin", b"x")
    _, record = ingested(folder, tmp_path / "out")
    assert f"package {package}" in record["unusable"] and "pip install 'stopsheet[all]'" in record["unusable"]


OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"\x89HDF\r\n\x1a\n" + bytes(100), ("HDF5", "format: hdf5")),
        (b"MATLAB 7.3 MAT-file".ljust(512) + b"\x89HDF\r\n\x1a\n" + bytes(100), ("HDF5", "format: hdf5")),
        (b"MATLAB 5.0 MAT-file, Platform".ljust(124) + bytes(300), ("MAT-file", "save its channels as CSV")),
        (OLE, ("XLS", "save it as XLSX or CSV")),
        (b"PAR1" + bytes(50), ("Parquet", "format: parquet")),
        (b"TDSm" + bytes(50), ("TDMS", "format: tdms")),
        (b"MDF     4.10    " + bytes(50), ("MDF", "format: mdf")),
        (bytes(8) + b"\x51\xed\xa7\xa0" + bytes(50), ("SIE", "save its channels")),
        (b"%PDF-1.7\n1 0 obj\nx,y\n", ("PDF", "export the samples")),
        (b"\x1f\x8b\x08\0" + bytes(50), ("gzip", ".gz")),
    ],
)
def test_what_is_no_text_is_named_with_how_to_save_it(tmp_path, content, said):
    folder = write_card(tmp_path / "t", card())
    written(folder, "1.dat", content)
    _, record = ingested(folder, tmp_path / "out")
    assert all(part in record["unusable"] for part in said)


def test_a_workbook_or_an_archive_under_another_name_is_named(tmp_path):
    folder = write_card(tmp_path / "t", card())
    workbook(folder / "recordings" / "1.csv", {"s": 1})
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as out:
        out.writestr("1.csv", "t,n\n")
    written(folder, "2.csv", packed.getvalue())
    _, record = ingested(folder, tmp_path / "out")
    errors = [one["error"] for one in record["recordings"]]
    assert "XLSX workbook" in errors[0] and "write format: xlsx" in errors[0]
    assert "ZIP archive" in errors[1] and "unpack it" in errors[1]
