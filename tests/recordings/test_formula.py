"""Conversion formulas of a file: applied by one meaning or refused, and never given to anything that runs code."""

import os

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import InputError
from pipeline.recordings.formula import applied
from tests.recordings.makers import COLUMNS, card, ingested, samples, write_card

RAW = np.array([-2.0, 0.0, 0.5, 3.0])
PLAIN = [
    ("2*X1", 2 * RAW),
    ("2*pow(X1,1)", 2 * RAW),
    ("-X1**2 + 1e-1", -(RAW**2) + 0.1),
    ("(X1 - 0.5)/4", (RAW - 0.5) / 4),
    ("abs(X)+exp(x)", np.abs(RAW) + np.exp(RAW)),
]
REFUSED = [
    "2*X1^2", "log(X1)", "ln(X1)", "2,5*X1", "X1*", "2*X2", "X1 if X1 else 0", "X1; 2", "[X1][0]", "X1.real", "True*X1", "2j*X1",
    "'a'*X1", "pow(X1)", "pow(X1, exponent=2)", "5", "9**9**9", "", "(" * 150 + "X1" + ")" * 150, "X1" + "+X1" * 300, "\0", "sqrt",
    "__import__('os').system('touch executed')", "X1.__class__.__base__.__subclasses__()", "(lambda: X1)()", "exp(*X1)",
]  # fmt: skip


@pytest.mark.parametrize(("text", "expected"), PLAIN)
def test_arithmetic_is_applied(text, expected):
    assert applied(text)(RAW) == pytest.approx(expected)


@pytest.mark.parametrize("text", REFUSED)
def test_everything_else_is_refused_in_one_line(text):
    with pytest.raises(InputError) as caught:
        applied(text)
    assert "conversion formula" in str(caught.value) and "\n" not in str(caught.value)


def test_great_powers_overflow_and_do_not_hang():
    assert np.isinf(applied("X1+9**9**9**9")(RAW)).all()


ALPHABET = st.sampled_from(
    [*"X1+-*/^()., 0123456789eE_[]{}'\"\\=:;!&|~<>@%", "pow", "exp", "__import__", "lambda ", "**", "9**9"]
)


@settings(deadline=None, max_examples=300)
@given(st.lists(ALPHABET, max_size=40).map("".join))
def test_any_text_is_a_formula_or_a_refusal(text):
    try:
        function = applied(text)
    except InputError:
        return
    assert function(RAW).shape == RAW.shape


def mdf(folder, formula: str, *, channel: str = "torque", version: str = "4.10"):
    """Three recordings whose `channel` is stored as half its value, with a formula that brings it back."""
    from asammdf import MDF, Signal

    extra = {"time": "t", **COLUMNS, "drive_torque": "Md"}
    content = card(format="mdf")
    del content["recordings"]["channels"]["time"]
    content["recordings"]["channels"]["drive_torque"] = {"column": "Md", "unit": "N m"}
    write_card(folder, content)
    for number in (1, 2, 3):
        values = samples(number) | {"drive_torque": np.full(600, 3.0)}
        values[channel] = values[channel] / 2
        conversion = {"formula": formula}
        signals = [
            Signal(values[name], values["time"], name=extra[name], conversion=conversion if name == channel else None)
            for name in values
            if name != "time"
        ]
        with MDF(version=version) as file:
            file.append(signals)
            file.save(folder / "recordings" / f"{number}.mf4", overwrite=True)
    return folder


@pytest.mark.parametrize("formula", ["2*X1", "2*pow(X1,1)", "X1/0.5"])
def test_a_formula_of_a_recording_is_applied(tmp_path, formula):
    table, record = ingested(mdf(tmp_path / "t", formula), tmp_path / "out")
    assert record["unusable"] is None
    assert table["torque"].to_numpy()[:600] == pytest.approx(samples(1)["torque"])


@pytest.mark.parametrize("formula", ["2*X1^2", "log(X1)", "9**9**9", "__import__('os').system('x')"])
def test_a_needed_channel_with_another_formula_is_refused(tmp_path, formula):
    """The library passes over such a formula without a word: torque would be half of what it is."""
    table, record = ingested(mdf(tmp_path / "t", formula), tmp_path / "out")
    assert table.height == 0
    assert "channel 'Mb': conversion formula" in record["unusable"]


def test_another_channel_with_such_a_formula_is_left_out_with_a_finding(tmp_path):
    table, record = ingested(mdf(tmp_path / "t", "2*X1^2", channel="drive_torque"), tmp_path / "out")
    assert record["unusable"] is None and table.height == 1800
    assert table["drive_torque"].null_count() == 1800
    found = [f for f in record["findings"] if f["channel"] == "drive_torque"]
    assert [f["severity"] for f in found] == ["suspect"] * 3
    assert "2*X1^2" in found[0]["message"] and "1.mf4" in found[0]["message"]


def test_no_formula_reaches_an_evaluator(tmp_path, monkeypatch):
    """As where the optional package is installed that the library falls back to, which runs the text as code."""
    from asammdf.blocks import v4_blocks

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(v4_blocks, "symbols", lambda name: name)
    monkeypatch.setattr(v4_blocks, "lambdify", lambda symbol, text, **_: lambda raw: eval(text))
    ingested(mdf(tmp_path / "t", "__import__('os').system('touch executed')"), tmp_path / "out")
    assert not os.path.exists("executed")
