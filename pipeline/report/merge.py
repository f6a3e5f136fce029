"""findings.json of a test: the findings of every stage in one list, each with exactly the keys of docs/contract.md.

Worst first, then by stop. The same finding from two stages stands once.
"""

import json
from collections.abc import Iterable, Mapping
from typing import Any

KEYS = ("code", "severity", "stop", "file", "channel", "start_s", "end_s", "message", "evidence", "action")
RANK = {"unusable": 0, "rejected": 1, "suspect": 2, "info": 3}


def as_finding(raw: Mapping[str, Any]) -> dict[str, Any]:
    """A finding with the keys of docs/contract.md in order; further keys kept behind them; a missing key null, evidence {}."""
    found = {key: raw.get(key) for key in KEYS}
    found["severity"] = raw["severity"] if raw.get("severity") in RANK else "info"
    found["evidence"] = dict(raw.get("evidence") or {})
    found["message"] = str(raw.get("message") or raw.get("code") or "")
    found["action"] = str(raw.get("action") or "")
    return {**found, **{key: value for key, value in raw.items() if key not in found and key != "test"}}


def of_test(source: Any, test: str) -> list[Mapping[str, Any]]:
    """The findings for `test` in a stage's JSON: its list `findings`, less those that name another test."""
    if source is None:
        return []
    listed = source.get("findings") if isinstance(source, Mapping) else source
    if isinstance(listed, Mapping):
        listed = listed.get(test)
    return [item for item in listed or [] if isinstance(item, Mapping) and item.get("test", test) == test]


def merged(test: str, method: str, sources: Iterable[Any], *, unusable: str | None = None) -> dict[str, Any]:
    """The content of findings.json. An unusable test has at least one finding of that severity."""
    seen: set[str] = set()
    found = []
    for source in sources:
        for raw in of_test(source, test):
            item = as_finding(raw)
            mark = json.dumps([item["code"], item["stop"], item["file"], item["channel"], item["message"]], default=str)
            if mark not in seen:
                seen.add(mark)
                found.append(item)
    if unusable and not any(item["severity"] == "unusable" for item in found):
        found.append(as_finding({"code": "test_unusable", "severity": "unusable", "message": unusable,
                                 "action": "correct what the message names and run again"}))  # fmt: skip
    found.sort(key=lambda item: (RANK[item["severity"]], item["stop"] is None, item["stop"] or 0, item["code"] or ""))
    return {"test": test, "method": method, "findings": found}
