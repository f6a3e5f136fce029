"""From raw recordings to sheets: one rule per stage, each a sub-command of the package.

What a rule is called with, which settings it takes and which files it writes stands in `pipeline/stages.py`; here stands
what each waits for. Its settings travel as one canonical string in `params` (its sections of the method with their revisions), the
recordings as a fingerprint: a change re-runs what it touches and nothing else. Both also stand in small files under the
results, which are inputs (`given`), so that a change is seen from any working directory. Nothing here computes.
"""

import logging
import os
import shlex
import sys
from pathlib import Path

REPO = Path(workflow.basedir)
# Code comes from the checkout or the installed packages, never from the folder the run is started or works in: neither
# -m nor an empty or relative entry of PYTHONPATH may put that on the import path of a stage.
os.environ["PYTHONSAFEPATH"] = "1"
beside = [str(REPO)] if (REPO / "pipeline").is_dir() else []
sys.path[:0] = beside
stated = os.environ.get("PYTHONPATH", "").split(os.pathsep)
os.environ["PYTHONPATH"] = os.pathsep.join([*beside, *filter(os.path.isabs, stated)])

import snakemake.persistence
from snakemake.dag import DAG
from snakemake.jobs import GroupJob
from snakemake.exceptions import WorkflowError
from snakemake.logging import logger

from pipeline.cli import starter
from pipeline.workspace import nodes, planned, reasons, sampled, telling
from pipeline.workspace.plain_params import plain_params
from pipeline.workspace.run import load_run
from pipeline.workspace.targets import cut_out, targets
from pipeline.errors import InputError
from pipeline.stages import STAGES

# The config file decides all paths; the default one is read only when none is given, so nothing of it can leak.
given = [Path(path) for path in workflow.overwrite_configfiles]
try:
    RUN = load_run(given[-1] if given else REPO / "rig_samples" / "config.yaml")
except InputError as error:
    raise WorkflowError(str(error))
if workflow.remote_exec:  # a job on a node of a cluster: the run that sent it has looked at the archive
    RUN = RUN.as_seen()

if telling.part() is not None and workflow.is_main_process:  # all else is known to be up to date
    RUN = RUN.of_part(planned.part_in(telling.part(), RUN.found))

# exec: the stage is the child of this process itself and can ask the system to end with it.
os.environ["STOPSHEET_ENGINE"] = str(os.getpid())
STARTER = starter.begun(RUN.lists) if telling.wanted() and workflow.is_main_process else None
STOPSHEET = f"exec {shlex.quote(sys.executable)} -P -m pipeline --seen={shlex.quote(str(RUN.lists))}"
P = RUN.prefix  # of paths below the results, as Snakemake may see them

# Snakemake ends a run where a name repeats a few letters often ("aaaa..."): it takes that for rules that feed themselves
# for ever. Here every wildcard is restricted to names that exist, so none can grow.
DAG.check_periodic_wildcards = lambda dag, job: None
plain_params(snakemake.persistence)
nodes.light_groups(DAG, WorkflowError)
nodes.stages_at_once()
nodes.keep_whole(GroupJob)
planned.by_members(snakemake.persistence, ("rigs", "precision", "charts", "index"), P)


class Teller(logging.Handler):
    """Tells the command that started the engine what is planned and why, and what begins and ends (`telling`)."""

    def __init__(self):
        super().__init__()
        self.planned = False

    def emit(self, record):
        try:
            for event in self.events(record, str(getattr(record, "event", None)).rpartition(".")[2].lower()):
                if isinstance(event.number, int):  # and no name, as a cluster's job of several stages has
                    os.write(2, f"{telling.line(event)}\n".encode())
        except Exception:  # an engine that words it differently: the run goes on untold
            self.handleError(record)

    def events(self, record, kind):
        if kind == "run_info" and not self.planned:
            self.planned = True
            yield from (telling.Event("planned", job=self.job(job)) for job in workflow.dag.needrun_jobs() if job.output)
            yield telling.Event("ready")
        elif kind == "job_started":
            yield from (telling.Event("begun", number) for number in record.jobs)
        elif kind == "group_info":
            yield from (telling.Event("begun", job.jobid) for job in record.jobs)
        elif kind in ("job_finished", "job_error"):
            number = record.job_id if kind == "job_finished" else record.jobid
            yield telling.Event("done" if kind == "job_finished" else "failed", number)

    def job(self, job):
        """A job with what the engine found to differ."""
        dag, kept = workflow.dag, workflow.persistence
        reason, params = dag.reason(job), kept.params_changed(job)
        before = [other.rule.name for other in dag.dependencies[job] if dag.needrun(other)]
        updated = reason.updated_input - reason.updated_input_run
        if telling.cut_already():  # what ran in the first part of this run is followed, too
            makers = {path: other.rule.name for other, paths in dag.dependencies[job].items() for path in paths}
            before += [makers[path] for path in updated if path in makers]
            updated = updated - makers.keys()
        differs = reasons.Differs(
            known=any(kept.metadata(path) for path in job.output),
            missing=[str(path) for path in reason.missing_output],
            unfinished=[str(path) for path in reason.incomplete_output],
            updated=[str(path) for path in updated],
            follows=[name for name in STAGES if name in before],
            before=getattr(params, "only_old", ()),
            now=getattr(params, "only_new", ()),
            others=bool(reason.input_changed),
        )
        return telling.job(dag.jobid(job), job.rule.name, job.wildcards_dict, differs)


if telling.wanted() and not workflow.remote_exec:
    logger.addHandler(Teller())


def files(stage):
    """What a stage writes, by its names in the table."""
    return {name: f"{P}{path}" for name, path in STAGES[stage].files.items()}


def usual(stage):
    """Input of every rule: the settings as a file, the form of its results, and what is new where a fault is due for
    another try or a file is lost that its results rest on."""
    found = {"again": lambda w: RUN.again(stage, w), "lost": lambda w: RUN.lost(stage, w), "form": lambda w: RUN.form_file(stage)}
    if STAGES[stage].asks and STAGES[stage].level == "comparison":
        found["given"] = lambda w: RUN.settings_file_of_two(w.a, w.b, stage)
    elif STAGES[stage].asks:
        found["given"] = lambda w: RUN.settings_file(w.method, stage)
    return found


def own(stage):
    """Params of every rule: the folder of its results, and its settings.

    A path or name that the user chose is given by a function everywhere: in a plain string Snakemake looks for wildcards.
    """
    found = {"into": lambda wildcards, output: os.path.dirname(output[0])}
    if STAGES[stage].asks and STAGES[stage].level == "comparison":
        found["settings"] = lambda w: RUN.settings_of_two(w.a, w.b, stage)
    elif STAGES[stage].asks:
        found["settings"] = lambda w: RUN.settings(w.method, stage)
    return found


# What is cut out of the whole archive's files tells by itself whether it changed, so the list of the cuts need not count
# where they are up to date before the rest is planned; else whatever rests on one waits for all and is made again.
CUT = f"{P}{{method}}/extracts.json"
CUT = ancient(CUT) if telling.cut_already() else CUT


def command(stage):
    return "{STOPSHEET} " + STAGES[stage].shell


wildcard_constraints:
    method="|".join(RUN.patterns(RUN.methods)),
    a="|".join(RUN.patterns(RUN.methods)),
    b="|".join(RUN.patterns(RUN.methods)),
    test="|".join(RUN.patterns(RUN.planned_tests)),
    compound="|".join(RUN.patterns(RUN.planned_compounds)),
    one="|".join(RUN.patterns(RUN.compounds)),
    other="|".join(RUN.patterns(RUN.compounds)),
    rig="|".join(RUN.patterns(RUN.rig_pages)),


rule all:
    input: lambda w: cut_out(RUN) if telling.to_be_cut() else targets(RUN, telling.only())


rule channels:
    """Raw recordings -> canonical channels in SI; independent of any method."""
    input: given=lambda w: RUN.fingerprint_file(w.test), **usual("channels")
    params:
        folder=lambda w: RUN.folder(w.test),
        fingerprint=lambda w: RUN.fingerprint(w.test),
        revision=RUN.ingest_revision,
        wear=lambda w: RUN.wear(w.test) or "",
        **own("channels"),
    output: **files("channels")
    shell: command("channels")


rule stops:
    """Channels -> one row per stop, with uncertainty and findings."""
    input:
        channels=rules.channels.output.parquet,
        record=rules.channels.output.json,
        calibrations=lambda w: RUN.calibrations_file(w.method, w.test),
        **usual("stops"),
    params:
        folder=lambda w: RUN.folder(w.test),
        rig=lambda w: RUN.rig(w.method, w.test),
        uncorrected=lambda w: RUN.uncorrected(w.method, w.test),
        calibrations=lambda w: RUN.calibrations(w.method, w.test),
        **own("stops"),
    output: **files("stops")
    shell: command("stops")


rule friction:
    """Stops -> friction map, window, sensitivities of one test."""
    input: rules.stops.output, target=lambda w: RUN.target_file(w.test), **usual("friction")
    params:
        folder=lambda w: RUN.folder(w.test),
        target=lambda w: RUN.target(w.test),
        target_digest=lambda w: RUN.target_digest(w.test),
        **own("friction"),
    output: **files("friction")
    shell: command("friction")


rule wear:
    """Wear readings and stops -> intervals, laws, rates of one test."""
    input: rules.stops.output, readings=lambda w: RUN.wear_fingerprint_file(w.test), **usual("wear")
    params:
        folder=lambda w: RUN.folder(w.test),
        readings=lambda w: RUN.wear_fingerprint(w.test),
        **own("wear"),
    output: **files("wear")
    shell: command("wear")


rule repeatability:
    """All tests of a compound -> pooled scatter and autocorrelation of the stops about their map."""
    input:
        lambda w: RUN.of_compound(w, "stops.parquet", "summary.json"),
        members=lambda w: RUN.members_file(w.compound),
        **usual("repeatability"),
    params:
        compound=lambda w: RUN.name_of(w.compound),
        tests=lambda w: RUN.tests_of(w.compound),
        **own("repeatability"),
    output: **files("repeatability")
    shell: command("repeatability")


rule drift:
    """Checks, duty and fade in time order -> change of friction and its verdict by evidence."""
    input: rules.stops.output, repeatability=lambda w: RUN.repeatability(w), **usual("drift")
    params: folder=lambda w: RUN.folder(w.test), **own("drift")
    output: **files("drift")
    shell: command("drift")


rule rigs:
    """All tests -> shifts that every specimen of a rig shares from a dated event on."""
    input:
        lambda w: RUN.of_method(w.method, "stops.parquet", "summary.json"),
        events=lambda w: RUN.rigs_file(),
        members=lambda w: RUN.tests_file(),
        **usual("rigs"),
    params: rigs=lambda w: RUN.rigs, events_digest=RUN.rigs_digest, **own("rigs")
    output: **files("rigs")
    shell: command("rigs")


rule precision:
    """All tests -> components of their scatter: stop, occasion, specimen, batch and state of the rig."""
    input:
        lambda w: RUN.of_method(w.method, "stops.parquet", "summary.json", "wear.json", "drift.json"),
        rigs=rules.rigs.output,
        members=lambda w: RUN.tests_file(),
        **usual("precision"),
    params: **own("precision")
    output: **files("precision")
    shell: command("precision")


rule charts:
    """All tests -> control charts of each rig and of each compound's batches."""
    input:
        lambda w: RUN.of_method(w.method, "stops.parquet", "summary.json", "wear.json", "drift.json"),
        rigs=rules.rigs.output,
        members=lambda w: RUN.tests_file(),
        **usual("charts"),
    params: events=lambda w: RUN.rigs, events_digest=RUN.rigs_digest, **own("charts")
    output: **files("charts")
    shell: command("charts")


rule extracts:
    """Rigs, charts and precision -> what each test and compound takes of them, written where it changes."""
    input: rigs=rules.rigs.output, charts=rules.charts.output, precision=rules.precision.output, **usual("extracts")
    params: slugs=lambda w: str(RUN.slug_of), **own("extracts")
    output: **files("extracts")
    shell: command("extracts")


rule findings:
    """The findings of all stages of one test, merged; draws nothing."""
    input:
        rules.stops.output, rules.friction.output, rules.wear.output, rules.drift.output,
        record=rules.channels.output.json,
        rigs=lambda w: RUN.extract(w, "rigs.json"),
        charts=lambda w: RUN.extract(w, "charts.json"),
        cut=CUT,
        **usual("findings"),
    params: folder=lambda w: RUN.folder(w.test), renamed=lambda w: RUN.renamed(w.test), **own("findings")
    output: **files("findings")
    shell: command("findings")


rule test_page:
    """All of one test -> its interactive page."""
    input:
        rules.findings.output, rules.stops.output, rules.friction.output, rules.wear.output, rules.drift.output,
        record=rules.channels.output.json,
        **usual("test_page"),
    params: folder=lambda w: RUN.folder(w.test), **own("test_page")
    output: **files("test_page")
    shell: command("test_page")


rule compound:
    """All tests of a compound -> friction, wear, batches and duty over them."""
    input:
        lambda w: RUN.of_compound(
            w, "stops.parquet", "traces.parquet", "summary.json", "friction.json", "wear.json", "drift.json"
        ),
        precision=lambda w: RUN.extract(w, "precision.json"),
        charts=lambda w: RUN.extract(w, "charts.json"),
        rigs=lambda w: RUN.extract(w, "rigs.json"),
        cut=CUT,
        files=lambda w: RUN.compound_file(w.compound),
        members=lambda w: RUN.members_file(w.compound),
        **usual("compound"),
    params:
        compound=lambda w: RUN.name_of(w.compound),
        tests=lambda w: RUN.tests_of(w.compound),
        target=lambda w: RUN.compound_target(w.compound),
        duties=lambda w: RUN.duties,
        files_digest=lambda w: RUN.compound_files_digest(w.compound),
        **own("compound"),
    output: **files("compound")
    shell: command("compound")


rule sheet:
    """A compound's results -> the material characterisation sheet."""
    input:
        rules.compound.output,
        lambda w: RUN.of_compound(w, "findings.json"),
        files=lambda w: RUN.compound_file(w.compound),
        facts=lambda w: RUN.facts_file(),
        title_block=lambda w: RUN.title_block_file(w.compound),
        members=lambda w: RUN.members_file(w.compound),
        **usual("sheet"),
    params:
        compound=lambda w: RUN.name_of(w.compound),
        tests=lambda w: RUN.tests_of(w.compound),
        target=lambda w: RUN.compound_target(w.compound),
        files_digest=lambda w: RUN.compound_files_digest(w.compound),
        facts=RUN.facts,
        facts_digest=RUN.facts_digest,
        compared=lambda w: RUN.compared_with(w.compound),
        title_block=lambda w: RUN.title_block(w.compound),
        title_block_digest=lambda w: RUN.title_block_digest(w.compound),
        **own("sheet"),
    output: **files("sheet")
    shell: command("sheet")


rule comparison:
    """Two compounds' results -> what differs between them, question by question."""
    input:
        lambda w: RUN.of_compounds(w.method, w.one, w.other),
        rigs=lambda w: [RUN.extract_of(w.method, "compounds", slug, "rigs.json") for slug in (w.one, w.other)],
        cut=CUT,
        files=lambda w: [RUN.compound_file(w.one), RUN.compound_file(w.other)],
        facts=lambda w: RUN.facts_file(),
        members=lambda w: [RUN.members_file(w.one), RUN.members_file(w.other)],
        **usual("comparison"),
    params:
        a=lambda w: RUN.name_of(w.one),
        b=lambda w: RUN.name_of(w.other),
        a_folder=lambda w: RUN.compound_folder(w.method, w.one),
        b_folder=lambda w: RUN.compound_folder(w.method, w.other),
        a_tests=lambda w: RUN.tests_of(w.one),
        b_tests=lambda w: RUN.tests_of(w.other),
        target=lambda w: RUN.compound_target(w.one) or RUN.compound_target(w.other),
        facts=RUN.facts,
        facts_digest=RUN.facts_digest,
        **own("comparison"),
    output: **files("comparison")
    shell: command("comparison")


rule rig_page:
    """A rig's charts and precision -> its page."""
    input: charts=rules.charts.output, precision=rules.precision.output, **usual("rig_page")
    params: **own("rig_page")
    output: **files("rig_page")
    shell: command("rig_page")


rule compound_charts:
    """A compound's charts and precision -> the page of its batches over time."""
    input:
        charts=lambda w: RUN.extract(w, "charts.json"),
        precision=lambda w: RUN.extract(w, "precision.json"),
        cut=CUT,
        **usual("compound_charts"),
    params: compound=lambda w: RUN.name_of(w.compound), **own("compound_charts")
    output: **files("compound_charts")
    shell: command("compound_charts")


rule index:
    """All tests and compounds of the archive under one method."""
    input:
        lambda w: RUN.of_method(w.method, "findings.json"),
        # what it shows of a sheet follows from the compound's results, or is the sheet's fault
        lambda w: ancient(expand(f"{P}{w.method}/compounds/{{compound}}/sheet.json", compound=RUN.planned_compounds)),
        lambda w: expand(rules.compound.output, method=w.method, compound=RUN.planned_compounds),
        lambda w: [one for slug in RUN.planned_compounds for one in RUN.again("sheet", {"method": w.method, "compound": slug})],
        rules.charts.output,
        left_out=lambda w: RUN.left_out_file(),
        members=lambda w: RUN.tests_file(),
        **usual("index"),
    params: left_out=RUN.left_out_digest, **own("index")
    output: **files("index")
    shell: command("index")


rule shares:
    """Two methods -> what each of their differing settings does alone, on a sample of the tests."""
    input:
        channels=lambda w: sampled.channels(RUN, sampled.sampled(RUN, w.a, w.b)),
        results=lambda w: sampled.results(RUN, (w.a, w.b), sampled.sampled(RUN, w.a, w.b)),
        of_tests=lambda w: sampled.given(RUN, (w.a, w.b), sampled.sampled(RUN, w.a, w.b)),
        **usual("shares"),
    params:
        tests=lambda w: sampled.sampled(RUN, w.a, w.b),
        **own("shares"),
    output: **files("shares")
    shell: command("shares")


rule delta:
    """Two methods over the same archive -> what the change did to every number and conclusion."""
    input: a=f"{P}{{a}}/archive.json", b=f"{P}{{b}}/archive.json", shares=rules.shares.output, **usual("delta")
    params: **own("delta")
    output: **files("delta")
    shell: command("delta")
