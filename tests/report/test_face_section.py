"""What the sheet says of friction by the rubbing face."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import pytest

from pipeline.report.document import Items, Table, Text
from pipeline.report.inputs import Inputs
from pipeline.report.sections import face
from pipeline.report.source import Cited
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.face import FaceChoice, FaceLaw, FaceModel
from pipeline.results.model import renewed
from tests.face.test_law import world


def parts_of(law: FaceLaw | None) -> list[Any]:
    found = CompoundFriction(compound="Face 1", face_law=law)
    inputs = SimpleNamespace(friction=Cited("compounds/face-1/friction.json", found))
    return list(face.parts(cast(Inputs, inputs)))


def words(parts: list[Any]) -> str:
    return "\n".join(part.text for part in parts if isinstance(part, Text))


def test_a_law_is_told_with_its_choice_errors_heat_and_stops() -> None:
    parts = parts_of(world()[3].result)
    said, tables = words(parts), [p for p in parts if isinstance(p, Table)]
    assert "those of the law at the rubbing face" in said and "The rule: the law where" in said
    errors, stops, single = tables
    assert [row[0] for row in errors.rows][:1] == ["cells"]
    assert errors.rows[0][2].key == "/face_law/left_out/0/law"
    names = [row[0] for row in stops.rows]
    assert {"coldest stop tested, dry", "normal", "hot"} <= set(names)
    assert all(len(row) == len(stops.head) for row in stops.rows)
    cold = stops.rows[names.index("coldest stop tested, dry")]
    assert (
        cold[2].low is None and " to " in cold[3].bare and cold[4].key == "/face_law/stops/0/map_mu"
    )  # the pressure was given, the friction has an interval
    assert [row[1] for row in single.rows][:1] == ["a single stop"] and len(single.head) == 4 == len(single.rows[0])
    narrow, wide = cold[3], single.rows[0][2]
    assert wide.key == "/face_law/stops/0/single/mu/value" and wide.low < narrow.low and narrow.high < wide.high
    # the cards give no rolling radius: two columns less, and the reason once
    assert "Distance (m)" not in stops.head and "the card gives no rolling radius" in said
    (heat,) = [p for p in parts if isinstance(p, Items)]
    assert heat.rows[0][0] == "Effective conductivity of the law" and "held by the card's" in heat.rows[0][1].text


def test_a_stop_outside_the_data_gives_its_reason_and_no_row() -> None:
    law = world()[3].result
    refused = renewed(law.stops[0], why="pressure 80.0 bar is 20.0 bar above the data", name="hot", wanted=None)
    parts = parts_of(renewed(law, stops=[law.stops[0], refused]))
    assert "Not given, hot: pressure 80.0 bar is 20.0 bar above the data." in words(parts)
    (stops,) = [p for p in parts if isinstance(p, Table) and p.head[1] == "Disc (°C)"]
    assert len(stops.rows) == 1


def test_where_law_and_map_disagree_the_sheet_says_so() -> None:
    law = renewed(world()[3].result, disagreements=["110 to 125 C: law and map lie apart"])
    assert "Law and map disagree: 110 to 125 °C: law and map lie apart." in words(parts_of(law))


@pytest.mark.parametrize(("law", "said"), [(None, ""), (FaceLaw(why="the card gives no friction_ring"), "the card gives no friction_ring")])  # fmt: skip
def test_without_a_law_the_reason_stands(law: FaceLaw | None, said: str) -> None:
    text = words(parts_of(law))
    assert said in text and bool(text) == bool(said)


def test_the_map_is_named_where_it_stays_in_use() -> None:
    law = world()[3].result
    assert isinstance(law.model, FaceModel) and law.choice is not None
    of_map = FaceChoice.model_validate(law.choice.model_dump() | {"used": "map"})
    assert "those of the map over stop means" in words(parts_of(renewed(law, choice=of_map)))
