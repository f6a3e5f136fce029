"""The workspace: config.yaml with the archive, the methods and what goes with them.

Relative paths are relative to the config file. A bad config or method ends the run (InputError); a bad target, duty or
rig file is left out and reported.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from pipeline.archive.duties import DutyCycle
from pipeline.archive.model import Model, load
from pipeline.archive.rigs import Rig
from pipeline.archive.targets import Target
from pipeline.errors import InputError


def _listed(value: object) -> object:
    return value if isinstance(value, list | tuple) else [value]


class ConfigFile(Model):
    archive: str
    results: str
    methods: Annotated[tuple[str, ...], BeforeValidator(_listed), Field(min_length=1)]
    compare: tuple[tuple[str, str], ...] = ()
    targets: str | None = None
    duties: str | None = None
    rigs: str | None = None


@dataclass(frozen=True)
class Workspace:
    """A config with its paths resolved. `left_out` names each optional file that could not be used, and why."""

    path: Path
    archive: Path
    results: Path
    methods: dict[str, Path]
    compare: tuple[tuple[str, str], ...] = ()
    targets: dict[str, Path] = field(default_factory=dict)  # compound -> file
    duties: tuple[Path, ...] = ()
    rigs: dict[str, Path] = field(default_factory=dict)  # rig id -> file
    left_out: tuple[tuple[str, str], ...] = ()


def load_workspace(path: Path) -> Workspace:
    """Read and resolve a config file. Raises InputError in one line."""
    config = load(path, ConfigFile)
    base = path.resolve().parent
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
    left_out: list[tuple[str, str]] = []
    targets = _one_each(_optional(base, config.targets, Target, left_out), "compound", left_out)
    duties = tuple(_one_each(_optional(base, config.duties, DutyCycle, left_out), "duty", left_out).values())
    rigs = _one_each(_optional(base, config.rigs, Rig, left_out), "rig", left_out)
    return Workspace(
        path=path.resolve(),
        archive=archive,
        results=base / config.results,
        methods=methods,
        compare=config.compare,
        targets=targets,
        duties=duties,
        rigs=rigs,
        left_out=tuple(left_out),
    )


def _optional(
    base: Path, pattern: str | None, model: type[Model], left_out: list[tuple[str, str]]
) -> list[tuple[Path, Any]]:
    """(path, model) of every usable file of a pattern; the others go to `left_out` with the reason."""
    if pattern is None:
        return []
    usable: list[tuple[Path, Any]] = []
    for path in sorted(_matches(base, pattern)):
        try:
            usable.append((path, load(path, model)))
        except InputError as error:
            left_out.append((path.name, str(error)))
    return usable


def _one_each(read: list[tuple[Path, Any]], key: str, left_out: list[tuple[str, str]]) -> dict[str, Path]:
    """File of each compound, duty or rig; where several files are of one, none is taken: which is meant is not ours to say."""
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


def _matches(base: Path, pattern: str) -> list[Path]:
    # A pattern may climb (../targets/*.yaml), and glob accepts no '..': the fixed part is taken first. So is a folder
    # that is there by its very name: `brake[1]/targets/*.yaml` must not give the targets of `brake1`.
    parts = Path(pattern).parts
    fixed = base
    while len(parts) > 1 and (not any(c in parts[0] for c in "*?[") or (fixed / parts[0]).is_dir()):
        fixed, parts = fixed / parts[0], parts[1:]
    if parts and (fixed / parts[0]).is_file():
        return [fixed / parts[0]]
    return [p for p in fixed.glob(str(Path(*parts))) if p.is_file()]
