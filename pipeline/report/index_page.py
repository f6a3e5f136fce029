"""`stopsheet index`: index.html, archive.json and method.yaml of a method.

All tests and compounds of the archive with their state and verdicts; what was skipped or left out, and why.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Any
from urllib.parse import quote

from pipeline.archive.card import load_card
from pipeline.errors import InputError
from pipeline.faults import InputFault
from pipeline.report import merge, method_file, numbers, render, verdicts
from pipeline.report.per_test_findings import drift_of
from pipeline.results import read_json, version, write_json, write_text
from pipeline.results.batches import CompoundBatches, Quantity
from pipeline.results.drift import TestDrift
from pipeline.results.duty import CompoundDuty, DutyProjection
from pipeline.results.model import read_or_none
from pipeline.workspace.run import Run, load_run

#: questions of a pair of batches; wear is compared on the discs only
ANSWERS: dict[Quantity, str] = {"mu": "µ", "bite": "bite", "wear": "disc wear"}


def run(*, config: Path, method: str, into: Path, settings: str = "") -> None:
    """Write archive.json and method.yaml of `method` of the workspace `config` into `into`.

    `settings`: the method as the run took it. Raises InputFault where the file holds another by now, as method.yaml would
    then be of another method than the results.
    """
    the_run = load_run(config)
    if settings and the_run.settings(method, "index") != settings:
        raise InputFault(f"{config}: the method {method} was edited since the run began; run again")
    rows = [test_row(the_run, into, test) for test in the_run.tests]
    # A folder with a card under a name that cannot be used was meant as a test: it is one that gives no result.
    refused = [
        {"test": folder, "compound": None, "status": "unusable", "why": why} for folder, why in the_run.found.refused
    ]
    archive = {
        "method": method,
        "tests": [{key: row[key] for key in ("test", "compound", "status", "why")} for row in [*rows, *refused]],
        **_left(the_run),
        "software": version(),
    }
    write_json(into / "archive.json", archive)
    write_text(into / "method.yaml", method_file.filled_text(dict(the_run.read_methods)[method], method))


def draw(*, config: Path, method: str, into: Path) -> None:
    """Write index.html; no result comes from here."""
    the_run = load_run(config)
    rows = [test_row(the_run, into, test) for test in the_run.tests]
    compounds = [compound_row(into, name, slug, rows) for name, slug in the_run.slug_of]
    deltas = [f"{a}--{b}" for a, b in the_run.compare if method in (a, b)]
    page = render.page(
        "index.html", title=f"Archive under method {method}", method=method, tests=rows, compounds=compounds, **_left(the_run),
        deltas=[(name, quote(f"../deltas/{name}/delta.html")) for name in deltas], software=version(),
        others=[(name, quote(f"../{name}/index.html")) for name in the_run.methods if name != method],
    )  # fmt: skip
    write_text(into / "index.html", page)


def _left(the_run: Run) -> dict[str, list[dict[str, str]]]:
    return {
        "skipped": [{"folder": folder, "why": why} for folder, why in the_run.found.skipped],
        "left_out": [{"file": file, "why": why} for file, why in the_run.workspace.left_out],
    }


def _read(path: Path) -> Mapping[str, Any]:
    return read_json(path) if path.is_file() else {}


def test_row(the_run: Run, into: Path, test: str) -> dict[str, Any]:
    """One test: identity, status, verdicts, findings by severity, link."""
    folder = into / "tests" / test
    own = {name: _read(folder / f"{name}.json") for name in ("summary", "friction", "wear")}
    summary, friction = own["summary"], own["friction"]
    drift = drift_of(folder)
    findings = _read(folder / "findings.json").get("findings") or []
    record = _read(into.parent / "channels" / f"{test}.json")
    row: dict[str, Any] = {
        "test": test,
        "compound": the_run.found.tests[test],
        "why": None,
        "address": quote(f"tests/{test}/test.html"),
    }
    row |= {"batch": None, "specimen": None, "date": None, "rig": None}
    holds, why = record.get("holds"), record.get("unusable") or summary.get("unusable")
    try:
        card = load_card(the_run.archive / test)
        row |= {
            "compound": card.compound,
            "batch": card.batch,
            "specimen": card.specimen,
            "date": card.date.isoformat(),
            "rig": card.rig,
        }
        holds = card.recordings.holds
    except InputError as error:
        why = why or str(error)
    why = why or next((item.get("message") for item in findings if item.get("severity") == "unusable"), None)
    if not summary:
        why = why or "no results were written"
    row["status"] = "unusable" if why else ("summary" if holds == "summary" else "ok")
    parts = [f"{stage}: {found['unusable']}" for stage, found in own.items() if found.get("unusable")]
    parts += [f"drift: {drift.unusable}"] if drift.unusable and (folder / "drift.json").is_file() else []
    summary_only = "only one reduced row per stop was kept; not reprocessable" if row["status"] == "summary" else None
    counts = summary.get("stops") or {}
    suspect_too = dict(the_run.read_methods)[into.name].friction.use_suspect
    useless = None if why or of_use(counts, suspect_too) else "no stop of use: every stop is suspect or rejected"
    row["why"] = why or "; ".join(filter(None, [summary_only, useless, *parts])) or None
    row["stops"] = " / ".join(str(counts.get(name, 0)) for name in ("ok", "suspect", "rejected"))
    row["drift"] = drift_words(drift)
    row["window"] = window_words(friction)
    ratio = (summary.get("energy_balance") or {}).get("ratio_median")
    row["ratio"] = f"{ratio:.3f}" if numbers.is_number(ratio) else "not given"
    by = {name: sum(1 for item in findings if item.get("severity") == name) for name in merge.RANK}
    row["findings"] = ", ".join(f"{count} {name}" for name, count in by.items() if count) or "none"
    return row


def of_use(counts: Mapping[str, int], suspect_too: bool) -> int:
    """Number of stops that can enter a model; `suspect_too`: the method's friction.use_suspect."""
    return counts.get("ok", 0) + (counts.get("suspect", 0) if suspect_too else 0)


def window_words(friction: Mapping[str, Any]) -> str:
    """The window in a few words; an end that only the data limit says so."""
    window = friction.get("window")
    if not window:
        return f"none: {friction.get('window_reason') or friction.get('unusable') or 'no reason given'}"
    ends = [words for end, words in (("low", "lower"), ("high", "upper")) if window.get(f"{end}_limited_by") == "data"]
    limited = f" ({' and '.join(ends)} end where the data end)" if ends else ""
    return f"{window['low_c']:.0f} to {window['high_c']:.0f} °C{limited}"


def drift_words(drift: TestDrift) -> str:
    """The drift verdict with its first affected stop and others seen."""
    if drift.verdict is None:
        return f"not given: {verdicts.drift_reason(drift) or 'no reason given'}"
    onset = "" if drift.onset_stop is None else f" from stop {drift.onset_stop}"
    also = f"; also {', '.join(drift.also)}" if drift.also else ""
    return f"{drift.verdict}{onset}{also}"


def compound_row(into: Path, name: str, slug: str, tests: list[dict[str, Any]]) -> dict[str, Any]:
    """One compound: its tests, window, batch answers, duties, link to the sheet."""
    folder = into / "compounds" / slug
    friction, sheet = (_read(folder / f"{file}.json") for file in ("friction", "sheet"))
    batches = read_or_none(folder / "batches.json", CompoundBatches)
    duty = read_or_none(folder / "duty.json", CompoundDuty)
    own = [row for row in tests if row["compound"] == name]
    pairs = [
        f"{pair.a} and {pair.b}: " + ", ".join(f"{words} {pair.verdicts[key]}" for key, words in ANSWERS.items())
        for pair in (batches.pairs if batches else [])
    ]
    return {
        "name": name, "sheet": quote(f"compounds/{slug}/sheet.html"), "pdf": quote(f"compounds/{slug}/sheet.pdf"),
        "tests": f"{sum(row['status'] != 'unusable' for row in own)} of {len(own)} usable", "window": window_words(friction),
        "targets": target_words(sheet),
        "batches": pairs or ["no pair of batches"],
        "duties": [opening_words(one) for one in duty.duties] if duty and duty.duties else ["no duty"],
    }  # fmt: skip


def target_words(sheet: Mapping[str, Any]) -> list[str]:
    """Each target of the sheet with its answer; a sheet that failed says so, which is not the same as no target."""
    if sheet.get("unusable"):
        return [f"{numbers.MISSING}: {sheet['unusable']}"]
    return [f"{row['target']}: {row['met']}" for row in sheet.get("targets") or []] or ["no target"]


def opening_words(duty: DutyProjection) -> str:
    """A duty's cooling opening to run, in words."""
    span = duty.opening_to_run
    if span:
        return f"{duty.duty}: opening {span.low:.2f} to {span.high:.2f}"
    return f"{duty.duty}: no opening to run: {duty.opening_to_run_why or duty.why or 'no reason given'}"
