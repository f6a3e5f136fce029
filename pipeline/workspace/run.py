"""What a run is made of, for the Snakefile: tests, compounds, methods, files, and each rule's settings as strings.

Light on purpose (no polars, no scipy): it is imported at every start of Snakemake and by each of its jobs' parents
only.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

from pipeline.archive.scan import Scan, refuse_empty, refused_id, scan, slugs
from pipeline.errors import Complaint, InputError
from pipeline.inputs import seen
from pipeline.inputs.yaml_text import line_of, text_of
from pipeline.method import Method, channels, load_method, settings_of, settings_of_two
from pipeline.results import write_text
from pipeline.results.extracts import FOLDER
from pipeline.results.fault import Fault
from pipeline.workspace.calibrated import Calibrated
from pipeline.workspace.carried import Carried, place_of
from pipeline.workspace.config import Workspace, load_workspace, refused_method
from pipeline.workspace.kept_forms import forms
from pipeline.workspace.lost import Lost
from pipeline.workspace.planned import Part


@dataclass(frozen=True)
class Run:
    """A workspace with its archive scanned and its methods read.

    part: what is to be planned, else all; seen_before: what the run that this is a part of saw and left among the results holds; nothing is looked at or left anew.
    """

    workspace: Workspace
    found: Scan
    read_methods: tuple[tuple[str, Method], ...]
    slug_of: tuple[tuple[str, str], ...]  # (compound, folder name)
    ingest_revision: int = channels.REVISION
    seen_before: bool = False
    part: Part | None = None

    def of_part(self, part: Part | None) -> Run:
        """The same where nothing is to be planned but a part of the archive (None: all): all else is known to be up to date."""
        return replace(self, part=part)

    @property
    def planned_tests(self) -> list[str]:
        return [test for test in self.tests if self.part is None or test in self.part.tests]

    @property
    def planned_compounds(self) -> list[str]:
        return [slug for slug in self.compounds if self.part is None or slug in self.part.compounds]

    @property
    def planned_pairs(self) -> list[tuple[str, str]]:
        """Those of the compared pairs of which one compound is planned."""
        return [pair for pair in self.compared if self.part is None or not self.part.compounds.isdisjoint(pair)]

    def as_seen(self) -> Run:
        """The same for a job on another machine: an edit meanwhile must not get into a run half way."""
        return replace(self, seen_before=True)

    @property
    def config(self) -> Path:
        return self.workspace.path

    @property
    def archive(self) -> Path:
        return self.workspace.archive

    @property
    def results(self) -> str:
        return str(self.workspace.results.resolve())

    @property
    def methods(self) -> list[str]:
        return list(self.workspace.methods)

    @property
    def compare(self) -> tuple[tuple[str, str], ...]:
        return self.workspace.compare

    @property
    def compared(self) -> list[tuple[str, str]]:
        """Folder names of the pairs of compounds to be compared that test cards name."""
        known = dict(self.slug_of)
        return [(known[a], known[b]) for a, b in self.workspace.compare_compounds if a in known and b in known]

    def compared_with(self, slug: str) -> list[str]:
        """Folder names of the comparisons of a compound."""
        return [f"{a}--{b}" for a, b in self.compared if slug in (a, b)]

    @property
    def tests(self) -> list[str]:
        return list(self.found.tests)

    @property
    def compounds(self) -> list[str]:
        """Folder names of the compounds."""
        return [slug for _, slug in self.slug_of]

    @property
    def rig_pages(self) -> list[str]:
        """Names of the rigs' pages."""
        return list(self.found.rig_pages.values())

    @staticmethod
    def patterns(names: Iterable[str]) -> list[str]:
        """Regular expressions that match the names and nothing else (never empty: an empty one would match all)."""
        return [re.escape(name) for name in names] or ["(?!)"]

    def folder(self, test: str) -> str:
        return str(self.archive / test)

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

    def wear(self, test: str) -> str | None:
        """The test's wear file relative to its folder."""
        name = self.found.wear.get(test)
        return Path(name).as_posix() if name else None

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
        return [f"{self.prefix}{method}/tests/{test}/{name}" for test in self.tests for name in names]

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

    @property
    def facts(self) -> str:
        return str(self.workspace.facts or "")

    @property
    def facts_digest(self) -> str:
        return _digest([self.facts])

    def facts_file(self) -> str:
        return self._given("archive", "facts", self.facts_digest)

    def title_block(self, slug: str) -> str:
        """File of what stands in the title block of a compound's sheet; else empty."""
        return str(self.workspace.sheets.get(self.name_of(slug), ""))

    def title_block_digest(self, slug: str) -> str:
        return _digest([self.title_block(slug)])

    def title_block_file(self, slug: str) -> str:
        return self._given("title_block", slug, self.title_block_digest(slug))

    def repeatability(self, wildcards: Any) -> list[str]:
        return self.repeatability_of(wildcards.method, wildcards.test)

    def repeatability_of(self, method: str, test: str) -> list[str]:
        slug = self._slug_of_test(test)
        return [f"{self.prefix}{method}/compounds/{slug}/repeatability.json"] if slug else []

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

    def calibrations_file(self, method: str, test: str) -> str:
        return self._given("calibrations", f"{method}/{test}", self.calibrations(method, test))

    @property
    def left_out_digest(self) -> str:
        text = repr((self.workspace.left_out, self.found.skipped, self.slug_of))
        return hashlib.sha256(text.encode("utf-8", "backslashreplace")).hexdigest()[:16]

    def renamed(self, test: str) -> str:
        """The compound's folder name where it had to be changed to keep it apart from another; else empty."""
        compound = self.found.tests[test]
        if compound is None:
            return ""
        slug = dict(self.slug_of)[compound]
        alone = slugs([compound])[compound]
        return "" if slug == alone and slug != "unnamed" else slug

    def name_of(self, slug: str) -> str:
        return {s: name for name, s in self.slug_of}[slug]

    def tests_of(self, slug: str) -> list[str]:
        name = self.name_of(slug)
        return [test for test, compound in self.found.tests.items() if compound == name]

    def _slug_of_test(self, test: str) -> str | None:
        compound = self.found.tests[test]
        return None if compound is None else dict(self.slug_of)[compound]

    def _target(self, compound: str | None) -> str:
        return str(self.workspace.targets.get(compound or "", ""))


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


def _digest(paths: Iterable[str], *more: str) -> str:
    """Of the content of the files, and of more texts; an empty path is none."""
    state = hashlib.sha256()
    for path in filter(None, paths):
        state.update(Path(path).read_bytes())
    for text in more:
        state.update(text.encode())
    return state.hexdigest()[:16]


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
    found = scan(workspace.archive)
    refuse_empty(found, workspace.archive)
    workspace = _with_unknown(workspace, found.compounds)
    return Run(workspace, found, tuple(methods), tuple(slugs(found.compounds).items()))
