"""The samples' glazing test fed to a watch as files: after which stop it says what."""

import pytest

from tests.studies.watching_samples import GLAZING, earlier, fed

ONSET, CHECK_4, CHECK_5, END = 78, 104, 131, 255  # gentle use begins; ends of the checks after its first two stretches


@pytest.mark.heavy
def test_the_film_is_said_at_the_first_check_after_it_began():
    found = fed(GLAZING, earlier(GLAZING), [47, 77, *range(CHECK_4 - 3, CHECK_4 + 2), CHECK_5, END])
    alarms = [event for event in found.events if event.kind == "alarm"]
    assert [event.after for event in alarms] == [CHECK_4, CHECK_5]
    assert all(event.said is not None and event.said.since == ONSET for event in alarms)
    assert "undetermined" in alarms[0].words and "glazing-like" in alarms[1].words
    assert found.recordings - alarms[0].after > 150
