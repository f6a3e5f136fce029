"""Order, duplicates, links and signs: what a test's recordings are as a whole."""

import os
import stat
import warnings

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import InputError
from pipeline.recordings.files import order_key, recording_files
from pipeline.recordings.rates import interpolated
from tests.recordings.makers import (
    COLUMNS,
    UNITS,
    card,
    expected,
    ingested,
    samples,
    text,
    text_test,
    write_card,
    written,
)

SI = ["time", "speed", "torque", "pressure", "disc_temperature"]


def _socket(path):
    os.mknod(path, stat.S_IFSOCK | 0o600)


def codes(record):
    return [f["code"] for f in record["findings"]]


def test_files_run_in_natural_order(tmp_path):
    names = ["b10.csv", "B2.csv", "b1.csv.gz", "b010.csv", "a.csv", "b3.CSV.zst"]
    for name in names:
        written(tmp_path, name, b"x")
    found = [p.name for p in recording_files(tmp_path, "recordings/*")]
    assert found == ["a.csv", "b1.csv.gz", "B2.csv", "b3.CSV.zst", "b010.csv", "b10.csv"]


@given(st.lists(st.text("ab01 9._-é²", min_size=1, max_size=8), min_size=2, max_size=6))
@settings(deadline=None, max_examples=60)
def test_any_names_can_be_ordered(names):
    assert sorted(sorted(names, key=order_key), key=order_key) == sorted(names, key=order_key)


@pytest.mark.parametrize("pattern", ["/etc/*", "../*", "a/../../*", "~/x", "recordings/**x", "", "\0", "nothing/*"])
def test_a_pattern_stays_in_the_test_or_says_why_not(tmp_path, pattern):
    written(tmp_path, "1.csv", b"x")
    with pytest.raises(InputError, match=r"recordings\.files"):
        recording_files(tmp_path, pattern)


def test_links_out_of_the_test_are_not_followed(tmp_path):
    folder = text_test(tmp_path / "t", 2)
    outside = tmp_path / "secret.csv"
    outside.write_text(text(samples(9)))
    os.symlink(outside, folder / "recordings" / "0005.csv")
    os.symlink(tmp_path / "nowhere.csv", folder / "recordings" / "0006.csv")
    table, record = ingested(folder, tmp_path / "out")
    assert "out of the test's folder" in record["recordings"][2]["error"]
    assert "nowhere" in record["recordings"][3]["error"]
    assert table["recording"].max() == 2


def test_a_linked_folder_of_recordings_is_not_followed(tmp_path):
    other = text_test(tmp_path / "other", 2)
    folder = write_card(tmp_path / "t", card(files="linked/*.csv"))
    os.symlink(other / "recordings", folder / "linked")
    _, record = ingested(folder, tmp_path / "out")
    assert "none of 2 recordings" in record["unusable"]


def test_a_copy_of_a_recording_is_left_out_whatever_it_is_called(tmp_path):
    folder = text_test(tmp_path / "t", 3)
    written(folder, "0002b.csv.gz", (folder / "recordings" / "0002.csv").read_bytes())
    table, record = ingested(folder, tmp_path / "out")
    assert [r["duplicate_of"] for r in record["recordings"]] == [None, None, "recordings/0002.csv", None]
    assert table["recording"].unique(maintain_order=True).to_list() == [1, 2, 4]
    assert codes(record) == ["recording_duplicate"]


def test_the_samples_of_another_recording_under_new_times_are_suspect(tmp_path):
    folder = text_test(tmp_path / "t", 2)
    later = samples(2)
    later["time"] = later["time"] + 500
    written(folder, "0003.csv", text(later).encode())
    table, record = ingested(folder, tmp_path / "out")
    assert codes(record) == ["recording_repeated"]
    assert record["findings"][0]["file"] == "recordings/0003.csv"
    assert table["recording"].max() == 3


def test_torque_counted_the_other_way_is_turned_round_with_a_finding(tmp_path):
    folder = write_card(tmp_path / "t", card())
    for number in (1, 2, 3):
        turned = samples(number)
        turned["torque"] = -turned["torque"]
        written(folder, f"{number}.csv", text(turned).encode())
    table, record = ingested(folder, tmp_path / "out")
    assert codes(record) == ["torque_turned"]
    assert np.abs(table["torque"].to_numpy() - np.concatenate([expected(n)[:, 2] for n in (1, 2, 3)])).max() < 1e-6


def test_one_recording_with_torque_the_other_way_is_suspect(tmp_path):
    folder = text_test(tmp_path / "t", 12)
    odd = samples(13)
    odd["torque"] = -odd["torque"]
    written(folder, "0013.csv", text(odd).encode())
    _, record = ingested(folder, tmp_path / "out")
    assert codes(record) == ["torque_sign_odd"]
    assert record["findings"][0]["file"] == "recordings/0013.csv"


def test_speed_counted_backwards_is_taken_absolute(tmp_path):
    folder = write_card(tmp_path / "t", card())
    turned = samples(1)
    turned["speed"] = -turned["speed"]
    written(folder, "1.csv", text(turned).encode())
    table, _ = ingested(folder, tmp_path / "out")
    assert table["speed"].min() > 0


@pytest.mark.parametrize(
    ("content", "part"),
    [("schema: [", "test.yaml"), ("schema: 1\n", "missing"), ("- 1\n", "test.yaml"), ("a: &x [1]\nb: *x\n", "aliases")],
)
def test_a_card_that_cannot_be_used_leaves_whole_files_that_say_so(tmp_path, content, part):
    folder = tmp_path / "t"
    folder.mkdir()
    (folder / "test.yaml").write_text(content)
    table, record = ingested(folder, tmp_path / "out")
    assert part in record["unusable"]
    assert codes(record) == ["card_invalid"]
    assert table.height == 0
    assert table.columns == ["recording", *SI]


def test_no_recordings_is_unusable(tmp_path):
    _, record = ingested(write_card(tmp_path / "t", card()), tmp_path / "out")
    assert "matches no file" in record["unusable"]
    assert codes(record) == ["no_recordings"]


def test_a_channel_cannot_take_the_name_of_the_recordings_number(tmp_path):
    content = card()
    content["recordings"]["channels"]["recording"] = {"column": "p"}
    folder = write_card(tmp_path / "t", content)
    written(folder, "1.csv", text(samples(1)).encode())
    _, record = ingested(folder, tmp_path / "out")
    assert "channels.recording" in record["unusable"]


def test_further_channels_are_kept_in_si_or_as_they_are(tmp_path):
    content = card()
    content["recordings"]["channels"] |= {
        "pressure_2": {"column": "p2", "unit": "MPa"},
        "hub_temperature": {"column": "Th", "unit": "degF"},
        "loudness": {"column": "L", "unit": "dB"},
    }
    folder = write_card(tmp_path / "t", content)
    more = samples(1) | {
        "pressure_2": samples(1)["pressure"] / 10,
        "hub_temperature": np.full(600, 212.0),
        "loudness": np.ones(600),
    }
    names = COLUMNS | {"pressure_2": "p2", "hub_temperature": "Th", "loudness": "L"}
    written(folder, "1.csv", text(more, names=names).encode())
    table, record = ingested(folder, tmp_path / "out")
    assert record["findings"] == []
    assert np.allclose(table["pressure_2"], table["pressure"], atol=2)
    assert np.allclose(table["hub_temperature"], 373.15)
    assert set(table["loudness"]) == {1.0}


def test_an_optional_channel_that_a_recording_lacks_is_null(tmp_path):
    content = card()
    content["recordings"]["channels"]["pressure_2"] = {"column": "p2", "unit": "bar"}
    folder = write_card(tmp_path / "t", content)
    written(folder, "1.csv", text(samples(1)).encode())
    table, _ = ingested(folder, tmp_path / "out")
    assert table["pressure_2"].null_count() == 600


FORMATS = ["delimited", "parquet", "mdf", "tdms"]


def in_format(folder, form, number):
    raw = samples(number)
    name = f"{number:04d}"
    if form == "delimited":
        return written(folder, name + ".csv", text(raw, digits=9).encode())
    path = folder / "recordings" / {"parquet": f"{name}.parquet", "mdf": f"{name}.mf4", "tdms": f"{name}.tdms"}[form]
    named = {COLUMNS[key]: values for key, values in raw.items()}
    if form == "parquet":
        pl.DataFrame(named).write_parquet(path)
    elif form == "mdf":
        from asammdf import MDF, Signal

        with warnings.catch_warnings(), MDF(version="4.10") as file:
            signals = [
                Signal(v, raw["time"], name=n, unit=UNITS[k]) for (k, v), n in zip(raw.items(), named, strict=True)
            ]
            file.append(signals[1:4], acq_name="fast")
            file.append([signals[4]], acq_name="slow")
            file.save(path, overwrite=True)
    else:
        from nptdms import ChannelObject, TdmsWriter

        track = {"wf_increment": 0.01, "wf_start_offset": float(raw["time"][0])}
        with TdmsWriter(path) as file:
            for first in (0, 300):
                file.write_segment(
                    [ChannelObject("rig", n, v[first : first + 300], track) for n, v in named.items() if n != "t"]
                )
    return path


@pytest.mark.parametrize("form", FORMATS)
def test_the_same_test_in_each_format_gives_the_same_channels(tmp_path, form):
    content = card(format=form)
    if form in ("mdf", "tdms"):
        del content["recordings"]["channels"]["time"]
    folder = write_card(tmp_path / "t", content)
    for number in (1, 2, 3):
        in_format(folder, form, number)
    table, record = ingested(folder, tmp_path / "out")
    assert record["unusable"] is None
    assert record["findings"] == []
    whole = np.concatenate([expected(n) for n in (1, 2, 3)])
    got = table.select(SI).to_numpy()
    assert got.shape == whole.shape
    rounding = 0.51e-9 * np.array([1, 0.105, 1, 1e5, 1]) if form == "delimited" else 0.0
    assert np.all(np.abs(got - whole) <= rounding + 1e-9 * np.abs(whole))


@pytest.mark.parametrize(("form", "package"), [("mdf", "asammdf"), ("tdms", "nptdms")])
def test_a_reader_that_is_not_installed_is_named_with_the_command(tmp_path, monkeypatch, form, package):
    import sys

    monkeypatch.setitem(sys.modules, package, None)
    content = card(format=form)
    folder = write_card(tmp_path / "t", content)
    written(folder, "1.bin", b"x")
    _, record = ingested(folder, tmp_path / "out")
    assert f"package {package}" in record["unusable"]
    assert "pip install 'stopsheet[all]'" in record["unusable"]


@pytest.mark.parametrize("form", ["parquet", "mdf", "tdms"])
def test_a_broken_file_of_each_format_is_unreadable_and_the_rest_goes_on(tmp_path, form):
    folder = write_card(tmp_path / "t", card(format=form))
    if form != "parquet":
        content = card(format=form)
        del content["recordings"]["channels"]["time"]
        write_card(folder, content)
    good = in_format(folder, form, 1)
    (folder / "recordings" / f"0002{good.suffix}").write_bytes(good.read_bytes()[: good.stat().st_size // 3])
    (folder / "recordings" / f"0003{good.suffix}").write_bytes(b"nothing of the sort")
    table, record = ingested(folder, tmp_path / "out")
    errors = [r["error"] for r in record["recordings"]]
    assert errors[0] is None
    assert errors[2] is not None
    assert len(errors) == 3
    assert 1 in table["recording"].unique().to_list()


def test_mdf_channels_of_another_rate_are_interpolated(tmp_path):
    from asammdf import MDF, Signal

    content = card(format="mdf")
    del content["recordings"]["channels"]["time"]
    folder = write_card(tmp_path / "t", content)
    raw = samples(1)
    with MDF(version="4.10") as file:
        fast = [Signal(raw[k], raw["time"], name=COLUMNS[k], unit=UNITS[k]) for k in ("speed", "torque", "pressure")]
        file.append(fast, acq_name="fast")
        slow = slice(0, None, 10)
        file.append([Signal(raw["disc_temperature"][slow], raw["time"][slow], name="T1", unit="degC")], acq_name="slow")
        file.save(folder / "recordings" / "1.mf4")
    table, _ = ingested(folder, tmp_path / "out")
    assert np.abs(table["disc_temperature"].to_numpy() - expected(1)[:, 4]).max() < 0.26


def test_a_name_that_stands_in_two_groups_asks_for_the_group(tmp_path):
    from nptdms import ChannelObject, TdmsWriter

    content = card(format="tdms")
    del content["recordings"]["channels"]["time"]
    raw = samples(1)
    track = {"wf_increment": 0.01}
    for column, part in (("Mb", "write one of a/Mb, b/Mb"), ("a/Mb", None)):
        content["recordings"]["channels"]["torque"]["column"] = column
        folder = write_card(tmp_path / column.replace("/", "-"), content)
        with TdmsWriter(folder / "recordings" / "1.tdms") as file:
            file.write_segment([ChannelObject("a", COLUMNS[k], raw[k], track) for k in COLUMNS if k != "time"])
            file.write_segment([ChannelObject("b", "Mb", raw["torque"], track)])
        _, record = ingested(folder, tmp_path / "out")
        if part:
            assert part in record["unusable"]
        else:
            assert record["unusable"] is None


@settings(deadline=None, max_examples=50)
@given(st.integers(2, 40), st.integers(0, 1000))
def test_interpolation_keeps_samples_and_never_bridges_a_gap(n, seed):
    rng = np.random.default_rng(seed)
    time = np.cumsum(rng.uniform(0.9, 1.1, n))
    time[n // 2 :] += 20.0
    values = rng.standard_normal(n)
    assert np.array_equal(interpolated(time, time, values, 1.0), values)
    middle = np.array([(time[n // 2 - 1] + time[n // 2]) / 2])
    assert np.isnan(interpolated(middle, time, values, 1.0)).all()


@pytest.mark.parametrize(("make", "said"), [(os.mkfifo, "is a pipe"), (os.mkdir, "is a folder"), (_socket, "socket")])
def test_what_is_no_plain_file_is_a_finding_and_not_passed_over(tmp_path, make, said):
    folder = text_test(tmp_path / "t", recordings={"files": "recordings/*.csv"})
    make(folder / "recordings" / "0004.csv")
    _, record = ingested(folder, tmp_path)
    (found,) = [f for f in record["findings"] if f["code"] == "recording_unreadable"]
    assert found["file"] == "recordings/0004.csv"
    assert said in found["message"]
    assert [row["error"] is None for row in record["recordings"]] == [True, True, True, False]


def test_a_folder_is_no_recording_where_the_pattern_takes_everything(tmp_path):
    folder = text_test(tmp_path / "t")
    (folder / "recordings" / "old").mkdir()
    _, record = ingested(folder, tmp_path)
    assert len(record["recordings"]) == 3
