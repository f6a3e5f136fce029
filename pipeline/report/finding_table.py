"""The findings of a test as a table: one row a finding, or one row for many of a kind that differ only in their stop."""

from collections.abc import Mapping, Sequence
from typing import Any

from pipeline.report import numbers, verdicts

FEW = 5  # so many findings of one kind stand one by one


def rows(findings: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Rows in the findings' order; more than a few of one code, severity and channel share a row with their stops.

    A row has code, severity, stop, stops (text), message, action, where, evidence_text and `members`, the rows it stands for.
    """
    kinds: dict[tuple[Any, ...], list[Mapping[str, Any]]] = {}
    for item in findings:
        many = item.get("stop") is not None
        key = (item["code"], item["severity"], item.get("channel")) if many else (len(kinds), id(item))
        kinds.setdefault(key, []).append(item)
    found = []
    for members in kinds.values():
        single = [_row(item) for item in members]
        found += single if len(single) <= FEW else [_together(members, single)]
    return found


def _row(item: Mapping[str, Any]) -> dict[str, Any]:
    where = [str(item[key]) for key in ("file", "channel") if item.get(key)]
    if numbers.is_number(item.get("start_s")):
        end = f" to {item['end_s']:.2f}" if numbers.is_number(item.get("end_s")) else ""
        where.append(f"{item['start_s']:.2f}{end} s")
    evidence = "; ".join(f"{name}: {value}" for name, value in verdicts.evidence_rows(item["evidence"]))
    own = {key: item[key] for key in ("code", "severity", "stop", "message", "action")}
    return {**own, "where": ", ".join(where), "evidence_text": evidence, "stops": "", "members": []}


def _together(members: Sequence[Mapping[str, Any]], single: list[dict[str, Any]]) -> dict[str, Any]:
    first = single[0]
    stops = ranges(sorted({item["stop"] for item in members}))
    message = f"{first['message']} (and {len(members) - 1} more of this kind)"
    channel = str(members[0].get("channel") or "")
    return {
        **first,
        "stop": None,
        "stops": stops,
        "message": message,
        "where": channel,
        "evidence_text": "",
        "members": single,
    }


def ranges(stops: list[int]) -> str:
    """`1, 27\u201342, 81` of sorted stop numbers."""
    runs: list[list[int]] = []
    for stop in stops:
        if runs and stop == runs[-1][1] + 1:
            runs[-1][1] = stop
        else:
            runs.append([stop, stop])
    return ", ".join(str(a) if a == b else f"{a}\u2013{b}" for a, b in runs)
