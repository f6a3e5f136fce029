"""The stages of a run as data: what each is called with, which sections of the method it reads, what it writes.

Everything that has to agree on a stage follows from this table: its sub-command (`pipeline.cli.stages`), the files that
carry its faults (`pipeline.cli.guard`), the settings that its rule hands over (`pipeline.method.settings_of`), and its
rule's outputs and shell line (Snakefile). Light on purpose: it is imported at the start of every stage.

A stage is run again when a setting of its sections changes, or a revision: those of its sections, and of the sections
whose code it calls without their settings (`code`).
"""

from __future__ import annotations

from pipeline.stage_row import Option, Part, Stage

#: sections of the method, in the order of the data's way
SECTIONS = ("conditioning", "segmentation", "reduction", "friction", "wear", "drift", "batches", "duty")

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
RIGS = Option("rigs", "{input.rigs:q}", about="rigs.json of the method, or what is cut out of it")
CHARTS = Option("charts", "{input.charts:q}", about="charts.json of the method, or what is cut out of it")
PRECISION = Option("precision", "{input.precision:q}", about="precision.json of the method, or what is cut out of it")
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
        "extracts",
        "what each test and compound takes of rigs, charts and precision",
        "method",
        "extracts",
        (ARCHIVE, RESULTS, RIGS, CHARTS, PRECISION, INTO),
        (Part("pipeline.laboratory.extracts_stage:run", ("extracts.json",), carries=False),),
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
        (TEST, METHOD, RECORD, SETTINGS, INTO),
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
            Option("rigs", "{input.rigs:q}", many=True, about="what is cut out of rigs.json for either compound"),
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
