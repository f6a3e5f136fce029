"""Where a method's, a test's and a compound's results stand in a results folder, by the names that people use."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from pipeline.errors import InputError
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.left_over import is_left_over
from pipeline.results.model import read


def method_in(results: Path, method: str | None, *, say: str = "--method") -> Path:
    """Folder of a method's results; `method` may be left out where there is one.

    say: what the caller states a method by. Raises InputError naming the methods that there are.
    """
    methods = sorted(p.parent.name for p in results.glob("*/compounds") if p.is_dir())
    if not methods:
        raise InputError(f"{results}: holds no method's results; give the results folder of a run")
    if method is None and len(methods) > 1:
        raise InputError(f"{results}: holds the methods {', '.join(methods)}; say which by {say}")
    chosen = methods[0] if method is None else method
    if chosen not in methods:
        raise InputError(f"{results}: no method {chosen!r}; there are {', '.join(methods)}")
    return results / chosen


def compound_in(folder: Path, compound: str) -> Path:
    """Folder of a compound below the method's `folder`, the compound given as the cards or as its folder is called.

    Raises InputError naming those that there are.
    """
    known: dict[str, Path] = {}
    for path in sorted((folder / "compounds").glob("*/friction.json")):
        if is_left_over(path.parent):
            continue
        known[path.parent.name] = path.parent
        if path.parent.name != compound and read(path, CompoundFriction).compound == compound:
            known[compound] = path.parent
    return _known(known, compound, folder, "compound")


def test_in(folder: Path, test: str, tests: Iterable[str]) -> Path:
    """Folder of a test below the method's `folder`; raises InputError where it is none of `tests`."""
    return _known({name: folder / "tests" / name for name in tests}, test, folder, "test")


def _known(known: dict[str, Path], name: str, folder: Path, what: str) -> Path:
    if name not in known:
        there = ", ".join(known) or "none"
        raise InputError(f"{folder.parent}: method {folder.name} has no {what} {name!r}; there are {there}")
    return known[name]
