"""A fault in one test must not take the others with it, and must not stay when its cause is gone.

A stage that fails leaves its files as those of an unusable test, which say why, and a record of the fault beside them
(`pipeline.results.fault`), so that a run tries again. A fault of ours has its traceback in `<first
output>.fault.txt`. A fault of the machine that leaves nothing to write on (a full disk, no memory) ends the stage
with 1 and no files. Either way one line says what is wrong and what to do, and `stopsheet run` ends with 1.
"""

from __future__ import annotations

import html
import sys
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal

from pipeline import faults, vocabulary
from pipeline.archive.scan import printable
from pipeline.errors import InputError
from pipeline.results import beside, fault, made, whole, write_csv, write_json, write_parquet, write_text

#: a page of a fault loads, runs and sends nothing
POLICY = (
    "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; base-uri 'none'; form-action 'none'\">"
)


def guarded(
    stage: str, subject: str, outputs: list[Path], call: Callable[[], Any], *, carried: list[Path] | None = None
) -> None:
    """Call the stage; where it fails, write its `outputs` as unusable. `subject` is the test or compound.

    `carried` are the outputs that can carry a fault, all of them unless given; where there are none a fault ends the
    stage. Raises SystemExit(1) when the stage ends without its outputs.
    """
    carried = outputs if carried is None else carried
    log = outputs[0].with_name(f"{outputs[0].name}.fault.txt")
    try:
        try:
            for path in outputs:
                beside.clear(path)
            call()
            fault.clear(outputs[0])
            log.unlink(missing_ok=True)
        except InputError as error:
            if not carried:
                raise
            _carry(stage, subject, carried, str(error), None)
            fault.clear(outputs[0])
            log.unlink(missing_ok=True)
        except faults.InputFault as error:
            _carry(stage, subject, carried, str(error), "machine")
            log.unlink(missing_ok=True)
        except Exception as error:
            if faults.words_of(error, outputs[0]):
                raise
            write_text(log, traceback.format_exc())
            why = (
                f"fault of ours in stage {stage}: {type(error).__name__}; {log.name} has the details, please report it"
            )
            _carry(stage, subject, carried, why, "ours")
        made.leave(outputs)
    except InputError:
        raise
    except Exception as error:
        words = faults.words_of(error, outputs[0]) or f"{type(error).__name__}: {error}"
        print(printable(f"stopsheet: {subject}: stage {stage}: {words}"), file=sys.stderr)
        raise SystemExit(1) from error


def _carry(
    stage: str, subject: str, outputs: list[Path], why: str, kind: Literal["ours", "machine"] | None, told: str = ""
) -> None:
    """Write outputs that say why they hold nothing. `kind` None: the input's fault, which its fingerprint follows.

    `told` is what the terminal says, where it differs.
    """
    for path in outputs:
        _write_unusable(stage, path, subject, why)
    if kind is None:
        return
    print(printable(f"stopsheet: {subject}: {told or why}"), file=sys.stderr)
    if not outputs:
        raise SystemExit(1)
    fault.leave(outputs[0], stage, subject, kind, told or why)


def _write_unusable(stage: str, path: Path, subject: str, why: str) -> None:
    if path.suffix == ".json":
        from pipeline.results.model import write
        from pipeline.results.unusable import unusable

        typed = unusable(stage, path.name, subject, why)
        if typed is not None:
            write(path, typed)
        else:
            write_json(path, {"test": subject, "unusable": why, "findings": []})
    elif path.suffix == ".parquet":
        write_parquet(path, vocabulary.empty(vocabulary.TABLES.get(path.name, ())))
    elif path.suffix == ".csv":
        table = vocabulary.TABLES.get(
            f"{path.stem}.parquet", vocabulary.FIGURE if path.parent.name == "figures" else ()
        )
        write_csv(path, vocabulary.empty(table), table)
    elif path.suffix == ".pdf":
        from pipeline.report.typeface import legible
        from pipeline.report.typeset import Setting

        said = {"title": legible(f"{subject}: no sheet"), "why": legible(why)}
        pdf = Setting("no_sheet.typ", said, {}).made()
        with whole(path) as part:
            part.write_bytes(pdf)
    elif path.suffix == ".xlsx":
        from pipeline.results.workbook import Worksheet, write_workbook

        write_workbook(path, [Worksheet("About", ["what", "text"], [["subject", subject], ["unusable", why]])])
    elif path.suffix == ".svg":
        from pipeline.report.figure_files import empty

        write_text(path, empty(f"{subject}: {why}"))
    else:
        title = html.escape(subject)
        text = (
            f'<!doctype html><html lang="en"><meta '
            f'charset="utf-8">{POLICY}<title>{title}</title><h1>{title}</h1><p>{html.escape(why)}</p>\n'
        )
        write_text(path, text)
