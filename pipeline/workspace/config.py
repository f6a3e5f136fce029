"""The workspace: config.yaml with the archive, the methods and what goes with them.

Relative paths are relative to the config file. A bad config or method ends the run (InputError); a bad target, duty,
rig or title block's file is left out and reported.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, ClassVar

from pydantic import BeforeValidator, Field

from pipeline.archive.duties import load_duty, log_of, log_path
from pipeline.archive.facts import read_facts
from pipeline.archive.rigs import Rig
from pipeline.archive.scan import printable
from pipeline.archive.targets import Target
from pipeline.archive.title_block import TitleBlockFile
from pipeline.errors import Complaint, InputError, Unfit
from pipeline.inputs.model import Model, load, read_yaml
from pipeline.inputs.refusals import nearest
from pipeline.inputs.scalars import Text
from pipeline.inputs.yaml_text import line_of, text_of

CONFIGS = ("config.yaml", "config.yml")
LONGEST_METHOD = 100  # two of them name the folder of a comparison


def _listed(value: object) -> object:
    return value if isinstance(value, list | tuple) else [value]


class ConfigFile(Model):
    stand_in: ClassVar = {"archive": "-", "results": "-", "methods": ["-"]}
    archive: str
    results: str
    methods: Annotated[tuple[str, ...], BeforeValidator(_listed), Field(min_length=1)]
    compare: tuple[tuple[str, str], ...] = ()
    compare_compounds: tuple[tuple[Text, Text], ...] = ()
    targets: str | None = None
    duties: str | None = None
    rigs: str | None = None
    facts: str | None = None
    sheets: str | None = None


@dataclass(frozen=True)
class Workspace:
    """A config with its paths resolved. `left_out` names each optional file that could not be used, and why."""

    path: Path
    archive: Path
    results: Path
    methods: dict[str, Path]
    compare: tuple[tuple[str, str], ...] = ()
    compare_compounds: tuple[tuple[str, str], ...] = ()
    facts: Path | None = None  # table of facts of the batches
    targets: dict[str, Path] = field(default_factory=dict)  # compound -> file
    duties: tuple[Path, ...] = ()
    logs: tuple[Path, ...] = ()  # that duties are cut from
    rigs: dict[str, Path] = field(default_factory=dict)  # rig id -> file
    sheets: dict[str, Path] = field(default_factory=dict)  # compound -> file of its sheet's title block
    left_out: tuple[tuple[str, str], ...] = ()
    complaints: dict[str, tuple[Complaint, ...]] = field(
        default_factory=dict
    )  # the reasons of `left_out` in their parts
    refused_rigs: dict[str, str] = field(default_factory=dict)  # rig id -> why its file is left out


class _LeftOut:
    """Files that are left out, as they are found."""

    def __init__(self) -> None:
        self.files: list[tuple[str, str]] = []
        self.complaints: dict[str, tuple[Complaint, ...]] = {}

    def add(self, path: Path, error: InputError) -> None:
        self.files.append((path.name, str(error)))
        self.complaints[str(error)] = error.complaints


def load_workspace(path: Path) -> Workspace:
    """Read and resolve a config file. Raises InputError in one line."""
    config = load(path, ConfigFile)
    base = path.resolve().parent
    archive = base / config.archive
    methods, refused = _methods(base, config)
    refused += _places(config, archive, base)
    refused += [
        Unfit(
            f"{a!r} is compared with itself",
            "pairs of two compounds",
            "correct one of the two",
            at=("compare_compounds", n),
        )
        for n, (a, b) in enumerate(config.compare_compounds)
        if a == b
    ]
    if refused:
        raise InputError(*(_complaint(path, one) for one in refused))
    left_out = _LeftOut()
    facts = _facts(base, config.facts, left_out)
    targets = _one_each(_optional(base, "targets", config.targets, _of(Target), left_out), "compound", left_out)
    duties = tuple(_one_each(_optional(base, "duties", config.duties, load_duty, left_out), "duty", left_out).values())
    rigs = _one_each(_optional(base, "rigs", config.rigs, _of(Rig), left_out), "rig", left_out)
    sheets = _one_each(_optional(base, "sheets", config.sheets, _of(TitleBlockFile), left_out), "compound", left_out)
    return Workspace(
        path=path.resolve(),
        archive=archive,
        results=base / config.results,
        methods=methods,
        compare=config.compare,
        compare_compounds=config.compare_compounds,
        facts=facts,
        targets=targets,
        duties=duties,
        logs=_logs(duties),
        rigs=rigs,
        sheets=sheets,
        left_out=tuple(left_out.files),
        complaints=left_out.complaints,
        refused_rigs=_refused_rigs(base, config.rigs, rigs, dict(left_out.files)),
    )


def _logs(duties: tuple[Path, ...]) -> tuple[Path, ...]:
    read = [(path, log_of(load_duty(path))) for path in duties]
    return tuple(log_path(path, log) for path, log in read if log is not None)


def _complaint(path: Path, refused: Unfit) -> Complaint:
    key = ".".join(f"entry {part + 1}" if isinstance(part, int) else part for part in refused.at)
    line = line_of(text_of(path), refused.at)
    return Complaint(path.name, refused.found, refused.accepted, refused.mend, line, key)


def _methods(base: Path, config: ConfigFile) -> tuple[dict[str, Path], list[Unfit]]:
    """Files of the methods by their ids; what is wrong with them and with the pairs to compare."""
    methods: dict[str, Path] = {}
    refused: list[Unfit] = []
    for number, text in enumerate(config.methods):
        place, method = ("methods", number), base / text
        if not method.is_file():
            there = (
                sorted(p.name for p in method.parent.glob("*.yaml") if p.name not in CONFIGS)
                if method.parent.is_dir()
                else []
            )
            near = nearest(method.name, there)
            mend = f"write {Path(text).with_name(near).as_posix()}" if near else "correct the path"
            refused.append(Unfit(f"no file {text!r} beside the config file", "a method's file", mend, at=place))
        elif method.stem in methods:
            words = f"two files are called {method.stem!r}"
            refused.append(Unfit(words, "a name of its own for each, which is the method's id", "rename one", at=place))
        methods.setdefault(method.stem, method)
    for number, pair in enumerate(config.compare):
        unknown = [name for name in pair if name not in methods]
        known = f"methods: {', '.join(methods)}"
        if unknown:
            near = nearest(unknown[0], list(methods))
            mend = f"write {near}" if near else "write one of them"
            refused.append(Unfit(f"no method {unknown[0]!r}", known, mend, at=("compare", number)))
        elif pair[0] == pair[1]:
            refused.append(
                Unfit(
                    f"{pair[0]!r} is compared with itself", "two of the methods", "correct one", at=("compare", number)
                )
            )
    return methods, refused


def _places(config: ConfigFile, archive: Path, base: Path) -> list[Unfit]:
    """What is wrong with the paths of a config."""
    refused = [
        one
        for key in ("archive", "results", "targets", "duties", "rigs", "facts", "sheets")
        if (one := _wrong_path(key, getattr(config, key)))
    ]
    wrong = {one.at[0] for one in refused}
    if "archive" not in wrong and not archive.is_dir():
        words = f"no folder {config.archive!r} beside the config file"
        refused.append(Unfit(words, "the folder that holds the tests", "correct the path", at=("archive",)))
    elif not wrong & {"archive", "results"}:
        refused += filter(None, [_wrong_results(base / config.results, archive)])
    return refused


def _wrong_path(key: str, text: str | None) -> Unfit | None:
    """Why a path would be taken otherwise than it reads: empty, of a home folder, of a drive."""
    if text is None:
        return None
    accepted = "a path from the config file's folder, or a whole one"
    if not text.strip() or "\0" in text:
        return Unfit(f"{text!r} is no path", accepted, "write one", at=(key,))
    if text.startswith("~"):
        return Unfit("'~' is not read as the home folder", accepted, "write the whole path", at=(key,))
    if re.match(r"[A-Za-z]:", text):
        words = f"{text!r} starts with a drive, which this system does not have"
        return Unfit(words, accepted, "write the path as it is here", at=(key,))
    if "\\" in text:
        words = f"{text!r} has backslashes, which are letters of a name here"
        return Unfit(words, accepted, f"write {text.replace(chr(92), '/')}", at=(key,))
    return None


def _facts(base: Path, name: str | None, left_out: _LeftOut) -> Path | None:
    """The table of facts where it can be used; it, or its bad rows, are left out with the reason."""
    if name is None:
        return None
    path = base / name
    try:
        table = read_facts(path)
    except InputError as error:
        left_out.add(path, error)
        return None
    for problem in table.problems:
        left_out.add(path, InputError(problem))
    return path


def _wrong_results(results: Path, archive: Path) -> Unfit | None:
    """Why the results cannot stand in a folder: it meets the archive, or cannot be made or written in.

    Results inside the archive would be tests of the next run; around it, whoever clears the results clears the archive.
    """
    own, other = results.resolve(), archive.resolve()
    place = own
    while not place.exists():
        place = place.parent
    accepted, mend = "a folder beside the archive", "name a folder beside it"
    if own == other:
        words = "is the archive itself"
    elif own.is_relative_to(other):
        words = "lies in the archive"
    elif other.is_relative_to(own):
        words = "holds the archive"
    elif not place.is_dir():
        words, mend = f"{place} is a file", "name a folder"
    elif not os.access(place, os.W_OK | os.X_OK, effective_ids=os.access in os.supports_effective_ids):
        words, mend = f"no permission to write in {place}", "give it or name another folder"
    else:
        return None
    return Unfit(words, accepted, mend, at=("results",))


def _of(model: type[Model]) -> Callable[[Path], Model]:
    return lambda path: load(path, model)


def _optional(
    base: Path, key: str, pattern: str | None, read: Callable[[Path], Any], left_out: _LeftOut
) -> list[tuple[Path, Any]]:
    """(path, model) of every usable file of a pattern; the others go to `left_out` with the reason."""
    if pattern is None:
        return []
    usable: list[tuple[Path, Any]] = []
    try:
        paths = sorted(matched(base, pattern))
    except (ValueError, NotImplementedError, IndexError, re.error) as error:
        raise InputError(f"{key}: {pattern!r} is no usable pattern of files ({error}); write {key}/*.yaml") from error
    for path in paths:
        try:
            usable.append((path, read(path)))
        except InputError as error:
            left_out.add(path, error)
    return usable


def _one_each(read: list[tuple[Path, Any]], key: str, left_out: _LeftOut) -> dict[str, Path]:
    """File of each compound, duty or rig; where several files are of one, none is taken: which is meant is not ours
    to say.
    """
    found: dict[str, list[Path]] = {}
    for path, content in read:
        found.setdefault(getattr(content, key), []).append(path)
    for name, paths in found.items():
        if len(paths) > 1:
            names = ", ".join(p.name for p in paths)
            for p in paths:
                words = f"{name!r} stands in several files ({names})"
                line = line_of(text_of(p), (key,))
                left_out.add(p, InputError(Complaint(p.name, words, "one file each", "keep one", line, key)))
    return {name: paths[0] for name, paths in found.items() if len(paths) == 1}


def _refused_rigs(base: Path, pattern: str | None, rigs: dict[str, Path], why: dict[str, str]) -> dict[str, str]:
    """Rigs that have a file and none that can be used, with the reason: their tests are told of it.

    Of a file that cannot be read at all the rig is the one that it is named after.
    """
    refused: dict[str, str] = {}
    for path in sorted(matched(base, pattern)) if pattern is not None else []:
        if path in rigs.values():
            continue
        try:
            content = read_yaml(path)
        except InputError:
            content = None
        said = content.get("rig") if isinstance(content, dict) else None
        name = said.strip() if isinstance(said, str) else path.stem
        if name not in rigs:
            refused[name] = printable(why.get(path.name, path.name))
    return refused


def matched(base: Path, pattern: str) -> list[Path]:
    """Files that a pattern of the config stands for, whatever is in them; base: the config's folder."""
    # A pattern may climb (../targets/*.yaml), and glob accepts no '..': the fixed part is taken first. So is a folder
    # that is there by its very name: `brake[1]/targets/*.yaml` must not give the targets of `brake1`.
    parts = Path(pattern).parts
    fixed = base
    while len(parts) > 1 and (not any(c in parts[0] for c in "*?[") or (fixed / parts[0]).is_dir()):
        fixed, parts = fixed / parts[0], parts[1:]
    if parts and (fixed / parts[0]).is_file():
        return [fixed / parts[0]]
    # A pipe or a link to nothing counts, and is reported when it is read: it stands for a file that was meant.
    return [p for p in fixed.glob(str(Path(*parts))) if not p.is_dir()]


def refused_method(name: str) -> str | None:
    """Why a name that would do for a test cannot be a method's id; its results stand in a folder of that name."""
    if name in ("channels", "deltas"):
        return "is that of a folder of the results; rename the file"
    if "--" in name:
        return "must not hold '--', which stands between the two methods of a comparison; rename the file"
    if len(name) > LONGEST_METHOD:
        return f"is longer than {LONGEST_METHOD} characters; shorten it"
    return None
