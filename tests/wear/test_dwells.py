"""Soaks without a stop: read from card and wear.csv, taken by the laws as time at a temperature, held against the law from the stops."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from pipeline.archive.card import Card
from pipeline.method.wear import Wear
from pipeline.wear import compound
from pipeline.wear.dwells import STEP, placed
from pipeline.wear.exposure import GRID_K
from pipeline.wear.measured import kinds_of
from pipeline.wear.members import WearRecord
from pipeline.wear.of_stops import ExposureOfTest, with_dwells
from pipeline.wear.readings import SCHEMA, read_wear
from pipeline.wear.stage import wear_components
from tests.wear.makers import (
    GAS_CONSTANT,
    TH0_K,
    WIDE,
    card_content,
    oxidation_parameters,
    program,
    readings,
    true_loss,
)

SOAKS = ((600.0, 3.0), (650.0, 2.0))  # degC, h, both after the last stop


def card(dwells: list[dict[str, str]]) -> Card:
    return Card.model_validate(card_content() | {"dwells": dwells})


def stated(count: int) -> list[dict[str, str]]:
    return [{"after_stop": str(count), "temperature": f"{c} degC", "duration": f"{h} h"} for c, h in SOAKS]


def lost(parameters: dict[str, float], celsius: float, hours: float) -> float:
    """um in a soak by Arrhenius' law."""
    rate = np.exp(-parameters["Ea"] * 1e3 / GAS_CONSTANT * (1 / (celsius + 273.15) - 1 / TH0_K))
    return float(parameters["B"] * rate * hours * 3600)


def blocks(after: np.ndarray) -> list[str]:
    """A name for each stop: those between two readings were run at one level."""
    return [f"b{i}" for i, stops in enumerate(np.diff(after)) for _ in range(stops)]


def made_test(
    seed: int, factor: float = 1.0, *, soaks: bool = True
) -> tuple[Card, ExposureOfTest, pl.DataFrame, dict[str, float]]:
    """Card, exposure, readings and true parameters; soaks take `factor` of what the law says."""
    rng = np.random.default_rng(seed)
    made = program(WIDE, rng)
    parameters = oxidation_parameters(made, activation=160.0, share=0.5)
    loss = true_loss("oxidation", parameters, made)
    count = len(loss)
    of = card(stated(count) if soaks else [])
    exposed = ExposureOfTest(
        made.stops, np.arange(1, count + 1), blocks(made.after), ["map"] * count, 0, 1.0, "modelled", None
    )
    whole, after = loss, list(made.after)
    if soaks:
        whole = np.r_[loss, [factor * lost(parameters, c, h) for c, h in SOAKS]]
        after += [count + 1, count + 2]
    table = readings(whole, np.array(after), rng)
    told = table.with_columns(
        after_dwell=pl.when(pl.col("after_stop") >= count).then(pl.col("after_stop") - count).cast(pl.Int64),
        after_stop=pl.min_horizontal(pl.col("after_stop"), pl.lit(count)),
    )
    return of, exposed, told, parameters


def components(of: Card, exposed: ExposureOfTest, table: pl.DataFrame):
    at, misplaced = placed(table, of)
    assert misplaced == []
    found, findings = wear_components(at, of, with_dwells(exposed, of), Wear())
    return found["disc"], [f for f in findings if f.code == "oxidation_soak_off"]


def law(component):
    return next(m for m in component.models if m.model == "oxidation")


def test_soaks_are_time_at_their_temperature_and_no_stops():
    of, exposed, table, _ = made_test(1)
    count = len(exposed.run_number)
    made = with_dwells(exposed, of)
    assert made.soaks.sum() == 2 and len(made.stops) == count + 2
    assert made.run_number[-2:] == pytest.approx([count + STEP, count + 2 * STEP])
    spent = made.stops.dwell_s[-2:]
    assert spent.sum(axis=1) == pytest.approx([3 * 3600, 2 * 3600])
    assert spent @ GRID_K / spent.sum(axis=1) == pytest.approx([873.15, 923.15], abs=0.01)
    at, _ = placed(table, of)
    assert sorted(set(at["after_stop"]))[-2:] == pytest.approx([count + STEP, count + 2 * STEP])


def test_the_law_uses_them_and_knows_its_activation_energy_better():
    widths, errors = {True: [], False: []}, []
    for seed in range(3):
        for soaks in (True, False):
            of, exposed, table, true = made_test(seed, soaks=soaks)
            component, off = components(of, exposed, table)
            assert off == []
            ea = law(component).parameters["Ea"]
            assert ea.value is not None and ea.low is not None and ea.high is not None
            widths[soaks].append(ea.high - ea.low)
            if soaks:
                errors.append(ea.low <= true["Ea"] <= ea.high)
                last = component.intervals[-2:]
                assert [(i.stops, i.dwell_h) for i in last] == [(0, 3.0), (0, 2.0)]
                assert [i.dwell_c for i in last] == pytest.approx([600, 650], abs=0.1)
                assert all(i.in_models for i in last)
                # what a soak took is no stop's wear
                assert component.rates.stops.count == len(exposed.run_number)
    assert np.mean(widths[True]) < 0.8 * np.mean(widths[False])
    assert sum(errors) >= 2


def test_a_soak_that_the_stops_law_does_not_foresee_is_told():
    component, off = components(*made_test(2, factor=1.6)[:3])
    assert len(off) >= 1
    assert "without a stop took" in off[0].message and "foresees" in off[0].message
    assert off[0].evidence["dwell_c"] == pytest.approx(600, abs=0.1) or off[0].evidence["dwell_c"] == pytest.approx(
        650, abs=0.1
    )
    assert component.chosen == "oxidation"


def between_ordinary_readings(seed: int) -> tuple[Card, ExposureOfTest, pl.DataFrame, np.ndarray]:
    """A test with a long soak amid its stops that no reading stands beside: card, exposure, readings, true loss of each stop."""
    rng = np.random.default_rng(seed)
    made = program(WIDE, rng)
    parameters = oxidation_parameters(made, activation=160.0, share=0.3)
    loss, count = true_loss("oxidation", parameters, made), len(made.stops)
    at = int(made.after[len(made.after) // 2]) + 1
    of = card([{"after_stop": str(at), "temperature": "650 degC", "duration": "6 h"}])
    exposed = ExposureOfTest(
        made.stops, np.arange(1, count + 1), blocks(made.after), ["map"] * count, 0, 1.0, "modelled", None
    )
    whole = loss.copy()
    whole[at] += lost(parameters, 650.0, 6.0)  # read with the stop after it
    return of, exposed, readings(whole, np.array(list(made.after)), rng), loss


def test_a_soak_between_two_ordinary_readings_is_no_stops_wear():
    of, exposed, table, loss = between_ordinary_readings(3)
    component, _ = components(of, exposed, table)
    (mixed,) = [i for i in component.intervals if i.dwell_h]
    assert mixed.stops > 0 and mixed.wear_um > 1.5 * loss[mixed.from_stop : mixed.to_stop].sum()
    free = np.r_[loss[: mixed.from_stop], loss[mixed.to_stop :]]
    assert component.rates.stops.count == free.size
    assert component.rates.um_per_stop.value == pytest.approx(free.mean(), rel=0.05)


def test_where_every_interval_holds_a_soak_the_rates_say_so():
    of, exposed, table, _ = between_ordinary_readings(3)
    after = table["after_stop"]
    ends = table.filter(after.is_in([after.min(), after.max()]))
    component, _ = components(of, exposed, ends)
    assert component.rates.stops.count == len(exposed.run_number)
    assert "what these took is in the rates" in component.rates.why


def test_measured_rates_leave_out_what_holds_a_soak():
    groups = np.array([[1.0, 0, 0, 0], [0, 1.0, 1.0, 0], [0, 0, 0, 1.0]])
    blocks, aside = kinds_of(groups, ["bed", "use", "", "use"], ["bedding", "duty", "dwell", "duty"])
    assert blocks == [["bed"], ["use"], ["use"]] and aside.tolist() == [True, True, False]


def test_a_reading_that_cannot_stand_there_is_left_out_with_its_reason():
    of, _, table, _ = made_test(1)
    wrong = table.with_columns(after_dwell=pl.when(pl.col("line") == 0).then(2).otherwise(pl.col("after_dwell")))
    kept, findings = placed(wrong, of)
    assert len(kept) == len(table) - 1
    assert len(findings) == 1 and "line 0" in findings[0].message and "dwells are over" in findings[0].message
    kept, findings = placed(table, card([]))
    assert len(findings) == 1 and "states no dwells" in findings[0].message
    assert set(kept["after_dwell"].drop_nulls()) <= {0}


def test_the_column_of_wear_csv(tmp_path):
    path = tmp_path / "wear.csv"
    path.write_text(
        "after_stop,after_dwell,component,quantity,value,unit\n0,0,disc,mass,1700.1,g\n0,1,disc,mass,1699.0,g\n40,,disc,mass,1698.0,g\n40,x,disc,mass,1698.0,g\n"
    )
    table, findings = read_wear(path)
    assert table["after_dwell"].to_list() == [0, 1, None]
    assert any("after_dwell 'x' is not a count of dwells" in f.message for f in findings)
    assert [*SCHEMA, "after_dwell"] == table.columns


def test_dwells_out_of_order_are_refused():
    with pytest.raises(ValueError, match="in the order run"):
        card(
            [
                {"after_stop": "9", "temperature": "600 degC", "duration": "1 h"},
                {"after_stop": "3", "temperature": "600 degC", "duration": "1 h"},
            ]
        )


def test_a_compound_of_soaked_specimens_has_its_law_and_rates(monkeypatch):
    made = [made_test(seed) for seed in (4, 5)]
    exposures = iter([with_dwells(exposed, of) for of, exposed, _, _ in made])
    monkeypatch.setattr(compound, "exposure_of_test", lambda *_: next(exposures))
    some = pl.DataFrame({"stop": [1]})
    records = [
        WearRecord(of.model_copy(update={"test": f"t{i}", "specimen": "AB"[i]}), some, some, [], placed(table, of)[0])
        for i, (of, _, table, _) in enumerate(made)
    ]
    found = compound.of_compound(records, Wear(), "initial")
    disc = found.components["disc"]
    assert disc.chosen == "oxidation"
    ea = law(disc).parameters["Ea"]
    assert ea.low <= 160 <= ea.high
    assert sorted({row.dwell_h for row in disc.intervals if row.dwell_h}) == [2.0, 3.0]
    assert disc.rates.um_per_stop.value == pytest.approx(
        np.mean([components(of, exposed, table)[0].rates.um_per_stop.value for of, exposed, table, _ in made]), rel=0.1
    )


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"temperature": "6000 degC"}, "no soak of a disc"),
        ({"duration": "0 h"}, "no soak"),
        ({"after_stop": "-1"}, "after_stop"),
    ],
)
def test_an_impossible_soak_is_refused(wrong, said):
    with pytest.raises(ValueError, match=said):
        card([{"after_stop": "9", "temperature": "600 degC", "duration": "1 h"} | wrong])
