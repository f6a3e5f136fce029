"""What the user gave of each test and compound, and each stage's settings, as strings that change where it does."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from functools import cached_property
from pathlib import Path

from pipeline.inputs import seen
from pipeline.method import settings_of, settings_of_two
from pipeline.workspace.calibrated import Calibrated
from pipeline.workspace.named import Named


class Given(Named):
    """Paths of what was given, and digests of its content; of the archive as it is looked at once."""

    def fingerprint(self, test: str) -> str:
        return self._fingerprints(test)[0]

    def wear_fingerprint(self, test: str) -> str:
        return self._fingerprints(test)[1]

    def _fingerprints(self, test: str) -> tuple[str, str]:
        """Of all files of a test but its wear readings, and of these."""
        if test not in self._marks:
            files, wear = self._seen(test), self.wear(test)
            self._marks[test] = seen.fingerprint(files, besides=wear), seen.fingerprint(files, only=wear or "")
        return self._marks[test]

    @cached_property
    def _marks(self) -> dict[str, tuple[str, str]]:
        return {}

    @property
    def lists(self) -> Path:
        """Folder of the lists of every test's files as the run saw them."""
        return Path(self.results) / ".seen"

    def _seen(self, test: str) -> dict[str, seen.File]:
        if test not in self._looks:
            place, folder = self.lists / f"{test}.json", self.archive / test
            known = seen.read(place, folder)
            self._looks[test] = known if self.seen_before else seen.look(folder, known)
            if self._looks[test] != known:
                seen.write(place, folder, self._looks[test])
        return self._looks[test]

    @cached_property
    def _looks(self) -> dict[str, dict[str, seen.File]]:
        return {}

    def settings(self, method: str, stage: str) -> str:
        """The settings of a stage and their revisions, as one string."""
        return settings_of(dict(self.read_methods)[method], stage)

    def settings_of_two(self, a: str, b: str, stage: str) -> str:
        """The settings of a stage that sees two methods, as one string."""
        methods = dict(self.read_methods)
        return settings_of_two((methods[a], methods[b]), stage)

    @property
    def facts(self) -> str:
        return str(self.workspace.facts or "")

    @property
    def facts_digest(self) -> str:
        return _digest([self.facts])

    def title_block(self, slug: str) -> str:
        """File of what stands in the title block of a compound's sheet; else empty."""
        return str(self.workspace.sheets.get(self.name_of(slug), ""))

    def title_block_digest(self, slug: str) -> str:
        return _digest([self.title_block(slug)])

    def target(self, test: str) -> str:
        return self._target(self.found.tests[test])

    def target_digest(self, test: str) -> str:
        return _digest([self.target(test)])

    def compound_target(self, compound: str) -> str:
        return self._target(self.name_of(compound))

    def compound_files_digest(self, compound: str) -> str:
        return _digest([self.compound_target(compound), *self.duties], *self._log_digests)

    @cached_property
    def _log_digests(self) -> list[str]:
        """Of the logs that duties are cut from, which may be large: once a run."""
        return [seen.of_file(path) for path in self.workspace.logs]

    @property
    def duties(self) -> list[str]:
        return list(map(str, self.workspace.duties))

    @property
    def rigs(self) -> list[str]:
        return list(map(str, self.workspace.rigs.values()))

    @property
    def rigs_digest(self) -> str:
        return _digest(self.rigs)

    def rig(self, method: str, test: str) -> str:
        """File of the test's rig where that holds calibrations for it and the method applies them; else empty."""
        path = self.workspace.rigs.get(self.found.on_rigs[test][0])
        return str(path) if path and self.calibrations(method, test) else ""

    def uncorrected(self, method: str, test: str) -> str:
        """Why the file of the test's rig is left out where the method would apply its calibrations; else empty."""
        wanted = dict(self.read_methods)[method].conditioning.calibrations
        return self.workspace.refused_rigs.get(self.found.on_rigs[test][0], "") if wanted else ""

    def calibrations(self, method: str, test: str) -> str:
        """The calibrations of its rig in effect for a test, in canonical words; empty for none, or where the method
        applies none. Notes and other events of the rig's file are no part of it.
        """
        if not dict(self.read_methods)[method].conditioning.calibrations:
            return ""
        refused = self.uncorrected(method, test)
        return f"none: {refused}" if refused else self._calibrated.words(*self.found.on_rigs[test])

    @cached_property
    def _calibrated(self) -> Calibrated:
        return Calibrated(self.workspace.rigs)

    @property
    def left_out_digest(self) -> str:
        text = repr((self.workspace.left_out, self.found.skipped, self.slug_of))
        return hashlib.sha256(text.encode("utf-8", "backslashreplace")).hexdigest()[:16]

    def _target(self, compound: str | None) -> str:
        return str(self.workspace.targets.get(compound or "", ""))


def _digest(paths: Iterable[str], *more: str) -> str:
    """Of the content of the files, and of more texts; an empty path is none."""
    state = hashlib.sha256()
    for path in filter(None, paths):
        state.update(Path(path).read_bytes())
    for text in more:
        state.update(text.encode())
    return state.hexdigest()[:16]
