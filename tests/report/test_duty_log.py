"""A log of the vehicle on the sheet: what it told of a duty's cooling, and the one that a settling test asks for."""

from __future__ import annotations

from typing import Any

from pipeline.report.sections.duty_log import drive_texts
from pipeline.report.sections.duty_short import line
from pipeline.report.source import Cited
from pipeline.results.duty import DutyProjection
from tests.duty.test_both import gentle
from tests.report import contents

TOLD = {
    "file": "drive.csv", "opening": 0.2, "told_by": "line pressure", "brakings": 300, "uses": 3, "points": 297,
    "factor": {"value": 0.91, "low": 0.85, "high": 0.97}, "u": 0.033, "rms_k": 4.0, "excess_k": 150.0,
}  # fmt: skip


def cited(**facts: Any) -> Cited[DutyProjection]:
    return Cited("duty.json", gentle((0.0, 0.2), None, **facts).projection)


def test_what_a_drive_told_of_the_cooling_is_said_with_its_interval() -> None:
    (said,) = drive_texts(cited(cooling_log=TOLD | {"used": True}))
    words = said.text.replace("\xa0", " ")
    assert "drive.csv (3 uses at opening 0.20) convection is 0.91" in words and "0.85" in words and "4 K" in words
    assert drive_texts(cited()) == []


def test_a_drive_that_is_not_used_says_why_and_what_is_odd() -> None:
    first, note = drive_texts(cited(cooling_log=TOLD | {"why": "it tells too little", "notes": ["a brake held"]}))
    assert "is not used: it tells too little." in first.text and first.tone == "open"
    assert "a brake held" in note.text


def test_the_log_that_a_test_asks_for_stands_in_the_duty_s_line() -> None:
    test = contents.duty_json()["duties"][0]["settling_test"]
    asked = {
        "opening": 0.45,
        "uses": 4,
        "sampling_hz": 1.0,
        "thermocouple_k": 3.0,
        "cooling_u": 0.03,
        "within_now_k": 40.0,
        "within_k": 11.0,
        "text": "log",
    }
    plain, logged = (
        line(cited(settling_test=one), 0.9, (None,)).text.replace("\xa0", " ") for one in (test, test | {"log": asked})
    )
    assert "; a test of 2.3 h settles the film" in plain
    assert "; a log of 4 uses and then a test of 2.3 h settle the film" in logged
