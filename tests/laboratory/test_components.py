"""Components of variance: a published case of crossed factors (more in tests/batches/test_published.py), planted ones, and what a design cannot part."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.laboratory.components import components
from tests.makers import data_of_r

#: batches, states and specimens as a laboratory has them: few of each, unequal, some batches in two states
BATCH = [0, 0, 1, 1, 1, 2, 2, 3, 3, 3, 4, 4, 5, 5, 6, 6, 6, 7]
STATE = [0, 0, 0, 0, 1, 1, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 4, 4]


def planted(rng: np.random.Generator, specimen: float, batch: float, rig: float) -> np.ndarray:
    own = specimen * rng.normal(size=len(BATCH))
    return own + batch * rng.normal(size=8)[BATCH] + rig * rng.normal(size=5)[STATE]


@pytest.mark.published("components of variance, two crossed factors", source="lme4, Penicillin", origin="from memory")
def test_penicillin():
    """lme4's Penicillin, two crossed factors: standard deviations 0.8467, 1.9316 and 0.5499 (from memory)."""
    data = data_of_r("lme4", "Penicillin")
    found = components(data.diameter.to_numpy(), list(data.plate), list(data["sample"]))
    sd = {part: one.sd[0] for part, one in found.found.items()}
    assert sd == pytest.approx({"batch": 0.84671, "rig": 1.93157, "specimen": 0.54992}, abs=1e-4)


def test_what_a_design_cannot_part_is_not_estimated():
    y = np.random.default_rng(1).normal(size=8)
    apart = components(y, list("aabbccdd"), ["s"] * 4 + ["t"] * 4)
    assert "no batch ran in two states" in apart.why["rig"]
    assert set(apart.found) == {"specimen", "batch"}
    assert apart.over_rigs is None
    own = components(y[:4], list("abcd"), list("stuv"))
    assert own.found == {}
    assert "no batch has two specimens" in own.why["specimen"]
    each = components(y, list("aabbccdd"), [*"ssttuuvv"])
    assert "no state saw two batches" in each.why["batch"]


def test_what_is_known_of_the_values_is_no_scatter_of_specimens():
    rng = np.random.default_rng(2)
    batch = list(np.repeat(np.arange(60), 3))
    y = rng.normal(size=180) + 3 * rng.normal(size=60)[batch]
    with_known = components(y, batch, ["one"] * 180, variances=np.full(180, 0.75)).found
    assert with_known["specimen"].variance == pytest.approx(0.25, abs=0.25)
    assert with_known["batch"].sd[0] == pytest.approx(3, abs=0.8)


def test_planted_components_lie_in_their_intervals():
    """95 % intervals of an unbalanced design; of 40 at 95 % fewer than 34 come once in 700."""
    rng = np.random.default_rng(3)
    truth = {"specimen": 0.010, "batch": 0.015, "rig": 0.010}
    held = dict.fromkeys(truth, 0)
    for _ in range(40):
        found = components(planted(rng, *truth.values()), BATCH, STATE).found
        for part, sd in truth.items():
            held[part] += found[part].low <= sd**2 <= found[part].high
    assert min(held.values()) >= 34, held


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 999), shift=st.floats(-5, 5), factor=st.floats(0.01, 100))
def test_components_do_not_depend_on_order_names_origin_or_unit(seed, shift, factor):
    rng = np.random.default_rng(seed)
    y = planted(rng, 0.010, 0.02, 0.010)
    order = rng.permutation(len(y))
    one = components(y, BATCH, STATE)
    other = components(
        factor * (y + shift)[order], [f"b{BATCH[i]}" for i in order], [f"s{9 - STATE[i]}" for i in order]
    )
    for part, found in one.found.items():
        assert other.found[part].variance / factor**2 == pytest.approx(found.variance, rel=2e-3, abs=1e-8)
        assert other.found[part].high / factor**2 == pytest.approx(found.high, rel=1e-6)
        assert other.found[part].df == found.df
