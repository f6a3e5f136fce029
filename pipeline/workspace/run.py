"""What a run is made of, for the Snakefile: tests, compounds, methods, files, and each rule's settings as strings.

Light on purpose (no polars, no scipy): it is imported at every start of Snakemake and by each of its jobs' parents
only.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable
from dataclasses import replace
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

from pipeline.archive.scan import refuse_empty, refused_id, scan, slugs
from pipeline.errors import Complaint, InputError
from pipeline.inputs.yaml_text import line_of, text_of
from pipeline.method import load_method
from pipeline.results import write_text
from pipeline.results.extracts import FOLDER
from pipeline.results.fault import Fault
from pipeline.workspace.carried import Carried, place_of
from pipeline.workspace.config import Workspace, load_workspace, refused_method
from pipeline.workspace.given import Given
from pipeline.workspace.kept_forms import forms
from pipeline.workspace.lost import Lost


class Run(Given):
    """A run's files below the results, by their paths as the workflow sees them: what tells the engine what was given (each renewed only
    where that changes), and the results that its rules wait for.
    """

    @cached_property
    def prefix(self) -> str:
        """What stands before a path below the results in the workflow's files; relative where the results' path
        forbids more.

        Snakemake takes `{x}` and `<x>` in any path for its own, and there is no way to write them otherwise. Where the
        results stand below such a name, they are reached from the working directory: directly, or by a link in it.
        """
        if not re.search(r"[{}<>]", self.results):
            return f"{self.results}/"
        if Path.cwd() == Path(self.results):
            return ""
        link = Path(f".results-{hashlib.sha256(self.results.encode('utf-8', 'surrogateescape')).hexdigest()[:16]}")
        if not link.is_symlink():
            link.symlink_to(self.results)
        return f"{link}/"

    def settings_file(self, method: str, stage: str) -> str:
        """A file with the same string, renewed only when that changes: Snakemake forgets params with its working
        directory.
        """
        return self._renewed(Path(method) / ".settings" / f"{stage}.json", self.settings(method, stage))

    def settings_file_of_two(self, a: str, b: str, stage: str) -> str:
        place = Path("deltas") / f"{a}--{b}" / ".settings" / f"{stage}.json"
        return self._renewed(place, self.settings_of_two(a, b, stage))

    def form_file(self, stage: str) -> str:
        """A file with the form of what a stage writes: results of another form are written anew."""
        return self._given("form", stage, self._forms[stage])

    @cached_property
    def _forms(self) -> dict[str, str]:
        return forms(Path(self.results))

    def fingerprint_file(self, test: str) -> str:
        return self._given("recordings", test, f"{self.ingest_revision} {self.fingerprint(test)}")

    def wear_fingerprint_file(self, test: str) -> str:
        return self._given("wear", test, self.wear_fingerprint(test))

    def target_file(self, test: str) -> str:
        return self._given("target", test, self.target_digest(test))

    def compound_file(self, slug: str) -> str:
        return self._given("compound", slug, self.compound_files_digest(slug))

    def members_file(self, slug: str) -> str:
        """Which tests a compound has."""
        return self._given("members", slug, "\n".join([self.name_of(slug), *self.tests_of(slug)]))

    def tests_file(self) -> str:
        """Which tests the archive has, and of which compound each is."""
        return self._given(
            "archive", "tests", "\n".join(f"{test} {compound}" for test, compound in self.found.tests.items())
        )

    def rigs_file(self) -> str:
        return self._given("archive", "rigs", self.rigs_digest)

    def left_out_file(self) -> str:
        return self._given("archive", "left_out", self.left_out_digest)

    def _given(self, kind: str, name: str, text: str) -> str:
        """A file with the digest of what the user gave: that file is the rule's input, and not what was given, whose
        dates come from another clock and may lie in the future."""
        return self._renewed(Path(".given") / kind / name, text)

    def again(self, stage: str, wildcards: Any) -> list[str]:
        """An input that is new where the stage's results carry a fault that is due for another try; none before its
        first.
        """
        folder, subject = place_of(wildcards)
        due = [] if self.seen_before else self._carried.due(stage, folder, subject)
        return self._new_at(Path(folder) / ".again" / f"{subject}.{stage}", due)

    def lost(self, stage: str, wildcards: Any) -> list[str]:
        """The same where a file is lost that the stage's results rest on."""
        folder, subject = place_of(wildcards)
        lost = [] if self.seen_before else self._lost.of(stage, dict(wildcards.items()))
        return self._new_at(Path(folder) / ".lost" / f"{subject}.{stage}", lost)

    def extract(self, wildcards: Any, name: str) -> str:
        """What is cut out of the file of that name for the test or compound."""
        named = dict(wildcards.items())
        kind, one = next(
            (kind, named[key]) for kind, key in (("tests", "test"), ("compounds", "compound")) if key in named
        )
        return self.extract_of(named["method"], kind, one, name)

    def extract_of(self, method: str, kind: str, one: str, name: str) -> str:
        """The same of a test or compound by name. Where there is none yet, a file without a byte holds its place: the engine
        wants every input to be there when it plans, and the stage that cuts them out writes it before anything reads it.
        """
        path = Path(method) / kind / one / FOLDER / name
        place = Path(self.results) / path
        if not self.seen_before and not place.exists():
            write_text(place, "")
        return f"{self.prefix}{path}"

    def _new_at(self, place: Path, lines: list[str]) -> list[str]:
        if lines:
            return [self._renewed(place, "\n".join(lines))]
        return [f"{self.prefix}{place}"] if (Path(self.results) / place).is_file() else []

    def faults(self) -> list[Fault]:
        """All faults that the results of this run carry."""
        tests = [f"{m}/tests/{test}" for m in self.methods for test in self.tests]
        compounds = [f"{m}/compounds/{slug}" for m in self.methods for slug in self.compounds]
        deltas = [f"deltas/{a}--{b}" for a, b in self.compare]
        pairs = [f"{m}/comparisons/{a}--{b}" for m in self.methods for a, b in self.compared]
        rigs = [f"{m}/rigs" for m in self.methods]
        read = [fault for fault in self._carried.within("channels") if fault.subject in self.tests]
        folders = [*self.methods, *rigs, *tests, *compounds, *deltas, *pairs]
        return [*read, *(fault for folder in folders for fault in self._carried.within(folder))]

    @cached_property
    def _carried(self) -> Carried:
        return Carried(Path(self.results))

    @cached_property
    def _lost(self) -> Lost:
        return Lost(Path(self.results))

    def _renewed(self, path: Path, text: str) -> str:
        if self._kept.get(path) != text:
            place = Path(self.results) / path
            if not self.seen_before and (not place.is_file() or place.read_text(encoding="utf-8") != text):
                write_text(place, text)
            self._kept[path] = text
        return f"{self.prefix}{path}"

    @cached_property
    def _kept(self) -> dict[Path, str]:
        """Files that hold what is asked of them, as many jobs ask for the same."""
        return {}

    def of_method(self, method: str, *names: str) -> list[str]:
        """Results of all tests that are planned: those of the others are older than what was made of them."""
        return [f"{self.prefix}{method}/tests/{test}/{name}" for test in self.planned_tests for name in names]

    def of_compound(self, wildcards: Any, *names: str) -> list[str]:
        tests = self.tests_of(wildcards.compound)
        return [f"{self.prefix}{wildcards.method}/tests/{test}/{name}" for test in tests for name in names]

    def of_compounds(self, method: str, *slugs: str) -> list[str]:
        """Results of these compounds and of their tests."""
        names = ("stops.parquet", "traces.parquet", "summary.json", "friction.json", "wear.json", "drift.json")
        own = ("friction.json", "wear.json", "batches.json", "duty.json")
        tests = [f"{self.prefix}{method}/tests/{t}/{n}" for slug in slugs for t in self.tests_of(slug) for n in names]
        return [*tests, *(f"{self.compound_folder(method, slug)}/{name}" for slug in slugs for name in own)]

    def compound_folder(self, method: str, slug: str) -> str:
        return f"{self.prefix}{method}/compounds/{slug}"

    def facts_file(self) -> str:
        return self._given("archive", "facts", self.facts_digest)

    def title_block_file(self, slug: str) -> str:
        return self._given("title_block", slug, self.title_block_digest(slug))

    def repeatability(self, wildcards: Any) -> list[str]:
        return self.repeatability_of(wildcards.method, wildcards.test)

    def repeatability_of(self, method: str, test: str) -> list[str]:
        slug = self._slug_of_test(test)
        return [f"{self.prefix}{method}/compounds/{slug}/repeatability.json"] if slug else []

    def calibrations_file(self, method: str, test: str) -> str:
        return self._given("calibrations", f"{method}/{test}", self.calibrations(method, test))


def _with_unknown(workspace: Workspace, compounds: Iterable[str]) -> Workspace:
    """The workspace with a line for each comparison of a compound that no card names."""
    known, name = sorted(set(compounds)), workspace.path.name
    wanted = dict.fromkeys(one for pair in workspace.compare_compounds for one in pair)
    unknown = [one for one in wanted if one not in known]
    if not unknown:
        return workspace
    line = line_of(text_of(workspace.path), ("compare_compounds",))
    these = f"these are: {', '.join(known[:6]) or 'none'}"
    said = [
        Complaint(name, f"no test card names {one!r}", these, "correct the name", line, "compare_compounds")
        for one in unknown
    ]
    complaints = workspace.complaints | {str(one): (one,) for one in said}
    return replace(
        workspace, left_out=(*workspace.left_out, *((name, str(one)) for one in said)), complaints=complaints
    )


@lru_cache(maxsize=4)
def load_run(config: Path) -> Run:
    """Read config, methods and archive. Raises InputError in one line for a bad config or method."""
    workspace = load_workspace(config)
    methods = []
    for name, path in workspace.methods.items():
        why = refused_id(name) or refused_method(name)
        if why:
            raise InputError(f"methods: the name of {path.name!r} {why}")
        methods.append((name, load_method(path)))
    found = scan(workspace.archive, workspace.results)
    refuse_empty(found, workspace.archive)
    workspace = _with_unknown(workspace, found.compounds)
    return Run(workspace, found, tuple(methods), tuple(slugs(found.compounds).items()))
