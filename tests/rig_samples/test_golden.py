"""The samples come to their golden figures, or REVISION and docs/changes.md say that they moved."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.conftest import IN_USE, SampleResults
from tests.rig_samples.golden.figures import ALL, of_run
from tests.rig_samples.golden.renew import COMMAND, FOLDER, outdated, verdict
from tests.rig_samples.golden.stages import STAGES, now, place
from tests.rig_samples.golden.tables import Figures, read


@pytest.mark.parametrize("name", STAGES)
def test_the_tables_are_of_the_revisions_that_the_code_has(name: str) -> None:
    golden = read(place(FOLDER, STAGES[name]))
    assert golden is not None, f"write the golden figures: {COMMAND}"
    assert outdated(STAGES[name], golden, now(STAGES[name])) is None


@pytest.fixture(scope="module")
def found(sample_results: SampleResults) -> dict[str, Figures]:
    return of_run(sample_results.root)


@pytest.mark.workflow
@pytest.mark.parametrize("name", STAGES)
def test_figures_of_the_samples(found: dict[str, Figures], name: str) -> None:
    golden = read(place(FOLDER, STAGES[name]))
    assert golden is not None, f"write the golden figures: {COMMAND}"
    run = replace(golden, figures={key: value for key, value in golden.figures.items() if key[0] in (IN_USE, ALL)})
    assert found[name] and run.figures
    said = verdict(STAGES[name], run, found[name], now(STAGES[name]))
    assert said is None, said


@pytest.fixture(scope="module")
def found_of_all(both_methods: SampleResults) -> dict[str, Figures]:
    return of_run(both_methods.root)


@pytest.mark.heavy
@pytest.mark.workflow
@pytest.mark.parametrize("name", STAGES)
def test_figures_of_the_samples_under_all_methods(found_of_all: dict[str, Figures], name: str) -> None:
    said = verdict(STAGES[name], read(place(FOLDER, STAGES[name])), found_of_all[name], now(STAGES[name]))
    assert said is None, said
