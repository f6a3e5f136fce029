"""Two results folders compared statement by statement: an issued one and today's, whatever changed between them.

Numbers and answers come from the sheets, verdicts of tests and compounds from the typed files where this version can read both
sides; a file that it cannot read is named with the reason, and nothing is concluded from it. Each statement that no longer
holds names the kinds of difference in what it rests on: settings, software, data (recordings, cards, wear readings, tests),
target. Where several differ, one comparison cannot say which of them did it, and all are named.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from pipeline.delta import conclusions, fingerprints
from pipeline.delta.issued import NO_INTERVAL, judged, said
from pipeline.errors import InputError
from pipeline.results.batches import CompoundBatches
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.delta import Conclusion, Moved
from pipeline.results.drift import TestDrift
from pipeline.results.duty import CompoundDuty
from pipeline.results.files import version
from pipeline.results.friction import TestFriction
from pipeline.results.left_over import is_left_over
from pipeline.results.model import Result, read
from pipeline.results.releases import Cause, Kind, NotCompared, OfMethod, Release, Statement, Subject
from pipeline.results.summary import TestSummary
from pipeline.results.wear import CompoundWear, TestWear

R = TypeVar("R", bound=Result)
SIDES = ("the issued", "today's")
ONLY_TODAY = "is in today's results only"
FIRST = ("Conclusions", "Targets", "In short")  # what is acted on
OF_FIGURE: dict[Moved, str] = {
    "no": "printed alike",
    "inside": "moved by no more than half the width of its interval",
    "beyond": "moved by more than half the width of its interval",
    "no interval": NO_INTERVAL,
}


def compared(a: Path, b: Path) -> Release:
    """Two results folders, whole or of one method each. Raises InputError where one is none, or no method is on both sides."""
    sides = [methods_in(folder) for folder in (a, b)]
    if len(sides[0]) == len(sides[1]) == 1:
        pairs = [(next(iter(sides[0].values())), next(iter(sides[1].values())))]
        apart: list[str] = []
    else:
        shared = [name for name in sides[0] if name in sides[1]]
        pairs = [(sides[0][name], sides[1][name]) for name in shared]
        apart = sorted(set(sides[0]) ^ set(sides[1]))
    if not pairs:
        names = " and ".join(", ".join(side) for side in sides)
        raise InputError(f"{a} and {b}: no method is in both ({names}); name the two methods' own folders")
    return Release(
        a=str(a), b=str(b), methods=[of_method(*pair) for pair in pairs], unmatched=apart, software=version()
    )


def methods_in(folder: Path) -> dict[str, Path]:
    """Methods' results below a folder, or the folder itself where it is one's. Raises InputError where it is neither."""
    if not folder.is_dir():
        raise InputError(f"{folder}: no such folder; name the results of a run")
    if (folder / "compounds").is_dir() or (folder / "tests").is_dir():
        return {folder.resolve().name: folder}
    found = {
        path.name: path
        for path in sorted(folder.iterdir())
        if path.name not in ("channels", "deltas") and ((path / "compounds").is_dir() or (path / "tests").is_dir())
    }
    if not found:
        raise InputError(f"{folder}: holds no results; name the results folder of a run or of one of its methods")
    return found


def of_method(a: Path, b: Path) -> OfMethod:
    """Statements of one method's results on either side, those that no longer hold first."""
    lost: list[NotCompared] = []
    statements: list[Statement] = []
    subjects: list[Subject] = []
    for name in _both(a / "tests", b / "tests", lost, "tests"):
        causes = fingerprints.of_test(name, a, b)
        subjects.append(Subject(name=name, causes=causes))
        statements += _of_test(name, a, b, lost)
    for name in _both(a / "compounds", b / "compounds", lost, "compounds"):
        folders = [side / "compounds" / name for side in (a, b)]
        sheets = [fingerprints.loaded(folder / "sheet.json") for folder in folders]
        tests = {key: _tests(sheet, side, name) for key, sheet, side in zip("ab", sheets, (a, b), strict=True)}

        def causes_of(file: str | None, tests: dict[str, list[str]] = tests, slug: str = name) -> list[Cause]:
            if file is not None and file.startswith("tests/"):
                _, test, own = file.split("/", 2)
                return fingerprints.of_test(test, a, b, own) if test != "*" else causes_of(None)
            name_only = None if file is None else file.rsplit("/", 1)[-1]
            return fingerprints.of_compound(
                tests, a, b, (slug, slug), name_only if name_only in fingerprints.SECTIONS else None
            )

        compound = next((str(s["compound"]) for s in sheets if s.get("compound")), name)
        subjects.append(Subject(name=compound, causes=causes_of(None)))
        statements += _of_sheet(compound, sheets, causes_of, lost, f"compounds/{name}/sheet.json")
        statements += _of_compound(compound, folders, causes_of, lost, f"compounds/{name}")
    for name in (
        one.file.split("/")[1] for one in lost if one.file.startswith("compounds/") and one.file.count("/") == 1
    ):
        sheet = fingerprints.loaded(a / "compounds" / name / "sheet.json")
        statements += _unsaid(str(sheet.get("compound") or name), sheet, "today's results have no such compound")
    order = {False: 0, None: 1, True: 2}
    return OfMethod(
        a=a.name, b=b.name, subjects=subjects, not_compared=lost,
        statements=sorted(statements, key=lambda one: (order[one.holds], one.part not in FIRST)),
    )  # fmt: skip


def _both(a: Path, b: Path, lost: list[NotCompared], kind: str) -> list[str]:
    """Names of folders on both sides; the others are told."""
    names = [
        {path.name for path in side.iterdir() if path.is_dir() and not is_left_over(path)} if side.is_dir() else set()
        for side in (a, b)
    ]
    for name in sorted(names[0] ^ names[1]):
        why = "is in the issued results only" if name in names[0] else ONLY_TODAY
        lost.append(NotCompared(file=f"{kind}/{name}", why=why))
    return sorted(names[0] & names[1])


def _tests(sheet: dict[str, object], side: Path, compound: str) -> list[str]:
    listed = sheet.get("tests")
    return [str(name) for name in listed] if isinstance(listed, list) else []


def _read(
    folder: tuple[Path, Path], name: str, model: type[R], lost: list[NotCompared], place: str
) -> tuple[R | None, R | None]:
    """A file of both sides, where this version can read both; else neither, and why."""
    found: list[R] = []
    for side, where in zip(folder, SIDES, strict=True):
        path = side / name
        try:
            found.append(read(path, model))
        except FileNotFoundError:
            lost.append(
                NotCompared(file=f"{place}/{name}", why=f"cannot be compared because {where} results have no such file")
            )
            return None, None
        except (InputError, OSError, ValueError, RecursionError) as error:
            said_why = str(error).removeprefix(f"{path}: ").split("; not written by")[0]
            why = (
                f"cannot be compared because {where} file was not written by this version of the software ({said_why})"
            )
            lost.append(NotCompared(file=f"{place}/{name}", why=why))
            return None, None
    return found[0], found[1]


def _of_test(test: str, a: Path, b: Path, lost: list[NotCompared]) -> list[Statement]:
    """The verdicts of a test."""
    folders = (a / "tests" / test, b / "tests" / test)
    place = f"tests/{test}"
    summary = _read(folders, "summary.json", TestSummary, lost, place)
    friction = _read(folders, "friction.json", TestFriction, lost, place)
    wear = _read(folders, "wear.json", TestWear, lost, place)
    drift = _read(folders, "drift.json", TestDrift, lost, place)
    sides = [conclusions.OfTest(summary[i], friction[i], wear[i], drift[i]) for i in (0, 1)]
    kept = {"usable": summary[0] is not None, "drift": drift[0] is not None, "window": friction[0] is not None}

    def causes_of(row: Conclusion) -> list[Cause]:
        file = "wear.json" if row.what.startswith("wear") else "drift.json" if "drift" in row.what else "friction.json"
        return fingerprints.of_test(test, a, b, "summary.json" if row.what == "usable" else file)

    rows = [row for row in conclusions.of_test(test, *sides) if kept.get(row.what.split(" ")[0], True)]
    return [_concluded(test, row, causes_of(row)) for row in rows]


def _of_compound(
    compound: str,
    folders: list[Path],
    causes_of: Callable[[str | None], list[Cause]],
    lost: list[NotCompared],
    place: str,
) -> list[Statement]:
    """The conclusions about a compound; its targets are the sheet's."""
    pair = (folders[0], folders[1])
    friction = _read(pair, "friction.json", CompoundFriction, lost, place)
    wear = _read(pair, "wear.json", CompoundWear, lost, place)
    batches = _read(pair, "batches.json", CompoundBatches, lost, place)
    duty = _read(pair, "duty.json", CompoundDuty, lost, place)
    sides = [conclusions.OfCompound(friction[i], wear[i], batches[i], duty[i]) for i in (0, 1)]
    return [_concluded(compound, row, causes_of(_file_of(row))) for row in conclusions.of_compound(compound, *sides)]


def _file_of(row: Conclusion) -> str:
    if row.what == "window":
        return "friction.json"
    if row.what.startswith("wear law"):
        return "wear.json"
    return "duty.json" if " on " in row.what else "batches.json"


def _concluded(of: str, row: Conclusion, causes: list[Cause]) -> Statement:
    why = OF_FIGURE[row.moved] if row.kind == "figure" else f"{'another' if row.changed else 'the same'} conclusion"
    if row.b is None:
        why = "today's results do not conclude it"
    holds = None if row.b is None else not row.changed
    return Statement(
        of=of, part="Figures" if row.kind == "figure" else "Conclusions", what=row.what, issued=_shown(row.a), now=None if row.b is None else _shown(row.b),
        holds=holds, why=why, causes=_kinds(causes) if holds is not True else [],
    )  # fmt: skip


def _shown(value: str | int | None) -> str:
    return "not given" if value is None else str(value)


def _kinds(causes: list[Cause]) -> list[Kind]:
    return [cause.kind for cause in causes] or ["not recorded"]


def _of_sheet(
    compound: str,
    sheets: list[dict[str, object]],
    causes_of: Callable[[str | None], list[Cause]],
    lost: list[NotCompared],
    place: str,
) -> list[Statement]:
    """Every number and answer of the issued sheet beside today's."""
    for sheet, where in zip(sheets, SIDES, strict=True):
        if not isinstance(sheet.get("sections"), list) or sheet.get("unusable"):
            why = sheet.get("unusable") or "it is missing, cannot be read or holds no sections"
            lost.append(NotCompared(file=place, why=f"cannot be compared because of {where} sheet: {why}"))
            return _unsaid(compound, sheets[0], f"{where} sheet: {why}")
    old, new = (said(sheet) for sheet in sheets)
    known: dict[str | None, list[Kind]] = {}
    rows = []
    for key, one in old.items():
        other = new.get(key)
        holds, why = judged(one, other)
        if holds is not True and one.file not in known:
            known[one.file] = _kinds(causes_of(one.file))
        rows.append(
            Statement(
                of=compound, part=one.part, what=one.what, issued=one.text, now=other.text if other else None, holds=holds,
                why=why, causes=[] if holds is True else known[one.file],
            )
        )  # fmt: skip
    return rows


def _unsaid(compound: str, issued: dict[str, object], why: str) -> list[Statement]:
    """What an issued sheet states where there is nothing to hold it against."""
    if not isinstance(issued.get("sections"), list) or issued.get("unusable"):
        return []
    return [
        Statement(of=compound, part=one.part, what=one.what, issued=one.text, holds=None, why=why)
        for one in said(issued).values()
    ]
