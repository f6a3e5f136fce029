"""findings.json of a test: the findings of every stage in one list, worst first, then by stop.

The same finding from two stages stands once; what is said of a recording and of its stops too stands with the stops.
"""

import json
from collections.abc import Iterable

from pipeline.findings import finding
from pipeline.results.findings import Findings, Found, recorded

RANK = {"unusable": 0, "rejected": 1, "suspect": 2, "info": 3}


def merged(test: str, method: str, raised: Iterable[Found], *, unusable: str | None = None) -> Findings:
    """The content of findings.json. An unusable test has at least one finding of that severity."""
    seen: set[str] = set()
    found = []
    for item in raised:
        mark = json.dumps([item.code, item.stop, item.file, item.channel, item.message])
        if mark not in seen:
            seen.add(mark)
            found.append(item)
    of_stops = {(item.code, item.file) for item in found if item.stop is not None and item.file is not None}
    found = [item for item in found if item.stop is not None or (item.code, item.file) not in of_stops]
    if unusable and not any(item.severity == "unusable" for item in found):
        action = "correct what the message names and run again"
        found += recorded([finding("test_unusable", unusable, action=action)])
    found.sort(key=lambda item: (RANK[item.severity], item.stop is None, item.stop or 0, item.code))
    return Findings(test=test, method=method, findings=found)
