"""The workspace: config.yaml with the archive, the methods and what goes with them.

Relative paths are relative to the config file. A bad config or method ends the run (InputError); a bad target, duty or
rig file is left out and reported.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from pipeline.archive.duties import LoggedDuty, load_duty, log_path
from pipeline.archive.facts import read_facts
from pipeline.archive.rigs import Rig
from pipeline.archive.scan import printable
from pipeline.archive.targets import Target
from pipeline.errors import InputError
from pipeline.inputs.model import Model, load, read_yaml
from pipeline.inputs.scalars import Text

LONGEST_METHOD = 100  # two of them name the folder of a comparison


def _listed(value: object) -> object:
    return value if isinstance(value, list | tuple) else [value]


class ConfigFile(Model):
    archive: str
    results: str
    methods: Annotated[tuple[str, ...], BeforeValidator(_listed), Field(min_length=1)]
    compare: tuple[tuple[str, str], ...] = ()
    compare_compounds: tuple[tuple[Text, Text], ...] = ()
    targets: str | None = None
    duties: str | None = None
    rigs: str | None = None
    facts: str | None = None


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
    left_out: tuple[tuple[str, str], ...] = ()
    refused_rigs: dict[str, str] = field(default_factory=dict)  # rig id -> why its file is left out


def load_workspace(path: Path) -> Workspace:
    """Read and resolve a config file. Raises InputError in one line."""
    config = load(path, ConfigFile)
    base = path.resolve().parent
    for key in ("archive", "results", "targets", "duties", "rigs", "facts"):
        _refuse_path(f"{path.name}: {key}", getattr(config, key))
    archive = base / config.archive
    if not archive.is_dir():
        raise InputError(f"{path.name}: archive: no folder {config.archive!r} beside the config file")
    methods = {}
    for text in config.methods:
        method = base / text
        if not method.is_file():
            raise InputError(f"{path.name}: methods: no file {text!r} beside the config file")
        if method.stem in methods:
            raise InputError(f"{path.name}: methods: two files are called {method.stem!r}; the stem is the method's id")
        methods[method.stem] = method
    for a, b in config.compare:
        for name in (a, b):
            if name not in methods:
                raise InputError(f"{path.name}: compare: no method {name!r}; methods: {', '.join(methods)}")
        if a == b:
            raise InputError(f"{path.name}: compare: {a!r} is compared with itself")
    for a, b in config.compare_compounds:
        if a == b:
            raise InputError(f"{path.name}: compare_compounds: {a!r} is compared with itself")
    left_out: list[tuple[str, str]] = []
    facts = _facts(base, config.facts, left_out)
    targets = _one_each(_optional(base, "targets", config.targets, _of(Target), left_out), "compound", left_out)
    duties = tuple(_one_each(_optional(base, "duties", config.duties, load_duty, left_out), "duty", left_out).values())
    rigs = _one_each(_optional(base, "rigs", config.rigs, _of(Rig), left_out), "rig", left_out)
    return Workspace(
        path=path.resolve(),
        archive=archive,
        results=_results_place(f"{path.name}: results", base / config.results, archive),
        methods=methods,
        compare=config.compare,
        compare_compounds=config.compare_compounds,
        facts=facts,
        targets=targets,
        duties=duties,
        logs=_logs(duties),
        rigs=rigs,
        left_out=tuple(left_out),
        refused_rigs=_refused_rigs(base, config.rigs, rigs, dict(left_out)),
    )


def _logs(duties: tuple[Path, ...]) -> tuple[Path, ...]:
    read = [(path, load_duty(path)) for path in duties]
    return tuple(log_path(path, duty) for path, duty in read if isinstance(duty, LoggedDuty))


def _refuse_path(key: str, text: str | None) -> None:
    """InputError for a path that would be taken otherwise than it reads: empty, of a home folder, of a drive."""
    if text is None:
        return
    if not text.strip() or "\0" in text:
        raise InputError(f"{key}: {text!r} is no path")
    if text.startswith("~"):
        raise InputError(f"{key}: '~' is not read as the home folder; write the whole path")
    if re.match(r"[A-Za-z]:[\\/]", text):
        raise InputError(
            f"{key}: {text!r} starts with a drive, which this system does not have; write the path as it is here"
        )


def _facts(base: Path, name: str | None, left_out: list[tuple[str, str]]) -> Path | None:
    """The table of facts where it can be used; it, or its bad rows, are left out with the reason."""
    if name is None:
        return None
    path = base / name
    try:
        table = read_facts(path)
    except InputError as error:
        left_out.append((path.name, str(error)))
        return None
    left_out.extend((path.name, problem) for problem in table.problems)
    return path


def _results_place(key: str, results: Path, archive: Path) -> Path:
    """The results folder. InputError where it meets the archive, or where it cannot be made or written in.

    Results inside the archive would be tests of the next run; around it, whoever clears the results clears the archive.
    """
    own, other = results.resolve(), archive.resolve()
    if own == other:
        raise InputError(f"{key}: is the archive itself; name a folder beside it")
    if own.is_relative_to(other):
        raise InputError(f"{key}: lies in the archive; name a folder beside it")
    if other.is_relative_to(own):
        raise InputError(f"{key}: holds the archive; name a folder beside it")
    place = own
    while not place.exists():
        place = place.parent
    if not place.is_dir():
        raise InputError(f"{key}: {place} is a file; name a folder")
    if not os.access(place, os.W_OK | os.X_OK, effective_ids=os.access in os.supports_effective_ids):
        raise InputError(f"{key}: no permission to write in {place}; give it or name another folder")
    return results


def _of(model: type[Model]) -> Callable[[Path], Model]:
    return lambda path: load(path, model)


def _optional(
    base: Path, key: str, pattern: str | None, read: Callable[[Path], Any], left_out: list[tuple[str, str]]
) -> list[tuple[Path, Any]]:
    """(path, model) of every usable file of a pattern; the others go to `left_out` with the reason."""
    if pattern is None:
        return []
    usable: list[tuple[Path, Any]] = []
    try:
        paths = sorted(_matches(base, pattern))
    except (ValueError, NotImplementedError, IndexError, re.error) as error:
        raise InputError(f"{key}: {pattern!r} is no usable pattern of files ({error}); write {key}/*.yaml") from error
    for path in paths:
        try:
            usable.append((path, read(path)))
        except InputError as error:
            left_out.append((path.name, str(error)))
    return usable


def _one_each(read: list[tuple[Path, Any]], key: str, left_out: list[tuple[str, str]]) -> dict[str, Path]:
    """File of each compound, duty or rig; where several files are of one, none is taken: which is meant is not ours
    to say.
    """
    found: dict[str, list[Path]] = {}
    for path, content in read:
        found.setdefault(getattr(content, key), []).append(path)
    for name, paths in found.items():
        if len(paths) > 1:
            names = ", ".join(p.name for p in paths)
            left_out.extend(
                (p.name, f"{p.name}: {key} {name!r} stands in several files ({names}); keep one") for p in paths
            )
    return {name: paths[0] for name, paths in found.items() if len(paths) == 1}


def _refused_rigs(base: Path, pattern: str | None, rigs: dict[str, Path], why: dict[str, str]) -> dict[str, str]:
    """Rigs that have a file and none that can be used, with the reason: their tests are told of it.

    Of a file that cannot be read at all the rig is the one that it is named after.
    """
    refused: dict[str, str] = {}
    for path in sorted(_matches(base, pattern)) if pattern is not None else []:
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


def _matches(base: Path, pattern: str) -> list[Path]:
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
