"""One compound of the simulated study, a sixtieth and a thirtieth of it under the heavy mark: loose bounds that a broken verdict would break."""

import pytest

from tests.studies.drift_tables import HEALTHY, by_cause, report, share_of
from tests.studies.drift_verdicts import COMPOUNDS, study


@pytest.fixture(scope="module", params=[1, *(pytest.param(count, marks=pytest.mark.heavy) for count in (2, 4))])
def rows(request):
    """Of so many compounds."""
    return study(request.param / COMPOUNDS, seed=7)


def test_verdicts_by_cause(rows):
    groups = by_cause(rows)
    healthy = [r for cause, own in groups.items() if cause.startswith("healthy") for r in own]
    assert len(healthy) in (HEALTHY, 2 * HEALTHY, 4 * HEALTHY)
    assert sum(r.answer.verdict != "none" for r in healthy) <= len(healthy) / 16
    assert sum(r.answer.verdict == "glazing-like" for r in healthy) == 0
    assert share_of(groups["glazing 12 %"], "glazing-like") >= 0.8
    assert share_of(groups["glazing 8 %"], "glazing-like") >= 0.6
    for cause, own in groups.items():
        if not cause.startswith("glazing"):
            limit = 1.0 if "no high-energy use after" in cause else 0.35
            assert share_of(own, "glazing-like") <= (0.0 if cause.startswith("torque") else limit), cause
        if cause.startswith("torque"):
            assert share_of(own, "sensor") >= 0.8, cause


def test_report_has_every_table(rows):
    text = report(rows)
    for part in ("## Aims", "## Verdicts by cause", "## Onset and loss", "## Misses"):
        assert part in text
    assert "nan" not in text
