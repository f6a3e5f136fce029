"""The stages of a run as data: what each is called with, which sections of the method it reads, what it writes.

Everything that has to agree on a stage follows from this table: its sub-command (`pipeline.cli.stages`), the files that
carry its faults (`pipeline.cli.guard`), the settings that its rule hands over (`pipeline.method.settings_of`), and its
rule's outputs and shell line (Snakefile). Light on purpose: it is imported at the start of every stage.

A stage is run again when a setting of its sections changes, or a revision: those of its sections, and of the sections
whose code it calls without their settings (`code`).
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Literal

Level = Literal["recordings", "test", "compound", "rig", "method", "comparison", "pair"]

#: folder of a level's results below the results
FOLDERS: dict[Level, str] = {
    "recordings": "channels",
    "test": "{method}/tests/{test}",
    "compound": "{method}/compounds/{compound}",
    "rig": "{method}/rigs",
    "method": "{method}",
    "comparison": "deltas/{a}--{b}",
    "pair": "{method}/comparisons/{one}--{other}",
}
#: sections of the method, in the order of the data's way
SECTIONS = ("conditioning", "segmentation", "reduction", "friction", "wear", "drift", "batches", "duty")


@dataclass(frozen=True)
class Option:
    """An option of a sub-command. `value` is where the stage's rule has it, in Snakemake's words.

    An empty value stands for none: None, or an empty list where the option takes many.
    """

    flag: str
    value: str
    path: bool = True
    many: bool = False
    required: bool = True
    about: str | None = None
    named: str = ""  # argument of the stage's call, where it is not the flag

    @property
    def argument(self) -> str:
        return self.named or self.flag

    @property
    def shell(self) -> str:
        """One value is joined to its flag, as it may look like a flag itself."""
        return f"--{self.flag} {self.value}" if self.many else f"--{self.flag}={self.value}"


@dataclass(frozen=True)
class Part:
    """A call with the files that it writes; where it fails, these carry the fault and the stage's other parts go on."""

    call: str  # module:function
    outputs: tuple[str, ...]
    takes: tuple[str, ...] | None = None  # arguments, where it takes not all of the stage's
    carries: bool = True  # whether its files can carry a fault: nobody could read a list of tests that says it is none
    subject: str = ""  # in what is said of a fault, where it is not the stage's


@dataclass(frozen=True)
class Stage:
    """A rule of the Snakefile and its sub-command."""

    name: str
    about: str
    level: Level
    subject: str  # whom it works on, from the arguments: first in every message
    options: tuple[Option, ...]
    parts: tuple[Part, ...]
    settings: tuple[str, ...] = ()
    code: tuple[str, ...] = ()
    once: str = ""  # call whose result is handed to every part, together with the part's one file

    @property
    def asks(self) -> bool:
        """Whether the method decides anything in it, be it only by a revision."""
        return "settings" in (option.flag for option in self.options)

    @property
    def outputs(self) -> tuple[str, ...]:
        return tuple(name for part in self.parts for name in part.outputs)

    @property
    def files(self) -> dict[str, str]:
        """Files of the results by a short name: the stem, or the ending where several share the stem or it is a
        wildcard, both where several share that too.
        """
        paths = [PurePosixPath(FOLDERS[self.level], name) for name in self.outputs]
        own = [path.stem for path in paths]
        for longer in ([path.suffix[1:] for path in paths], [path.name.replace(".", "_") for path in paths]):
            known = Counter(own)
            fits = [known[name] == 1 and name.isidentifier() for name in own]
            own = [name if fit else other for name, fit, other in zip(own, fits, longer, strict=True)]
        return {name: str(path) for name, path in zip(own, paths, strict=True)}

    @property
    def shell(self) -> str:
        """The sub-command with its options, for Snakemake to fill in."""
        given = " --given={input.given:q}" if self.asks else ""
        return " ".join([self.name, *(option.shell for option in self.options)]) + given


#: figures that a sheet can have
FIGURES = ("overview", "friction", "conditions", "checks", "batches", "facts", "wear", "wear_law", "duty", "film")

TEST = Option("test", "{params.folder:q}", named="folder", about="folder of the test in the archive")
COMPOUND = Option("compound", "{params.compound:q}", path=False)
TESTS = Option("tests", "{params.tests:q}", path=False, many=True, required=False, about="of the compound")
ARCHIVE = Option("archive", "{RUN.archive:q}")
CONFIG = Option("config", "{RUN.config:q}")
RESULTS = Option("results", "{RUN.results:q}/{wildcards.method:q}", about="folder of the method's results")
METHOD = Option("method", "{wildcards.method:q}", path=False)
RECORD = Option("record", "{input.record:q}", about="what was read of the test's recordings")
RIGS = Option("rigs", "{input.rigs:q}", about="rigs.json of the method")
CHARTS = Option("charts", "{input.charts:q}", about="charts.json of the method")
PRECISION = Option("precision", "{input.precision:q}", about="precision.json of the method")
TARGET = Option("target", "{params.target:q}", required=False)
FACTS = Option("facts", "{params.facts:q}", required=False, about="table of facts of the batches")
TITLE_BLOCK = Option(
    "title-block",
    "{params.title_block:q}",
    required=False,
    about="file of the sheet's title block",
    named="title_block",
)
SETTINGS = Option("settings", "{params.settings:q}", path=False, about="canonical JSON of the stage's settings")
INTO = Option("into", "{params.into:q}", about="folder of the stage's results")

_ALL = (
    Stage(
        "channels",
        "raw recordings -> canonical channels",
        "recordings",
        "{test}",
        (
            TEST,
            Option(
                "fingerprint", "{params.fingerprint:q}", path=False, about="of the test's files as the run saw them"
            ),
            Option(
                "wear",
                "{params.wear:q}",
                path=False,
                required=False,
                about="the test's wear file, which this stage does not read",
            ),
            INTO,
        ),
        (Part("pipeline.cli.channels:run", ("{test}.parquet", "{test}.json")),),
    ),
    Stage(
        "stops",
        "channels -> one row per stop",
        "test",
        "{test}",
        (
            TEST,
            Option("channels", "{input.channels:q}"),
            RECORD,
            Option(
                "rig", "{params.rig:q}", required=False, about="file of the test's rig, where it holds calibrations"
            ),
            Option(
                "uncorrected",
                "{params.uncorrected:q}",
                path=False,
                required=False,
                about="why the file of the test's rig is left out",
            ),
            SETTINGS,
            INTO,
        ),
        (
            Part(
                "pipeline.stops.stage:run",
                (
                    "stops.parquet",
                    "stops.csv",
                    "traces.parquet",
                    "excluded.parquet",
                    "summary.json",
                    "stops_findings.json",
                ),
            ),
        ),
        settings=("conditioning", "segmentation", "reduction"),
    ),
    Stage(
        "friction",
        "friction map and window of one test",
        "test",
        "{test}",
        (TEST, SETTINGS, TARGET, INTO),
        (Part("pipeline.friction.stage:run", ("friction.json",)),),
        settings=("friction", "reduction"),
    ),
    Stage(
        "wear",
        "wear intervals and laws of one test",
        "test",
        "{test}",
        (TEST, SETTINGS, INTO),
        (Part("pipeline.wear.stage:run", ("wear.json", "wear_findings.json")),),
        settings=("wear", "reduction"),
    ),
    Stage(
        "repeatability",
        "pooled scatter of a compound's stops",
        "compound",
        "{compound}",
        (COMPOUND, ARCHIVE, TESTS, RESULTS, SETTINGS, INTO),
        (Part("pipeline.drift.repeatability:run", ("repeatability.json",)),),
        settings=("drift", "friction"),
    ),
    Stage(
        "drift",
        "drift of one test and its verdict",
        "test",
        "{test}",
        (TEST, SETTINGS, Option("repeatability", "{input.repeatability:q}", required=False), INTO),
        (Part("pipeline.drift.stage:run", ("drift.json",)),),
        settings=("drift", "friction"),
    ),
    Stage(
        "rigs",
        "shifts shared by all specimens of a rig",
        "method",
        "rigs",
        (
            ARCHIVE,
            RESULTS,
            Option("rigs", "{params.rigs:q}", many=True, required=False, about="rig files"),
            SETTINGS,
            INTO,
        ),
        (Part("pipeline.rigs.stage:run", ("rigs.json",)),),
        code=("batches",),
    ),
    Stage(
        "precision",
        "how well the laboratory repeats itself",
        "method",
        "precision",
        (ARCHIVE, RESULTS, RIGS, SETTINGS, INTO),
        (Part("pipeline.laboratory.precision_stage:run", ("precision.json",)),),
        code=("batches", "drift"),
    ),
    Stage(
        "charts",
        "control charts of rigs and batches",
        "method",
        "charts",
        (
            ARCHIVE,
            RESULTS,
            RIGS,
            Option("events", "{params.events:q}", many=True, required=False, about="rig files"),
            SETTINGS,
            INTO,
        ),
        (Part("pipeline.laboratory.charts_stage:run", ("charts.json",)),),
        code=("batches", "drift"),
    ),
    Stage(
        "findings",
        "findings of all stages of one test, merged",
        "test",
        "{test}",
        (
            TEST,
            METHOD,
            RECORD,
            RIGS,
            CHARTS,
            Option(
                "renamed",
                "{params.renamed:q}",
                path=False,
                required=False,
                about="folder name that the compound got to keep it apart from another",
            ),
            INTO,
        ),
        (Part("pipeline.report.per_test_findings:run", ("findings.json",)),),
    ),
    Stage(
        "test_page",
        "interactive page of one test",
        "test",
        "{test}",
        (TEST, METHOD, RECORD, RIGS, SETTINGS, INTO),
        (
            Part("pipeline.report.per_test_page:run", ("test.html",)),
            Part("pipeline.report.test_tables:run", ("tables.xlsx",), takes=("folder", "method", "record", "into")),
        ),
        settings=("conditioning", "reduction"),
    ),
    Stage(
        "compound",
        "friction, wear, batches and duty of a compound",
        "compound",
        "{compound}",
        (
            COMPOUND,
            ARCHIVE,
            TESTS,
            RESULTS,
            RIGS,
            CHARTS,
            PRECISION,
            TARGET,
            Option("duties", "{params.duties:q}", many=True, required=False),
            SETTINGS,
            INTO,
        ),
        (
            Part(
                "pipeline.compound.stage:run",
                ("friction.json", "wear.json", "batches.json", "duty.json", "targets.json"),
            ),
        ),
        settings=("reduction", "friction", "wear", "batches", "duty"),
        code=("drift",),
    ),
    Stage(
        "sheet",
        "material characterisation sheet of a compound",
        "compound",
        "{compound}",
        (
            COMPOUND,
            ARCHIVE,
            TESTS,
            RESULTS,
            METHOD,
            TARGET,
            FACTS,
            Option(
                "compared",
                "{params.compared:q}",
                path=False,
                many=True,
                required=False,
                about="folders of its comparisons with other compounds",
            ),
            TITLE_BLOCK,
            SETTINGS,
            INTO,
        ),
        (
            Part("pipeline.report.sheet:print_json", ("sheet.json",)),
            Part("pipeline.report.sheet:print_html", ("sheet.html",)),
            Part("pipeline.report.sheet:print_pdf", ("sheet.pdf",)),
            Part("pipeline.report.sheet_tables:print_tables", ("tables.xlsx",)),
            Part("pipeline.report.sheet_tables:print_schema", ("sheet.schema.json",)),
            Part(
                "pipeline.report.figure_files:print_figures",
                ("figures.json", *(f"figures/{name}.{form}" for name in FIGURES for form in ("svg", "csv"))),
            ),
        ),
        settings=SECTIONS,  # it states the digest of the whole method
        once="pipeline.report.sheet:made",
    ),
    Stage(
        "rig_page",
        "page of a rig over time",
        "rig",
        "rig {rig}",
        (
            Option("rig", "{wildcards.rig:q}", path=False, about="name of the rig's page"),
            METHOD,
            CHARTS,
            PRECISION,
            INTO,
        ),
        (Part("pipeline.report.chart_pages:rig", ("{rig}.html",)),),
    ),
    Stage(
        "compound_charts",
        "page of a compound's batches over time",
        "compound",
        "{compound}",
        (COMPOUND, METHOD, CHARTS, PRECISION, INTO),
        (Part("pipeline.report.chart_pages:compound", ("charts.html",)),),
    ),
    Stage(
        "comparison",
        "two compounds side by side",
        "pair",
        "{a} and {b}",
        (
            Option("a", "{params.a:q}", path=False, about="first compound"),
            Option("b", "{params.b:q}", path=False, about="second compound"),
            Option("a-folder", "{params.a_folder:q}", named="a_folder"),
            Option("b-folder", "{params.b_folder:q}", named="b_folder"),
            Option("a-tests", "{params.a_tests:q}", path=False, many=True, required=False, named="a_tests"),
            Option("b-tests", "{params.b_tests:q}", path=False, many=True, required=False, named="b_tests"),
            ARCHIVE,
            RESULTS,
            RIGS,
            TARGET,
            FACTS,
            SETTINGS,
            INTO,
        ),
        (
            Part("pipeline.comparison.stage:run", ("comparison.json",)),
            Part("pipeline.report.comparison_page:run", ("comparison.html",), takes=("into",)),
        ),
        settings=("reduction", "friction", "wear", "batches"),
        code=("drift", "duty"),
    ),
    Stage(
        "index",
        "index page, archive.json and method.yaml of a method",
        "method",
        "{method}",
        (CONFIG, METHOD, SETTINGS, INTO),
        (
            Part("pipeline.report.index_page:run", ("archive.json", "method.yaml"), carries=False),
            Part(
                "pipeline.report.index_page:draw",
                ("index.html",),
                takes=("config", "method", "into"),
                subject="index of {method}",
            ),
        ),
        settings=SECTIONS,  # method.yaml holds the whole method
    ),
    Stage(
        "shares",
        "what each changed setting does alone, on a sample of the tests",
        "comparison",
        "{a} to {b}",
        (
            CONFIG,
            Option("a", "{wildcards.a:q}", path=False),
            Option("b", "{wildcards.b:q}", path=False),
            TESTS,
            SETTINGS,
            INTO,
        ),
        (Part("pipeline.delta.shares_stage:run", ("shares.json", "shares.parquet")),),
        settings=("conditioning", "segmentation", "reduction", "friction", "wear", "drift"),
    ),
    Stage(
        "delta",
        "what a change of method did",
        "comparison",
        "{a} to {b}",
        (
            CONFIG,
            Option("a", "{wildcards.a:q}", path=False),
            Option("b", "{wildcards.b:q}", path=False),
            INTO,
        ),
        (
            Part("pipeline.delta.stage:run", ("delta.parquet", "delta.json")),
            Part("pipeline.report.delta_page:run", ("delta.html",), takes=("into",)),
        ),
    ),
)
STAGES = {stage.name: stage for stage in _ALL}
