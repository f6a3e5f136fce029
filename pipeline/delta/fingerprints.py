"""What differs in what two results rest on, from the stamps and fingerprints that they carry.

Every file says with which settings, revisions and software it was made and what it read. Cards, recordings and wear
readings are compared by their digests, settings by name. Files are read as plain JSON: results of an earlier version have
other keys, and what is not there is not compared. An edited module that raised no revision leaves no trace in a stamp: then
nothing recorded differs, and that is said.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from pipeline.results.releases import Cause, Kind

#: sections of the method that enter a file beside those of the stops
SECTIONS: dict[str, tuple[str, ...]] = {
    "friction.json": ("friction", "reduction"),
    "wear.json": ("wear", "reduction"),
    "drift.json": ("drift", "friction", "reduction"),
    "batches.json": ("batches", "friction", "wear", "drift", "reduction"),
    "duty.json": ("duty", "friction", "wear", "drift", "reduction"),
}
ORDER: tuple[Kind, ...] = ("method", "software", "data", "target", "not recorded")


def loaded(path: Path) -> dict[str, Any]:
    """A JSON object; empty where there is none that can be read."""
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return {}
    return content if isinstance(content, dict) else {}


def of_test(test: str, a: Path, b: Path, file: str | None = None) -> list[Cause]:
    """Differences of a test's results in two methods' folders; `file` narrows settings and revisions to what enters it."""
    folders = [side / "tests" / test for side in (a, b)]
    if not all(folder.is_dir() for folder in folders):
        return [Cause(kind="data", what=[f"{test} is in one of the archives only"])]
    names = ["summary.json"] if file is None else list(dict.fromkeys(["summary.json", file]))
    found = merged(stamps(loaded(folders[0] / n), loaded(folders[1] / n), SECTIONS.get(n)) for n in names)
    return merged([found, _data(test, a, b)])


def of_compound(
    tests: Mapping[str, Iterable[str]], a: Path, b: Path, folder: tuple[str, str], file: str | None
) -> list[Cause]:
    """Differences of a compound's results; tests: names on either side by `a` and `b`; folder: its folders' names."""
    listed = [set(tests["a"]), set(tests["b"])]
    apart = [f"{name} is in the issued results only" for name in sorted(listed[0] - listed[1])]
    apart += [f"{name} is new" for name in sorted(listed[1] - listed[0])]
    names = [file] if file else ["friction.json", "wear.json", "batches.json", "duty.json", "targets.json"]
    own = []
    for name in names:
        sides = [loaded(side / "compounds" / slug / name) for side, slug in zip((a, b), folder, strict=True)]
        own.append(stamps(sides[0], sides[1], SECTIONS.get(name)))
        stated = all(
            (side / "compounds" / slug / "targets.json").is_file() for side, slug in zip((a, b), folder, strict=True)
        )
        own += [_targets(*sides)] if stated else []  # before there was that file, no stamp named target and duties
    each = [of_test(name, a, b) for name in sorted(listed[0] & listed[1])]
    return merged([*own, [Cause(kind="data", what=apart)] if apart else [], *each])


def stamps(a: Mapping[str, Any], b: Mapping[str, Any], sections: tuple[str, ...] | None = None) -> list[Cause]:
    """Differences of two files' stamps in settings, revisions and software; `sections`: only these of the settings."""
    old, new = (_mapping(side.get("stamp")) for side in (a, b))
    if not old or not new:
        return []
    held = [_mapping(_mapping(side.get("settings")).get("settings")) for side in (old, new)]
    flat = [_flat(side, sections) for side in held]
    settings = [
        f"{key}: {flat[0].get(key)} -> {flat[1].get(key)}"
        for key in sorted({*flat[0], *flat[1]})
        if flat[0].get(key) != flat[1].get(key) and key in flat[0] and key in flat[1]
    ]
    revisions = [_revisions(side, sections) for side in (old, new)]
    software = [
        f"revision of {key}: {revisions[0].get(key)} -> {revisions[1].get(key)}"
        for key in sorted({*revisions[0], *revisions[1]})
        if revisions[0].get(key) != revisions[1].get(key)
    ]
    software += [
        f"setting {key} is {'new' if key in flat[1] else 'gone'}" for key in sorted(set(flat[0]) ^ set(flat[1]))
    ]
    if old.get("software") != new.get("software"):
        software.append(f"version: {old.get('software')} -> {new.get('software')}")
    kinds: tuple[tuple[Kind, list[str]], ...] = (("method", settings), ("software", software))
    return [Cause(kind=kind, what=what) for kind, what in kinds if what]


def _flat(settings: Mapping[str, Any], sections: tuple[str, ...] | None) -> dict[str, Any]:
    return {
        f"{section}.{key}": value
        for section, values in settings.items()
        if sections is None or section in sections
        for key, value in _mapping(values).items()
    }


def _revisions(stamp: Mapping[str, Any], sections: tuple[str, ...] | None) -> dict[str, Any]:
    held = _mapping(_mapping(stamp.get("settings")).get("revisions")) or {
        str(stamp.get("stage")): stamp.get("revision")
    }
    return {name: value for name, value in held.items() if sections is None or name in sections}


def _mapping(value: Any) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}


def _inputs(content: Mapping[str, Any]) -> dict[str, Any]:
    return _mapping(_mapping(content.get("stamp")).get("inputs"))


def _data(test: str, a: Path, b: Path) -> list[Cause]:
    """Differences of card, recordings and wear readings."""
    what = []
    summaries = [_inputs(loaded(side / "tests" / test / "summary.json")) for side in (a, b)]
    records = [loaded(side.parent / "channels" / f"{test}.json") for side in (a, b)]
    cards = [
        one.get("card") or _inputs(record).get("test.yaml") for one, record in zip(summaries, records, strict=True)
    ]
    what += [f"card of {test}"] if None not in cards and cards[0] != cards[1] else []
    files = [_recordings(record) for record in records]
    if all(files):
        changed = sorted(name for name in {*files[0], *files[1]} if files[0].get(name) != files[1].get(name))
        what += [f"recordings of {test}: {_some(changed)}"] if changed else []
    readings = [_inputs(loaded(side / "tests" / test / "wear.json")).get("wear") for side in (a, b)]
    what += [f"wear readings of {test}"] if readings[0] != readings[1] else []
    return [Cause(kind="data", what=what)] if what else []


def _recordings(record: Mapping[str, Any]) -> dict[str, Any]:
    rows = record.get("recordings")
    return (
        {str(row.get("file")): row.get("digest") for row in rows if isinstance(row, dict)}
        if isinstance(rows, list)
        else {}
    )


def _some(names: list[str]) -> str:
    return ", ".join(names) if len(names) <= 4 else f"{', '.join(names[:3])} and {len(names) - 3} more"


def _targets(a: Mapping[str, Any], b: Mapping[str, Any]) -> list[Cause]:
    """Differences of the target and duty files that a compound's file read, where both say what they read."""
    old, new = ({k: v for k, v in _inputs(side).items() if k == "target" or k.startswith("duties/")} for side in (a, b))
    if not old and not new:
        return []
    changed = sorted(name for name in {*old, *new} if old.get(name) != new.get(name))
    return [Cause(kind="target", what=changed)] if changed else []


def merged(several: Iterable[list[Cause]]) -> list[Cause]:
    """The causes of several lists, one a kind, in a fixed order."""
    found: dict[Kind, list[str]] = {}
    for causes in several:
        for cause in causes:
            found.setdefault(cause.kind, []).extend(cause.what)
    return [Cause(kind=kind, what=list(dict.fromkeys(found[kind]))) for kind in ORDER if kind in found]


NOTHING = Cause(kind="not recorded", what=["nothing that the results record differs"])
