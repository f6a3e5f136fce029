"""Where the files stand that results name as their inputs.

A stamp names what was read in short (`stops`, `m4-a/drift.json`, `rigs`): which file that is follows from the level of the
stamped file. What a user gave stands in the archive and in the workspace, which a results folder knows by the lists of
the files that its run saw (`.seen`) and by a config beside it.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pipeline.archive.card import load_card
from pipeline.delta.fingerprints import loaded
from pipeline.errors import InputError
from pipeline.inputs import seen
from pipeline.inputs.model import load
from pipeline.results.extracts import FOLDER
from pipeline.results.left_over import is_left_over
from pipeline.workspace.config import CONFIGS, ConfigFile
from pipeline.workspace.run import Run, load_run

OWN = {"stops": "stops.parquet", "excluded": "excluded.parquet", "summary": "summary.json", "traces": "traces.parquet"}
OF_METHOD = ("rigs", "charts", "precision")
CLIMB = 2  # folders above the results in which their config is looked for


@dataclass(frozen=True)
class Ground:
    """What results stand on. run: the workspace where its config is known; archives: folder of each test's files."""

    results: Path
    run: Run | None = None
    archives: dict[str, Path] = field(default_factory=dict)

    def of_test(self, test: str) -> Path | None:
        """The test's folder in the archive; None where nobody says where it is."""
        if self.run is not None:
            return Path(self.run.folder(test))
        return self.archives.get(test)

    def place(self, stamped: Path, name: str) -> Path | None:
        """The file that the stamp of a results file names; None where nothing says where it is."""
        parts = stamped.relative_to(self.results).parts
        if parts[0] == "channels":
            return self._of_archive(stamped.stem, name)
        method = self.results / parts[0]
        if parts[1] == "tests":
            return self._of_test(method, parts[2], name)
        return self._of_many(method, stamped, name)

    def _of_archive(self, test: str, name: str) -> Path | None:
        folder = self.of_test(test)
        return folder / name if folder is not None else None

    def _of_test(self, method: Path, test: str, name: str) -> Path | None:
        if name in OWN:
            return method / "tests" / test / OWN[name]
        if name == "channels":
            return self.results / "channels" / f"{test}.parquet"
        if name == "card":
            return self._of_archive(test, "test.yaml")
        if name == "wear":
            wear = self._wear(test)
            return None if wear is None else self._of_archive(test, wear)
        if name == "repeatability":
            return _only(method.glob("compounds/*/repeatability.json"), test)
        if name == "rig" and self.run is not None:
            rig = (
                self.run.workspace.rigs.get(self.run.found.on_rigs[test][0]) if test in self.run.found.on_rigs else None
            )
            return rig
        return None

    def _wear(self, test: str) -> str | None:
        folder = self.of_test(test)
        try:
            return load_card(folder).wear if folder is not None else None
        except InputError:
            return None

    def _of_many(self, method: Path, stamped: Path, name: str) -> Path | None:
        if name in OF_METHOD and stamped.parent.parent.name == "compounds":
            return stamped.parent / FOLDER / f"{name}.json"
        if name.removesuffix(".json") in OF_METHOD:
            return method / f"{name.removesuffix('.json')}.json"
        first, _, rest = name.partition("/")
        if rest and first in ("tests", "compounds", "archive"):  # as a sheet cites them
            return self._of_archive(*rest.split("/", 1)) if first == "archive" else method / name
        read = (
            self.results / "channels" / f"{first}.json"
        ).is_file()  # a test's, also where the folder of its results is gone
        if (read or (method / "tests" / first).is_dir()) and first not in ("duties", "targets", "sheets", "facts"):
            return method / "tests" / first / (rest or "stops.parquet")
        return self._of_workspace(stamped, first, rest or name)

    def _of_workspace(self, stamped: Path, kind: str, name: str) -> Path | None:
        """Targets, duties, rigs, facts and title blocks, which the config names."""
        if self.run is None:
            return None
        space = self.run.workspace
        if kind == "target":  # a compound's stage has one and calls it so
            compound = next((name for name, slug in self.run.slug_of if slug == stamped.parent.name), "")
            return space.targets.get(compound)
        of_kind = {
            "targets": space.targets.values(),
            "sheets": space.sheets.values(),
            "duties": space.duties,
            "facts": [space.facts] if space.facts is not None else [],
        }
        return next((path for path in of_kind.get(kind, space.rigs.values()) if path.name == name), None)


def _only(paths: Iterable[Path], test: str) -> Path | None:
    """The repeatability of the compound that has the test."""
    return next((path for path in paths if test in digests(mapping(loaded(path).get("stamp")).get("inputs"))), None)


def ground(results: Path, config: Path | None = None) -> Ground:
    """What a results folder stands on. Raises InputError where it is none, or where the config is of other results."""
    results = results.resolve()
    if not (results / "channels").is_dir():
        held = [path.name for path in methods_in(results)] if results.is_dir() else []
        if held:
            raise InputError(
                f"{results}: holds results of {', '.join(held)}, but `channels`, which they were made from, is gone; run again to have it"
            )
        raise InputError(f"{results}: holds no results of a run; name the results folder, which holds `channels`")
    found = config or _config_of(results)
    if found is None:
        return Ground(results, None, _archives(results))
    load_run.cache_clear()  # as it is now, not as this process may have read it before
    run = load_run(found)
    if Path(run.results) != results:
        raise InputError(f"{found}: its results are {run.results}, not {results}; name the config of these results")
    return Ground(results, run, _archives(results))


def _config_of(results: Path) -> Path | None:
    """A config above the results that names them as its own."""
    for folder in list(results.parents)[:CLIMB]:
        for name in CONFIGS:
            path = folder / name
            try:
                if path.is_file() and (folder / load(path, ConfigFile).results).resolve() == results:
                    return path
            except InputError:
                continue
    return None


def _archives(results: Path) -> dict[str, Path]:
    """Folder of each test's files as the run saw them."""
    found = {}
    for path in sorted((results / ".seen").glob("*.json")):
        try:
            found[path.stem] = Path(json.loads(path.read_text(encoding="utf-8"))["folder"])
        except (OSError, ValueError, KeyError, TypeError):
            continue
    return found


def tests_in(results: Path) -> list[str]:
    """Every test whose recordings were read."""
    return sorted(path.stem for path in (results / "channels").glob("*.json") if not path.name.endswith(".fault.json"))


def methods_in(results: Path) -> list[Path]:
    """Folders of the methods."""
    return [
        path
        for path in sorted(results.iterdir())
        if path.is_dir() and ((path / "tests").is_dir() or (path / "compounds").is_dir()) and not is_left_over(path)
    ]


def mapping(value: Any) -> dict[str, Any]:
    """A part of a file that should be a table of keys; none where it is something else."""
    return value if isinstance(value, dict) else {}


def listing(value: Any) -> list[dict[str, Any]]:
    """The tables of keys in a list of a file; none where it is something else."""
    return [one for one in value if isinstance(one, dict)] if isinstance(value, list) else []


def digests(value: Any) -> dict[str, str]:
    """Digests by name, of a stamp or a record; what is no text is left out."""
    return {name: was for name, was in mapping(value).items() if isinstance(was, str) and name}


def listed(folder: Path) -> dict[str, str]:
    """Digest of every file below a test's folder, all read anew."""
    return {name: file.digest for name, file in seen.look(folder).items()}
