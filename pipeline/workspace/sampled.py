"""Tests on which the settings of two methods are tried one at a time, and what that reads.

The work is a reduction of a test for each setting and test. It is bounded by `MOST_REDUCTIONS`: of many settings one test is taken, of few
several, one of each compound before a second of any, in the order of the archive; tests of which only reduced rows were kept cannot
be reduced again. So the choice depends on what the archive and the methods are and on no result.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import chain, zip_longest

from pipeline.method import differing_keys
from pipeline.stages import STAGES
from pipeline.workspace.run import Run

MOST_REDUCTIONS = 4
OF_METHOD = (
    "stops.parquet",
    "excluded.parquet",
    "traces.parquet",
    "summary.json",
    "friction.json",
    "wear.json",
    "drift.json",
)


def sampled(run: Run, a: str, b: str) -> list[str]:
    """Tests of the sample for two methods; at least one where the archive has a test whose card names its compound."""
    methods = dict(run.read_methods)
    settings = len(differing_keys(methods[a], methods[b], STAGES["shares"].settings))
    return in_turn(run, max(MOST_REDUCTIONS // max(settings, 1), 1))


def in_turn(run: Run, count: int) -> list[str]:
    """So many tests, the first of each compound, then the second of each."""
    whole = ([test for test in run.tests_of(slug) if test not in run.found.summary_only] for slug in run.compounds)
    rounds = zip_longest(*whole)
    return [test for test in chain.from_iterable(rounds) if test is not None][:count]


def channels(run: Run, tests: Iterable[str]) -> list[str]:
    """Channels of the sample and what was read of its recordings."""
    return [f"{run.prefix}channels/{test}.{kind}" for test in tests for kind in ("parquet", "json")]


def results(run: Run, methods: tuple[str, str], tests: Iterable[str]) -> list[str]:
    """Results of the sample under both methods, and the pooled scatter of its compounds under the first."""
    tests = list(tests)
    own = [f"{run.prefix}{method}/tests/{test}/{name}" for method in methods for test in tests for name in OF_METHOD]
    pooled = dict.fromkeys(path for test in tests for path in run.repeatability_of(methods[0], test))
    return [*own, *pooled]


def given(run: Run, methods: tuple[str, str], tests: Iterable[str]) -> list[str]:
    """What the user gave of each test: its rig's calibrations as either method applies them, target and wear readings."""
    tests = list(tests)
    return [
        *(run.calibrations_file(method, test) for method in methods for test in tests),
        *(run.target_file(test) for test in tests),
        *(run.wear_fingerprint_file(test) for test in tests),
    ]
