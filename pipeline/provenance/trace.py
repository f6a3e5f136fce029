"""From a number of a sheet to the stops that it rests on, their raw files and the digests of these.

sheet.json names the file and key of every number; that file's stamp the settings, the revision and the digest of every
file that was read; the record of the recordings the digest of every raw file as it was read. The way is gone through and every
step looked at again: the value in the file, the files' digests, the raw files as they are now.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from pipeline.delta.fingerprints import loaded
from pipeline.errors import InputError
from pipeline.inputs import seen
from pipeline.provenance.figures import Printed, asked
from pipeline.provenance.places import Ground, digests, ground, listing, mapping
from pipeline.provenance.stops_behind import Scope, along, of_test, spans
from pipeline.results.files import digest
from pipeline.results.model import read
from pipeline.results.sheet import PrintedNumber, Sheet

OF_WEAR = ("wear.json", "duty.json")  # files whose numbers rest on wear readings too
CLOSE = 1e-6  # of the value in the file: both have nine digits
NO_NUMBER = "the file holds no number there"
NO_JSON = "the file is no JSON of a stage"
GONE = "the file is not there"
NO_STOPS = "its stops are not known, as stops.parquet is not there"
State = Literal["as read", "changed since", "not there", "not recorded"]


@dataclass(frozen=True)
class Raw:
    """A raw file with the digest that it had when it was read, and how it is now."""

    file: str
    digest: str
    now: State


@dataclass(frozen=True)
class Behind:
    """The stops of a test behind a number, and their raw files."""

    test: str
    which: str
    stops: list[int]
    files: list[Raw]
    card: Raw | None = None
    readings: Raw | None = None

    @property
    def told(self) -> list[Raw]:
        """Every file, what a person wrote first."""
        return [*filter(None, (self.card, self.readings)), *self.files]


@dataclass(frozen=True)
class Traced:
    """A number with its way. value_in_file: what the file holds now, in the sheet's unit; why: why that is not known."""

    printed: Printed
    place: Path | None
    value_in_file: float | None
    why: str | None
    stamp: Mapping[str, Any] | None
    inputs: list[Raw] = field(default_factory=list)
    behind: list[Behind] = field(default_factory=list)

    @property
    def differences(self) -> list[str]:
        """What is not as it was when the number was printed."""
        found = []
        number = self.printed.number
        if self.value_in_file is not None and number.value is not None and not _same(self.value_in_file, number.value):
            found.append(f"{number.file} now holds {self.value_in_file:g} {number.unit}".strip())
        if self.value_in_file is not None and number.value is None:
            found.append(f"no value is printed, {number.file} now holds {self.value_in_file:g} {number.unit}".strip())
        if self.why == NO_NUMBER and number.value is not None:
            found.append(f"{number.file} now holds no number there")
        if self.why == GONE or (self.why == NO_JSON and self.place is not None and self.place.suffix == ".json"):
            found.append(f"{number.file}: {self.why}")
        found += [f"tests/{one.test}: {one.which}" for one in self.behind if one.which == NO_STOPS]
        raw = [(one.test, file) for one in self.behind for file in one.told]
        found += [f"{one.file}: {one.now}" for one in self.inputs if one.now in ("changed since", "not there")]
        return found + [
            f"{test}/{one.file}: {one.now}" for test, one in raw if one.now in ("changed since", "not there")
        ]


def traced(sheet_json: Path, figure: str, config: Path | None = None) -> Traced:
    """The way of a number of a sheet in its results folder. Raises InputError where it cannot be found."""
    if not sheet_json.is_file():
        raise InputError(f"{sheet_json}: no such file; name the sheet.json of a compound")
    place = sheet_json.resolve()
    if len(place.parents) < 4 or place.parents[1].name != "compounds":
        raise InputError(
            f"{sheet_json}: does not stand in the results of a run, whose files a number is traced through"
        )
    sheet = read(place, Sheet)
    one = asked(sheet, figure)
    return _way(one, place.parents[2], ground(place.parents[3], config), sheet, place.parent)


def _way(one: Printed, method: Path, on: Ground, sheet: Sheet, folder: Path) -> Traced:
    file, key = one.number.file, one.number.key
    path = _path(file, method, on, folder)
    content = loaded(path) if path is not None and path.suffix == ".json" else {}
    value, scope, why = _value(one, path, content)
    stamp = content.get("stamp") or _summary_stamp(method, file)
    inputs = _inputs(path, stamp, on) if path is not None and isinstance(stamp, dict) else []
    tests = _tests(file, key, scope, sheet, folder)
    behind = [_behind(test, method, file, key, scope, on) for test in tests]
    return Traced(one, path, value, why, stamp if isinstance(stamp, dict) else None, inputs, behind)


def _path(file: str, method: Path, on: Ground, folder: Path) -> Path | None:
    """Where a cited file stands; None for several files, or where nothing says where it is."""
    if "*" in file:
        return None
    return on.place(folder / "sheet.json", file)


def _value(one: Printed, path: Path | None, content: dict[str, Any]) -> tuple[float | None, Scope, str | None]:
    """What the file holds now in the unit of the sheet, what stands along the key, and why the first is not known."""
    if not content:
        several = "it is counted over several files" if "*" in one.number.file else NO_JSON
        return None, Scope(), several if path is None or path.is_file() else GONE
    try:
        found, scope = along(content, one.number.key)
    except KeyError:
        return None, Scope(), "its key is no place in the file, but words on how it is counted"
    if not isinstance(found, int | float) or isinstance(found, bool):
        return None, scope, NO_NUMBER
    return float(found) * (one.number.factor or 1.0), scope, None


def compared(
    one: Printed, on: Ground, sheet_json: Path, contents: dict[str, dict[str, Any]]
) -> str | Literal[False] | None:
    """What differs between a number and the file that it names, None for nothing, False where the two cannot be compared.

    A value on one side alone differs. contents: of the files read so far, kept for the next number.
    """
    number = one.number
    if number.file not in contents:
        path = _path(number.file, sheet_json.parents[2], on, sheet_json.parent)
        contents[number.file] = loaded(path) if path is not None and path.suffix == ".json" else {}
    content, place = contents[number.file], f"{one.path} ({one.name})"
    value, _, why = _value(one, None, content)
    if value is None or number.value is None:
        if value is not None:
            return f"{place}: no value is printed, the file holds {value:g} ({number.file}, {number.key})"
        if why == NO_NUMBER:
            alone = f"{place}: {number.text} is printed, the file holds no number ({number.file}, {number.key})"
            return None if number.value is None else alone
        return False
    held = {"value": (number.value, value)} | _ends(number, content)
    apart = [
        f"{end} {printed:g} is printed, the file holds {own:g}"
        for end, (printed, own) in held.items()
        if not _same(printed, own)
    ]
    return f"{place}: {'; '.join(apart)} ({number.file}, {number.key})" if apart else None


def _ends(number: PrintedNumber, content: dict[str, Any]) -> dict[str, tuple[float, float]]:
    """Ends of the interval, as printed and as the file has them, where they stand beside its value."""
    if not number.key.endswith("/value"):
        return {}
    part, _ = along(content, number.key.removesuffix("/value"))
    own = {end: part.get(end) for end in ("low", "high")} if isinstance(part, dict) else {}
    printed = {"low": number.low, "high": number.high}
    return {
        end: (float(printed[end] or 0.0), float(held) * (number.factor or 1.0))
        for end, held in own.items()
        if printed[end] is not None and isinstance(held, int | float)
    }


def _same(a: float, b: float) -> bool:
    return abs(a - b) <= CLOSE * max(abs(a), abs(b), 1e-12)


def _summary_stamp(method: Path, file: str) -> Any:
    """The stamp of a test's table, which stands in the summary of the same stage."""
    parts = file.split("/")
    return (
        loaded(method / "tests" / parts[1] / "summary.json").get("stamp")
        if parts[0] == "tests" and len(parts) > 2
        else None
    )


def _inputs(path: Path, stamp: Mapping[str, Any], on: Ground) -> list[Raw]:
    """What the file's stage read, and whether it is still the same."""
    found = []
    for name, was in digests(stamp.get("inputs")).items():
        place = on.place(path, name)
        if place is None:
            state: State = "not recorded"
        elif not place.is_file():
            state = "not there"
        else:
            state = "as read" if digest(place) == was else "changed since"
        found.append(Raw(name, was, state))
    return found


def _tests(file: str, key: str, scope: Scope, sheet: Sheet, folder: Path) -> list[str]:
    """Tests behind a number, in the order of the sheet."""
    parts = file.split("/")
    if parts[0] in ("tests", "archive") and parts[1] != "*":
        return [parts[1]]
    if parts[0] not in ("tests", "compounds"):
        return []  # a target, a fact, a shift of the rig: no stop is behind it
    named = scope.tests or {test for test in sheet.tests if f"rows of {test}," in key}
    if not named and scope.batch is not None:
        batches = listing(loaded(folder / "batches.json").get("batches"))
        of_batch = [one.get("tests") for one in batches if one.get("batch") == scope.batch]
        named = {str(test) for tests in of_batch if isinstance(tests, list) for test in tests}
    left_out = mapping(loaded(folder / "friction.json").get("tests_left_out"))
    return [test for test in sheet.tests if (test in named if named else test not in left_out)]


def _behind(test: str, method: Path, file: str, key: str, scope: Scope, on: Ground) -> Behind:
    record = loaded(on.results / "channels" / f"{test}.json")
    known = digests(record.get("files"))
    archive = on.of_test(test)
    if file.startswith("archive/"):
        return Behind(test, "the card alone", [], [], _raw("test.yaml", known, archive))
    if not (method / "tests" / test / "stops.parquet").is_file():
        return Behind(test, NO_STOPS, [], [], _raw("test.yaml", known, archive))
    which, rows = of_test(method, test, file, scope)
    status = key.removeprefix("/rows where status is ")
    if file.endswith(".parquet") and status != key:
        which, rows = f"stops with status {status}", rows.filter(rows["status"] == status)
    files = [_raw(name, known, archive) for name in dict.fromkeys(_file_of(one) for one in rows["file"].drop_nulls())]
    readings = _readings(method / "tests" / test / "wear.json", on) if file.rsplit("/", 1)[-1] in OF_WEAR else None
    return Behind(test, which, rows["stop"].to_list(), files, _raw("test.yaml", known, archive), readings)


def _readings(wear: Path, on: Ground) -> Raw | None:
    """The test's wear readings, by the stamp of what was made of them."""
    inputs = _inputs(wear, mapping(loaded(wear).get("stamp")), on)
    found = next((one for one in inputs if one.file == "wear"), None)
    place = on.place(wear, "wear")
    return None if found is None else Raw(place.name if place else "wear readings", found.digest, found.now)


def _file_of(recording: str) -> str:
    """The file of a recording that is a sheet or group of it."""
    return recording.partition("#")[0]


def _raw(name: str, known: Mapping[str, str], archive: Path | None) -> Raw:
    was = known.get(name)
    if was is None:
        return Raw(name, "", "not recorded")
    if archive is None or not (archive / name).exists():
        return Raw(name, was, "not there")
    return Raw(name, was, "as read" if seen.of_file(archive / name) == was else "changed since")


def lines(found: Traced, most: int = 4) -> list[str]:
    """The way for a reader; of more than `most` raw files of a test the first are told."""
    number = found.printed.number
    rows = [
        f"{found.printed.name}",
        f"  printed      {number.text}   ({found.printed.path})",
        f"  read from    {number.file}, {number.key}" + (f", times {number.factor:g}" if number.factor else ""),
    ]
    if number.why:
        rows.append(f"  no value     {number.why}")
    held = (
        f"{found.value_in_file:.9g} {number.unit}".strip()
        if found.value_in_file is not None
        else f"not compared: {found.why}"
    )
    rows.append(f"  there now    {held}")
    if found.stamp is not None:
        revision = found.stamp.get("revision")
        rows.append(
            f"  made by      stage {found.stamp.get('stage')}, revision {revision}, stopsheet {found.stamp.get('software')}"
        )
    rows += [f"  from         {one.file}  {one.digest}  {one.now}" for one in found.inputs[:most]]
    rows += (
        [f"               and {len(found.inputs) - most} more files, all told by --json"]
        if len(found.inputs) > most
        else []
    )
    for one in found.behind:
        rows.append(f"{one.test}: {one.which}" + (f", {len(one.stops)}: {spans(one.stops)}" if one.stops else ""))
        told = one.told
        rows += [f"  {raw.file}  {raw.digest}  {raw.now}" for raw in told[:most]]
        rows += [f"  and {len(told) - most} more files, all told by --json"] if len(told) > most else []
    if not found.behind:
        rows.append("no stop is behind it: it is what a file of the user's states, or holds for a rig")
    return [*rows, *(f"differs: {one}" for one in found.differences)]
