"""Whether results are still those of their files: every stamp held against what it names.

- raw files: the record of each test's recordings has the digest of every file that was read (`files`);
- inputs: a stamp has the digest of every file that its stage read, results of earlier stages among them;
- results: what a stage wrote has its digest beside it (`.made`), a page's scripts and traces too, so that an edited result is
  found whoever reads it;
- settings and code: a stamp has both; they are held against the method as it is now and against this software;
- numbers: each number of a sheet against the file and key that it names.

A digest is a proof against mistakes and not against who changes file and digest alike. An edited module that raised no
revision leaves no trace.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from pipeline.archive.card import load_card
from pipeline.delta.fingerprints import loaded
from pipeline.errors import InputError
from pipeline.method import SECTIONS, channels, filled
from pipeline.provenance.figures import printed
from pipeline.provenance.places import Ground, digests, ground, listed, mapping, methods_in, tests_in
from pipeline.provenance.trace import compared
from pipeline.results.files import digest, version
from pipeline.results.left_over import is_left_over
from pipeline.results.made import made_in
from pipeline.results.model import read
from pipeline.results.sheet import Sheet

Kind = Literal["raw files", "inputs", "results", "settings", "code", "numbers"]
KINDS: tuple[Kind, ...] = ("raw files", "inputs", "results", "settings", "code", "numbers")


@dataclass(frozen=True)
class Difference:
    """What is not as it was. place: below the results, or of the archive; known: whether it could be compared at all."""

    kind: Kind
    place: str
    what: str
    known: bool = True


@dataclass
class Verified:
    """How much was compared of each kind, and what differs or could not be compared."""

    compared: Counter[Kind] = field(default_factory=Counter)
    differences: list[Difference] = field(default_factory=list)

    def hold(self, kind: Kind, place: str, what: str | None) -> None:
        """Count a comparison; `what` differs, None for nothing."""
        self.compared[kind] += 1
        if what is not None:
            self.differences.append(Difference(kind, place, what))

    def lack(self, kind: Kind, place: str, why: str) -> None:
        """Note what could not be compared."""
        self.differences.append(Difference(kind, place, why, known=False))


def verified(results: Path, config: Path | None = None) -> Verified:
    """Everything below a results folder. Raises InputError where it is none."""
    on, found = ground(results, config), Verified()
    for test in tests_in(on.results):
        _raw(on, test, found)
    stamped = dict(_stamped(on))
    for path, stamp in stamped.items():
        _inputs(on, path, stamp, found)
        _settings(on, path, stamp, found)
    _results(on, found)
    for method in methods_in(on.results):
        for sheet in sorted(method.glob("compounds/*/sheet.json")):
            if not is_left_over(sheet.parent):
                _numbers(on, method, sheet, found)
    if not found.compared:
        raise InputError(f"{results}: holds nothing that could be compared; name the results folder of a run")
    return found


def _raw(on: Ground, test: str, found: Verified) -> None:
    """Every file of a test's folder against the digest that it had when it was read."""
    known = digests(loaded(on.results / "channels" / f"{test}.json").get("files"))
    folder = on.of_test(test)
    if not known:
        found.lack("raw files", test, "the record of its recordings has no digests; run again to have them")
        return
    if folder is None or not folder.is_dir():
        where = "nothing says where it is; name the config by --config" if folder is None else "it is not there"
        found.lack("raw files", test, f"its folder in the archive: {where}")
        return
    now, wear = listed(folder), _wear(folder)
    for name in sorted({*known, *now} - {wear}):
        was, is_ = known.get(name), now.get(name)
        what = "is new since the test was read" if was is None else "is gone" if is_ is None else None
        if what is None and was != is_:
            what = f"is another file than was read (SHA-256 {was} then, {is_} now)"
        found.hold("raw files", f"{test}/{name}", what)


def _wear(folder: Path) -> str | None:
    """The test's wear file, which the stage of the recordings does not read; its digest stands with the wear."""
    try:
        return load_card(folder).wear
    except InputError:
        return None


def _stamped(on: Ground) -> Iterator[tuple[Path, dict[str, Any]]]:
    """Every results file that carries a stamp."""
    places = [on.results / "channels", *methods_in(on.results)]
    for place in places:
        for path in sorted(place.rglob("*.json")):
            hidden = any(part.startswith(".") for part in path.relative_to(on.results).parts)
            if hidden or is_left_over(path.parent):
                continue
            stamp = loaded(path).get("stamp")
            if isinstance(stamp, dict):
                yield path, stamp


def _inputs(on: Ground, path: Path, stamp: dict[str, Any], found: Verified) -> None:
    own = path.relative_to(on.results).as_posix()
    for name, was in digests(stamp.get("inputs")).items():
        place = on.place(path, name)
        if place is None:
            found.lack("inputs", own, f"{name}: nothing says where it is; name the config by --config")
        elif not place.is_file():
            found.hold("inputs", own, f"{name}, which it was made from, is gone")
        else:
            now = digest(place)
            found.hold(
                "inputs", own, None if now == was else f"{name} has changed since it was read ({was} then, {now} now)"
            )


def _settings(on: Ground, path: Path, stamp: dict[str, Any], found: Verified) -> None:
    """Settings against the method, revisions and version against this software."""
    own = path.relative_to(on.results)
    said = mapping(stamp.get("settings"))
    method = dict(on.run.read_methods).get(own.parts[0]) if on.run is not None else None
    now = filled(method) if method is not None else None
    for section, values in mapping(said.get("settings")).items():
        if now is None:
            continue
        apart = [
            f"{section}.{key} was {value}, the method says {now.get(section, {}).get(key)}"
            for key, value in mapping(values).items()
            if key in now.get(section, {}) and not _alike(value, now[section][key])
        ]
        found.hold("settings", own.as_posix(), "; ".join(apart) or None)
    if now is None and said.get("settings"):
        found.lack("settings", own.as_posix(), "nothing says where its method is; name the config by --config")
    revisions = mapping(said.get("revisions")) or (
        {"channels": stamp.get("revision")} if own.parts[0] == "channels" else {}
    )
    for name, was in revisions.items():
        is_ = channels.REVISION if name == "channels" else SECTIONS[name][1].REVISION if name in SECTIONS else None
        found.hold(
            "code", own.as_posix(), None if was == is_ else f"revision of {name} was {was}, this software's is {is_}"
        )
    if stamp.get("software") != version():
        found.hold("code", own.as_posix(), f"made by stopsheet {stamp.get('software')}, this is {version()}")


def _alike(a: Any, b: Any) -> bool:
    """Whether two settings are the same: both are written with nine digits in a stamp."""
    if isinstance(a, list | tuple) and isinstance(b, list | tuple):
        return len(a) == len(b) and all(map(_alike, a, b))
    if isinstance(a, int | float) and isinstance(b, int | float):
        return abs(a - b) <= 1e-8 * max(abs(a), abs(b))
    return bool(a == b)


def _results(on: Ground, found: Verified) -> None:
    """Every file against the digest that it had when its stage wrote it; what several pages share once for each digest."""
    seen = set[tuple[str, str]]()
    for folder, records in made_in(on.results):
        if is_left_over(folder):
            continue
        for name, was in records.items():
            path = Path(os.path.normpath(folder / name))
            own = Path(os.path.relpath(path, on.results)).as_posix()
            if (own, was) in seen:
                continue
            seen.add((own, was))
            if not path.is_file():
                found.hold("results", own, "is gone")
            elif digest(path) == was:
                found.hold("results", own, None)
            else:  # a plan puts a file without a byte where one is to be made
                found.hold("results", own, "was changed after its stage wrote it" if path.stat().st_size else "is gone")


def _numbers(on: Ground, method: Path, path: Path, found: Verified) -> None:
    own = path.relative_to(on.results).as_posix()
    try:
        sheet = read(path, Sheet)
    except InputError as error:
        found.hold("numbers", own, str(error).removeprefix(f"{path}: "))
        return
    contents: dict[str, dict[str, Any]] = {}
    for one in printed(sheet):
        what = compared(one, on, path, contents)
        if what is not False:
            found.hold("numbers", own, what)


def _told(differences: list[Difference]) -> list[str]:
    """A line for each, and one for all that differ in the same words."""
    places: dict[str, list[str]] = {}
    for one in differences:
        places.setdefault(one.what, []).append(one.place)
    return [
        f"  {several[0]}{f' and {len(several) - 1} more' if len(several) > 1 else ''}: {what}"
        for what, several in places.items()
    ]


def lines(found: Verified, most: int = 20) -> list[str]:
    """What differs, kind by kind, then what could not be compared, then how much was compared."""
    rows = []
    for known in (True, False):
        for kind in KINDS:
            of_kind = [one for one in found.differences if one.kind == kind and one.known is known]
            if not of_kind:
                continue
            differ = "differs" if len(of_kind) == 1 else "differ"
            rows.append(f"{kind}: {len(of_kind)} {differ if known else 'not compared'}")
            told = _told(of_kind)
            rows += told[:most]
            rows += [f"  and {len(told) - most} more, all told by --json"] if len(told) > most else []
    counts = ", ".join(f"{found.compared[kind]} {kind}" for kind in KINDS if found.compared[kind])
    wrong = sum(one.known for one in found.differences)
    rest = len(found.differences) - wrong
    rows.append(
        f"compared: {counts}; {wrong or 'nothing'} differ{'s' if wrong <= 1 else ''}; {rest or 'nothing'} not compared"
    )
    return rows
