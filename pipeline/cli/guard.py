"""A fault of ours in one test must not take the others with it.

A stage that fails with anything but an InputError leaves its files as those of an unusable test, which say that the fault
is ours, and the traceback in `<first output>.fault.txt` beside them. `stopsheet run` then ends with 1.
"""

from __future__ import annotations

import html
import sys
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pipeline import vocabulary
from pipeline.results import whole, write_json, write_parquet, write_text

#: a page of a fault loads, runs and sends nothing
POLICY = (
    "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; base-uri 'none'; form-action 'none'\">"
)
TABLES = {"stops.parquet": vocabulary.STOPS, "traces.parquet": vocabulary.TRACES, "delta.parquet": vocabulary.DELTA}


def guarded(stage: str, subject: str, outputs: list[Path], call: Callable[[], Any]) -> None:
    """Call the stage; where it fails, write its `outputs` as unusable. `subject` is the test or compound."""
    log = outputs[0].with_name(f"{outputs[0].name}.fault.txt")
    try:
        call()
        log.unlink(missing_ok=True)
    except Exception as error:
        why = f"fault of ours in stage {stage}: {type(error).__name__}; {log.name} has the details, please report it"
        write_text(log, traceback.format_exc())
        for path in outputs:
            _write_unusable(path, subject, why)
        print(f"stopsheet: {subject}: {why}", file=sys.stderr)


def _write_unusable(path: Path, subject: str, why: str) -> None:
    if path.suffix == ".json":
        write_json(path, {"test": subject, "unusable": why, "findings": []})
    elif path.suffix == ".parquet":
        write_parquet(path, vocabulary.empty(TABLES.get(path.name, ())))
    elif path.suffix == ".pdf":
        from reportlab.pdfgen.canvas import Canvas

        with whole(path) as part:
            canvas = Canvas(str(part), invariant=1)
            canvas.drawString(50, 780, f"{subject}: no sheet")
            canvas.drawString(50, 760, why[:100])
            canvas.save()
    else:
        title = html.escape(subject)
        text = f'<!doctype html><html lang="en"><meta charset="utf-8">{POLICY}<title>{title}</title><h1>{title}</h1><p>{html.escape(why)}</p>\n'
        write_text(path, text)
