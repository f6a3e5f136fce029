"""From raw recordings to sheets: one rule per stage, each a sub-command of the package.

A rule's settings travel as one canonical string in `params` (its sections of the method with their revisions), the
recordings as a fingerprint: a change re-runs what it touches and nothing else. Both also stand in small files under the
results, which are inputs (`given`), so that a change is seen from any working directory. Nothing here computes.
"""

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

from snakemake.dag import DAG
from snakemake.exceptions import WorkflowError

from pipeline.archive.plan import plan
from pipeline.errors import InputError

# The config file decides all paths; the default one is read only when none is given, so nothing of it can leak.
given = [Path(path) for path in workflow.overwrite_configfiles]
try:
    RUN = plan(given[-1] if given else REPO / "rig_samples" / "config.yaml")
except InputError as error:
    raise WorkflowError(str(error))

R = RUN.results
# exec: the stage is the child of this process itself and can ask the system to end with it.
os.environ["STOPSHEET_ENGINE"] = str(os.getpid())
STOPSHEET = f"exec {shlex.quote(sys.executable)} -P -m pipeline --planned={shlex.quote(str(RUN.lists))}"
P = RUN.prefix  # of paths below the results, as Snakemake may see them
TEST = f"{P}{{method}}/tests/{{test}}"
COMPOUND = f"{P}{{method}}/compounds/{{compound}}"

# Snakemake ends a run where a name repeats a few letters often ("aaaa..."): it takes that for rules that feed themselves
# for ever. Here every wildcard is restricted to names that exist, so none can grow.
DAG.check_periodic_wildcards = lambda dag, job: None


def folder_of(wildcards, output):
    return os.path.dirname(output[0])


wildcard_constraints:
    method="|".join(RUN.patterns(RUN.methods)),
    a="|".join(RUN.patterns(RUN.methods)),
    b="|".join(RUN.patterns(RUN.methods)),
    test="|".join(RUN.patterns(RUN.tests)),
    compound="|".join(RUN.patterns(RUN.compounds)),


rule all:
    input:
        expand(f"{P}{{method}}/index.html", method=RUN.methods),
        [page for method in RUN.methods for page in RUN.of_method(method, "test.html")],
        [f"{P}deltas/{a}--{b}/delta.html" for a, b in RUN.compare],


rule channels:
    """Raw recordings -> canonical channels in SI; independent of any method."""
    input:
        given=lambda w: RUN.fingerprint_file(w.test),
        again=lambda w: RUN.again("channels", w),
    params:
        folder=lambda w: RUN.folder(w.test),
        fingerprint=lambda w: RUN.fingerprint(w.test),
        revision=RUN.ingest_revision,
        wear=lambda w: RUN.wear_option(w.test),
    output:
        channels=f"{P}channels/{{test}}.parquet",
        record=f"{P}channels/{{test}}.json",
    shell:
        "{STOPSHEET} channels --test={params.folder:q} --channels={output.channels:q} --record={output.record:q}"
        " --fingerprint={params.fingerprint} {params.wear}"


rule stops:
    """Channels -> one row per stop, with uncertainty and findings."""
    input:
        channels=rules.channels.output.channels,
        record=rules.channels.output.record,
        given=lambda w: RUN.settings_file(w.method, "conditioning", "segmentation", "reduction"),
        again=lambda w: RUN.again("stops", w),
    params:
        into=folder_of,
        folder=lambda w: RUN.folder(w.test),
        settings=lambda w: RUN.settings(w.method, "conditioning", "segmentation", "reduction"),
    output:
        stops=f"{TEST}/stops.parquet",
        traces=f"{TEST}/traces.parquet",
        summary=f"{TEST}/summary.json",
        findings=f"{TEST}/stops_findings.json",
    shell:
        "{STOPSHEET} stops --test={params.folder:q} --channels={input.channels:q} --record={input.record:q}"
        " --settings={params.settings:q} --given={input.given:q} --into={params.into:q}"


rule friction:
    """Stops -> friction map, window, sensitivities of one test."""
    input:
        stops=rules.stops.output.stops,
        summary=rules.stops.output.summary,
        target=lambda w: RUN.target_file(w.test),
        given=lambda w: RUN.settings_file(w.method, "friction", "reduction"),
        again=lambda w: RUN.again("friction", w),
    params:
        into=folder_of,
        folder=lambda w: RUN.folder(w.test),
        settings=lambda w: RUN.settings(w.method, "friction", "reduction"),
        target=lambda w: RUN.target_option(w.test),
        target_digest=lambda w: RUN.target_digest(w.test),
    output:
        friction=f"{TEST}/friction.json",
    shell:
        "{STOPSHEET} friction --test={params.folder:q} --settings={params.settings:q} --given={input.given:q} {params.target}"
        " --into={params.into:q}"


rule wear:
    """Wear readings and stops -> intervals, laws, rates of one test."""
    input:
        stops=rules.stops.output.stops,
        traces=rules.stops.output.traces,
        summary=rules.stops.output.summary,
        readings=lambda w: RUN.wear_fingerprint_file(w.test),
        given=lambda w: RUN.settings_file(w.method, "wear", "reduction"),
        again=lambda w: RUN.again("wear", w),
    params:
        into=folder_of,
        folder=lambda w: RUN.folder(w.test),
        readings=lambda w: RUN.wear_fingerprint(w.test),
        settings=lambda w: RUN.settings(w.method, "wear", "reduction"),
    output:
        wear=f"{TEST}/wear.json",
        findings=f"{TEST}/wear_findings.json",
    shell:
        "{STOPSHEET} wear --test={params.folder:q} --settings={params.settings:q} --given={input.given:q} --into={params.into:q}"


rule repeatability:
    """All tests of a compound -> pooled scatter and autocorrelation of the stops about their map."""
    input:
        lambda w: RUN.of_compound(w, "stops.parquet", "summary.json"),
        given=lambda w: RUN.settings_file(w.method, "friction", "reduction"),
        again=lambda w: RUN.again("repeatability", w),
    params:
        into=folder_of,
        tests=lambda w: RUN.tests_option(w.compound),
        settings=lambda w: RUN.settings(w.method, "friction", "reduction"),
    output:
        repeatability=f"{COMPOUND}/repeatability.json",
    shell:
        "{STOPSHEET} repeatability {params.tests} --results={R:q}/{wildcards.method} --settings={params.settings:q} --given={input.given:q}"
        " --into={params.into:q}"


rule drift:
    """Checks, duty and fade in time order -> change of friction and its verdict by evidence."""
    input:
        stops=rules.stops.output.stops,
        summary=rules.stops.output.summary,
        repeatability=lambda w: RUN.repeatability(w),
        given=lambda w: RUN.settings_file(w.method, "drift", "friction", "reduction"),
        again=lambda w: RUN.again("drift", w),
    params:
        into=folder_of,
        folder=lambda w: RUN.folder(w.test),
        settings=lambda w: RUN.settings(w.method, "drift", "friction", "reduction"),
        pooled=lambda w: RUN.repeatability_option(w),
    output:
        drift=f"{TEST}/drift.json",
    shell:
        "{STOPSHEET} drift --test={params.folder:q} --settings={params.settings:q} --given={input.given:q} {params.pooled}"
        " --into={params.into:q}"


rule rigs:
    """All tests -> shifts that every specimen of a rig shares from a dated event on."""
    input:
        lambda w: RUN.of_method(w.method, "stops.parquet", "summary.json"),
        events=lambda w: RUN.rigs_file(),
        given=lambda w: RUN.settings_file(w.method, "friction", "reduction", "batches"),
        again=lambda w: RUN.again("rigs", w),
    params:
        events=lambda w: RUN.rigs_option,
        events_digest=RUN.rigs_digest,
        archive=lambda w: str(RUN.archive),
        settings=lambda w: RUN.settings(w.method, "friction", "reduction", "batches"),
    output:
        rigs=f"{P}{{method}}/rigs.json",
    shell:
        "{STOPSHEET} rigs --archive={params.archive:q} --results={R:q}/{wildcards.method} {params.events}"
        " --settings={params.settings:q} --given={input.given:q} --out={output.rigs:q}"


rule findings:
    """The findings of all stages of one test, merged; draws nothing."""
    input:
        record=rules.channels.output.record,
        stops=rules.stops.output,
        friction=rules.friction.output,
        wear=rules.wear.output,
        drift=rules.drift.output,
        rigs=rules.rigs.output,
        again=lambda w: RUN.again("findings", w),
    params:
        into=folder_of,
        folder=lambda w: RUN.folder(w.test),
        notes=lambda w: RUN.notes_option(w.test),
    output:
        findings=f"{TEST}/findings.json",
    shell:
        "{STOPSHEET} findings --test={params.folder:q} --method={wildcards.method:q} --record={input.record:q}"
        " --rigs={input.rigs:q} {params.notes} --into={params.into:q}"


rule test_page:
    """All of one test -> its interactive page."""
    input:
        findings=rules.findings.output.findings,
        record=rules.channels.output.record,
        stops=rules.stops.output,
        friction=rules.friction.output,
        wear=rules.wear.output,
        drift=rules.drift.output,
        rigs=rules.rigs.output,
        given=lambda w: RUN.settings_file(w.method),
        again=lambda w: RUN.again("test_page", w),
    params:
        into=folder_of,
        folder=lambda w: RUN.folder(w.test),
        settings=lambda w: RUN.settings(w.method),
    output:
        page=f"{TEST}/test.html",
    shell:
        "{STOPSHEET} test_page --test={params.folder:q} --method={wildcards.method:q} --record={input.record:q}"
        " --rigs={input.rigs:q} --settings={params.settings:q} --given={input.given:q} --into={params.into:q}"


rule compound:
    """All tests of a compound -> friction, wear, batches and duty over them."""
    input:
        tests=lambda w: RUN.of_compound(
            w, "stops.parquet", "traces.parquet", "summary.json", "friction.json", "wear.json", "drift.json"
        ),
        rigs=rules.rigs.output,
        files=lambda w: RUN.compound_file(w.compound),
        given=lambda w: RUN.settings_file(w.method, "reduction", "friction", "wear", "drift", "batches", "duty"),
        again=lambda w: RUN.again("compound", w),
    params:
        into=folder_of,
        tests=lambda w: RUN.tests_option(w.compound),
        target=lambda w: RUN.compound_target_option(w.compound),
        duties=lambda w: RUN.duties_option,
        files_digest=lambda w: RUN.compound_files_digest(w.compound),
        settings=lambda w: RUN.settings(w.method, "reduction", "friction", "wear", "drift", "batches", "duty"),
    output:
        friction=f"{COMPOUND}/friction.json",
        wear=f"{COMPOUND}/wear.json",
        batches=f"{COMPOUND}/batches.json",
        duty=f"{COMPOUND}/duty.json",
    shell:
        "{STOPSHEET} compound {params.tests} --results={R:q}/{wildcards.method} --rigs={input.rigs:q} {params.target}"
        " {params.duties} --settings={params.settings:q} --given={input.given:q} --into={params.into:q}"


rule sheet:
    """A compound's results -> the material characterisation sheet."""
    input:
        compound=rules.compound.output,
        findings=lambda w: RUN.of_compound(w, "findings.json"),
        files=lambda w: RUN.compound_file(w.compound),
        given=lambda w: RUN.settings_file(w.method),
        again=lambda w: RUN.again("sheet", w),
    params:
        into=folder_of,
        tests=lambda w: RUN.tests_option(w.compound),
        target=lambda w: RUN.compound_target_option(w.compound),
        files_digest=lambda w: RUN.compound_files_digest(w.compound),
        settings=lambda w: RUN.settings(w.method),
    output:
        html=f"{COMPOUND}/sheet.html",
        pdf=f"{COMPOUND}/sheet.pdf",
        json=f"{COMPOUND}/sheet.json",
    shell:
        "{STOPSHEET} sheet {params.tests} --results={R:q}/{wildcards.method} --method={wildcards.method:q} {params.target}"
        " --settings={params.settings:q} --given={input.given:q} --into={params.into:q}"


rule index:
    """All tests and compounds of the archive under one method."""
    input:
        findings=lambda w: RUN.of_method(w.method, "findings.json"),
        sheets=lambda w: expand(f"{P}{w.method}/compounds/{{compound}}/sheet.json", compound=RUN.compounds),
        left_out=lambda w: RUN.left_out_file(),
        given=lambda w: RUN.settings_file(w.method),
        again=lambda w: RUN.again("index", w),
    params:
        into=folder_of,
        config=lambda w: str(RUN.config),
        left_out=RUN.left_out_digest,
        settings=lambda w: RUN.settings(w.method),
    output:
        index=f"{P}{{method}}/index.html",
        archive=f"{P}{{method}}/archive.json",
        method=f"{P}{{method}}/method.yaml",
    shell:
        "{STOPSHEET} index --config={params.config:q} --method={wildcards.method:q} --into={params.into:q}"
        " --settings={params.settings:q} --given={input.given:q}"


rule delta:
    """Two methods over the same archive -> what the change did to every number and conclusion."""
    input:
        a=f"{P}{{a}}/archive.json",
        b=f"{P}{{b}}/archive.json",
        again=lambda w: RUN.again("delta", w),
    params:
        into=folder_of,
        config=lambda w: str(RUN.config),
    output:
        page=f"{P}deltas/{{a}}--{{b}}/delta.html",
        table=f"{P}deltas/{{a}}--{{b}}/delta.parquet",
        conclusions=f"{P}deltas/{{a}}--{{b}}/delta.json",
    shell:
        "{STOPSHEET} delta --config={params.config:q} --a={wildcards.a:q} --b={wildcards.b:q}"
        " --into={params.into:q}"
