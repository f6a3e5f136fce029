"""Imports point one way: the order of the packages stands in DEVELOPERS.md, and no module imports from a later one."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "pipeline"
#: what the package itself offers by name, and loads when it is used (tests/notebook/test_offered.py)
OFFERED = {"notebook", "errors"}


def stated_order(text: str) -> list[str]:
    """Packages and single modules from the first column of the table, first to last."""
    table = text[text.index("| package |") :].split("\n\n")[0]
    cells = [line.split("|")[1] for line in table.splitlines()[2:]]
    return [name.removesuffix(".py").rstrip("/") for cell in cells for name in re.findall(r"`([^`]+)`", cell)]


def statements(within: ast.AST) -> Iterator[ast.AST]:
    """Every statement, those in blocks of others too: an import is one, and looking into expressions takes twice as long."""
    for block in ("body", "handlers", "cases", "orelse", "finalbody"):
        for node in getattr(within, block, ()):
            yield node
            yield from statements(node)


def imported(path: Path, package: Path) -> Iterator[tuple[int, str]]:
    """(line, package or single module) of each import from the package, wherever in the file it stands."""
    own = (package.name, *path.relative_to(package).with_suffix("").parts)
    for node in statements(ast.parse(path.read_text(encoding="utf-8"))):
        targets: list[list[str]] = []
        if isinstance(node, ast.Import):
            targets = [alias.name.split(".") for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = [*own[: -node.level]] if node.level else []
            base += node.module.split(".") if node.module else []
            targets = [base] if len(base) > 1 else [[*base, alias.name] for alias in node.names]
        for target in targets:
            if target[0] == package.name and len(target) > 1:
                yield node.lineno, target[1]


def pointing_back(package: Path, order: list[str]) -> list[str]:
    """Every import from a later package or module of the order, as `file:line: own place imports theirs`."""
    place = {name: number for number, name in enumerate(order)}
    found = []
    for path in sorted(package.rglob("*.py")):
        own = path.relative_to(package).parts[0].removesuffix(".py")
        for line, other in imported(path, package):
            if other not in OFFERED if own == "__init__" else place[other] > place[own]:
                found.append(f"{path.relative_to(package)}:{line}: {own} imports {other}")
    return found


def test_the_table_has_every_package_once():
    on_disk = {path.stem for path in PACKAGE.glob("*.py")} - {"__init__"}
    on_disk |= {path.parent.name for path in PACKAGE.glob("*/__init__.py")}
    assert sorted(stated_order((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"))) == sorted(on_disk)


def test_no_import_points_back():
    order = stated_order((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"))
    assert pointing_back(PACKAGE, order) == []


def test_an_import_that_points_back_is_found_wherever_it_stands(tmp_path):
    package = tmp_path / "pipeline"
    for name in ("first", "second"):
        (package / name).mkdir(parents=True)
    (package / "second" / "b.py").write_text("from pipeline.first import a\nfrom pipeline import words\n")
    (package / "first" / "a.py").write_text(
        "from typing import TYPE_CHECKING\n"
        "if TYPE_CHECKING:\n    from pipeline.second.b import x\n"
        "def f():\n    from pipeline import second\n    import pipeline.second.b\n    from ..second import b\n"
    )
    (package / "words.py").write_text("from .first import a\n")
    assert pointing_back(package, ["words", "first", "second"]) == [
        "first/a.py:3: first imports second",
        "first/a.py:5: first imports second",
        "first/a.py:6: first imports second",
        "first/a.py:7: first imports second",
        "words.py:1: words imports first",
    ]
