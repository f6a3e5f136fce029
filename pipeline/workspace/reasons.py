"""Why a stage runs, in words: an input changed, a setting changed, the software changed, results are not there.

The workflow engine says which files and strings differ. Everything that the user gave stands in small files of its own
(`workspace.run`), so the name of such a file tells what changed; what differs in the settings' string tells which
setting, or which revision of the code.
"""

from __future__ import annotations

import ast
import json
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from pathlib import PurePosixPath

from pipeline.results.extracts import FOLDER

NEW = "new: no results yet"
CUT = "what it takes of the whole archive changed"
FROM = {
    "recordings": "input changed: card or recordings",
    "wear": "input changed: wear readings",
    "target": "input changed: target",
    "compound": "input changed: target or duties of the compound",
    "members": "tests were added to the compound or taken out",
    "calibrations": "input changed: calibrations of the rig",
    "title_block": "input changed: title block of the sheet",
    "form": "software changed: results have another form",
}
OF_ARCHIVE = {
    "tests": "tests were added or taken out",
    "rigs": "input changed: rig files",
    "facts": "input changed: facts of the batches",
    "left_out": "input changed: folders or files that are left out",
}
SHOWN = 3  # settings named one by one


@dataclass(frozen=True)
class Differs:
    """What the engine found about one stage.

    known: whether its results were made before; missing, unfinished: results, by path; updated: inputs, by path, without
    those of stages that run now; follows: stages that run now; before, now: strings that it is called with and that
    differ, as Python writes them; others: whether the list of its inputs is another.
    """

    known: bool = True
    missing: Collection[str] = ()
    unfinished: Collection[str] = ()
    updated: Collection[str] = ()
    follows: Collection[str] = ()
    before: Collection[str] = ()
    now: Collection[str] = ()
    others: bool = False

    @property
    def values(self) -> tuple[list[object], list[object]]:
        """What the strings stand for, before and now."""
        before, now = ([_value(text) for text in sorted(texts)] for texts in (self.before, self.now))
        return before, now


def reasons(found: Differs) -> list[str]:
    """Why the stage runs, each once, what the user did first; never empty."""
    if found.missing and not found.known:
        return [NEW]
    before, now = found.values
    read_anew = _revision_of_reading(before, now)
    said = [*_of_settings(before, now), *read_anew, *_of_files(found.updated)]
    if read_anew and len(now) == 1:  # the file of a test's recordings holds that revision too
        said = [words for words in said if words != FROM["recordings"]]
    said += ["tests or files were added or removed"] if found.others else []
    said += ["an earlier run was cut short"] if found.unfinished else []
    if found.missing:
        said.append(f"results are missing: {', '.join(sorted(PurePosixPath(path).name for path in found.missing))}")
    if found.follows:
        said.append(f"follows {', '.join(dict.fromkeys(found.follows))}")
    return list(dict.fromkeys(said)) or ["what it is called with changed"]


def _of_files(paths: Iterable[str]) -> Iterable[str]:
    for path in sorted(paths):
        parts = PurePosixPath(path).parts
        if ".given" in parts:
            kind, name = parts[parts.index(".given") + 1], parts[-1]
            yield OF_ARCHIVE.get(name, "") if kind == "archive" else FROM[kind]
        elif ".again" in parts:
            yield "an earlier fault is tried again"
        elif FOLDER in parts:
            yield CUT
        elif ".lost" in parts:
            yield "files that it rests on are missing"
        elif ".settings" not in parts:  # what differs in the settings is told by their strings
            yield f"results it rests on are newer: {parts[-1]}"


def _value(text: str) -> object:
    try:
        return ast.literal_eval(text)
    except (ValueError, SyntaxError, MemoryError, RecursionError):
        return text


def _revision_of_reading(before: Iterable[object], now: Iterable[object]) -> list[str]:
    """The revision of the readers, the one whole number that a stage is called with."""
    old, new = (next((v for v in values if isinstance(v, int)), None) for values in (before, now))
    return [] if old is None or new is None else [f"code changed: reading of recordings, revision {old} to {new}"]


def _of_settings(before: Iterable[object], now: Iterable[object]) -> list[str]:
    """What differs between two canonical strings of settings and revisions; nothing where there are no two."""
    old, new = _settings(before), _settings(now)
    if old is None or new is None:
        return []
    changed = [
        f"{section}.{key} {_short(old['settings'].get(section, {}).get(key))} to {_short(value)}"
        for section, keys in new["settings"].items()
        for key, value in keys.items()
        if old["settings"].get(section, {}).get(key) != value
    ]
    revised = [
        f"{section} revision {old['revisions'].get(section, 'none')} to {revision}"
        for section, revision in new["revisions"].items()
        if old["revisions"].get(section) != revision
    ]
    gone = sorted(set(old["settings"]) - set(new["settings"]) | set(old["revisions"]) - set(new["revisions"]))
    revised += [f"{section} is no longer used" for section in gone]
    more = [f"{len(changed) - SHOWN} more"] if len(changed) > SHOWN else []
    return [
        *([f"setting changed: {', '.join([*changed[:SHOWN], *more])}"] if changed else []),
        *([f"code changed: {', '.join(revised)}"] if revised else []),
    ]


def _settings(values: Iterable[object]) -> dict[str, dict[str, dict[str, object]]] | None:
    """The one string of settings among what a stage is called with."""
    for value in values:
        try:
            content = json.loads(value) if isinstance(value, str) else None
        except ValueError:
            continue
        if isinstance(content, dict) and {"settings", "revisions"} <= content.keys():
            return content
    return None


def _short(value: object) -> str:
    """A setting's value (SI) in a few letters."""
    text = f"{value:.6g}" if isinstance(value, float) else "none" if value is None else str(value)
    return text if len(text) <= 24 else f"{text[:23]}…"
