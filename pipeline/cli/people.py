"""The commands that people type: their options and help. What they do stands in `workspace`, `plan` and `predict`.

A command is read here and carried out by the caller, so that its faults are told as those of every other command.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from pipeline.stages import STAGES

Work = Callable[[], int | None]


def _count(text: str) -> int:
    try:
        return int(text)
    except ValueError:
        raise typer.BadParameter(f"{text!r} is not a whole number") from None


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise typer.BadParameter(f"{text!r} is not a number") from None


NAME = "stopsheet"
CONFIG_OF_RESULTS = "config.yaml of the results (default: the one beside or above them that names them)"
app = typer.Typer(
    name=NAME,
    help="From stop recordings to a characterisation sheet.",
    epilog="Results support engineering judgement; the brake's release authority decides. A run calls one command "
    "for each "
    f"stage, each with a --help of its own: {', '.join(name for name in STAGES if name != 'delta')}.",
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(wanted: bool) -> None:
    if wanted:
        from pipeline.results import version

        typer.echo(f"{NAME} {version()}")
        raise typer.Exit


@app.callback()
def _program(
    show: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="the version, and nothing else")
    ] = False,
) -> None:
    """From stop recordings to a characterisation sheet."""


@app.command(
    help="Everything: from a workspace's config to its sheets. Only what changed is done; at the end stand a table of the tests, what "
    "ran and what failed. 3 where some test is unusable or has no stop of use, 1 where something failed."
)
def run(
    config: Annotated[
        Path,
        typer.Argument(
            metavar="config",
            help="config.yaml of the workspace; or an archive or a test's folder: all tests of the archive, by the default method, results beside it",
        ),
    ],
    cores: Annotated[
        int | None, typer.Option(parser=_count, metavar="CORES", help="processor cores to use (default: all)")
    ] = None,
    profile: Annotated[
        str | None,
        typer.Option(
            metavar="PROFILE",
            help="where the stages run: slurm, a cluster under Slurm as the package comes with it; or a folder with a Snakemake profile of your own for it (docs/howto/cluster.md)",
        ),
    ] = None,
    only: Annotated[
        str | None,
        typer.Option(
            metavar="TEST", help="bring one test up to date, with its compound's sheet and all that these rest on"
        ),
    ] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="say what would run and why, and run nothing")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="print JSON")] = False,
) -> Work:
    from pipeline.cli import workspace

    return partial(
        workspace.run, config=config, cores=cores, profile=profile, only=only, dry_run=dry_run, as_json=as_json
    )


@app.command(
    help='A test that is still running: new recordings are taken in as they appear, and "stop and look" is said when friction '
    "drifts, a sensor fails or a part will not last; then everything, as `run` does, when the program has been run. Of sound tests "
    'about 1 % are stopped for nothing, all looks together, in simulation (docs/watching_study.md). 4 where "stop and look" was said.'
)
def watch(
    config: Annotated[
        Path,
        typer.Argument(
            metavar="CONFIG", help="config.yaml of the workspace; or an archive or a test's folder, as for run"
        ),
    ],
    only: Annotated[
        str | None,
        typer.Option(metavar="TEST", help="the test to watch (default: every test that gets new recordings)"),
    ] = None,
    method: Annotated[str | None, typer.Option(metavar="METHOD", help="needed where the config names several")] = None,
    every: Annotated[str, typer.Option(metavar="TIME", help="how often to look for recordings")] = "10 s",
    settle: Annotated[
        str, typer.Option(metavar="TIME", help="how long the last recording must not have changed to count as whole")
    ] = "5 s",
    idle: Annotated[
        str | None,
        typer.Option(metavar="TIME", help="end when nothing came for so long (default: when the program has been run)"),
    ] = None,
    end_at_alarm: Annotated[
        bool,
        typer.Option("--end-at-alarm", help='end at the first "stop and look", such as in a script that stops a rig'),
    ] = False,
    cores: Annotated[
        int | None, typer.Option(parser=_count, metavar="CORES", help="processor cores to use (default: all)")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="print one JSON document a line")] = False,
) -> Work:
    from pipeline.cli.watch import Given, watch

    given = Given(
        config=config, only=only, method=method, every=every, settle=settle, idle=idle, end_at_alarm=end_at_alarm, cores=cores,
        as_json=as_json,
    )  # fmt: skip
    return partial(watch, given)


@app.command(
    help="What is wrong before a run: every settings file, every recording's head, the brakings found against the schedule; each with "
    "file, line, what is accepted and what to do. 3 where some test is unusable."
)
def check(
    place: Annotated[
        Path,
        typer.Argument(
            metavar="CONFIG_OR_ARCHIVE", help="config.yaml of the workspace, an archive, or a test's folder"
        ),
    ],
    as_json: Annotated[bool, typer.Option("--json", help="print JSON")] = False,
) -> Work:
    from pipeline.cli import workspace

    return partial(workspace.check, place=place, as_json=as_json)


@app.command(
    help="What recordings are that nobody has seen: format, columns, sample rates, brakings, and which column may be which channel, "
    "with the reason and the doubt. 3 where nothing can be read."
)
def inspect(
    place: Annotated[Path, typer.Argument(metavar="FILE_OR_FOLDER", help="a recording, or a folder of them")],
    html: Annotated[Path | None, typer.Option(metavar="FILE", help="write a page with one braking drawn")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="print JSON")] = False,
) -> Work:
    from pipeline.cli import inspect as command

    return partial(command.inspect, place=place, html=html, as_json=as_json)


@app.command(
    name="new-test",
    help="A test's folder from recordings: copied or linked, with a test.yaml of what was found in them; guesses are marked, and what only "
    "you know is left blank by name. With --register one for each row of a table of tests; 3 where some could not be made.",
)
def new_test(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="the new test's folder; with --register the archive")
    ],
    recordings: Annotated[
        Path, typer.Option("--from", metavar="RECORDINGS", help="a recording, or a folder of one test's")
    ],
    how: Annotated[
        str, typer.Option("--recordings", metavar="copy|link", help="link: no second copy on the same disk")
    ] = "copy",
    schedule: Annotated[
        Path | None,
        typer.Option(metavar="TABLE", help="CSV or XLSX with one row a block (default: from the brakings found)"),
    ] = None,
    register: Annotated[
        Path | None,
        typer.Option(metavar="TABLE", help="CSV or XLSX with one row a test; a column `recordings` below --from"),
    ] = None,
) -> Work:
    from pipeline.cli import new_test as command

    return partial(
        command.new_test, folder=folder, recordings=recordings, how=how, schedule=schedule, register=register
    )


@app.command(
    help="Before a test runs: what a program of blocks can show on so many specimens, or the smallest program that answers "
    "a question, by the archive's own scatter; in specimens, stops and rig hours, with the blocks for a card. 3 where the "
    "archive cannot say."
)
def plan(
    config: Annotated[
        Path | None, typer.Argument(metavar="[CONFIG]", help="config.yaml of an archive that was run")
    ] = None,
    compound: Annotated[str | None, typer.Argument(metavar="[COMPOUND]", help="as the cards name it")] = None,
    design: Annotated[
        Path | None,
        typer.Option(metavar="TEST_FOLDER", help="folder with the test.yaml of a planned test; needs no recordings"),
    ] = None,
    specimens: Annotated[int, typer.Option(parser=_count, metavar="N", help="specimens of each planned batch")] = 2,
    batches: Annotated[int, typer.Option(parser=_count, metavar="N", help="planned batches")] = 1,
    question: Annotated[
        str | None,
        typer.Option(metavar="QUESTION", help="like-the-last, difference, glazing, window, life or activation-energy"),
    ] = None,
    against: Annotated[
        str | None, typer.Option(metavar="BATCH", help="batch that the next is compared with (default: the last one)")
    ] = None,
    of: Annotated[
        list[str] | None, typer.Option(metavar="mu|bite|wear", help="what batches are compared in (default: all)")
    ] = None,
    size: Annotated[
        str | None,
        typer.Option(metavar="NUMBER", help="difference to be told: of mu or bite; of wear the ratio less 1"),
    ] = None,
    below: Annotated[
        str | None, typer.Option(metavar="POWER", help="gentle use is below this power density, such as '1.5 W/mm2'")
    ] = None,
    loss: Annotated[
        str | None, typer.Option(metavar="SHARE", help="loss of friction to be found (default: the target's)")
    ] = None,
    within: Annotated[
        str | None, typer.Option(metavar="TOLERANCE", help="such as '10 K' (window), '15 %' (life), '10 kJ/mol'")
    ] = None,
    duty: Annotated[str | None, typer.Option(metavar="DUTY", help="as its file names it")] = None,
    chance: Annotated[
        float, typer.Option(parser=_number, metavar="NUMBER", help="wanted chance of the right answer")
    ] = 0.8,
    method: Annotated[str | None, typer.Option(metavar="METHOD", help="needed where the config names several")] = None,
    read_after: Annotated[
        list[str] | None,
        typer.Option(metavar="BLOCK ...", help="blocks after which wear is read (default: as the archive's last test)"),
    ] = None,
    reading_u_um: Annotated[
        float, typer.Option(parser=_number, metavar="NUMBER", help="standard uncertainty of a reading's mean, um")
    ] = 1.0,
    mu: Annotated[
        float, typer.Option(parser=_number, metavar="NUMBER", help="friction assumed where no archive tells it")
    ] = 0.4,
    calibration_between: Annotated[
        bool,
        typer.Option("--calibration-between", help="a calibration of the rig lies between the last batch and the next"),
    ] = False,
    html: Annotated[
        Path | None, typer.Option(metavar="FILE", help="write the plan with its curves to this page")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="print JSON")] = False,
) -> Work:
    from pipeline.cli.plan import Given, plan

    given = Given(
        config=config, compound=compound, method=method, design=design, against=against, specimens=specimens, batches=batches,
        question=question, of=tuple(of or ()), size=size, below=below, loss=loss, within=within, duty=duty, chance=chance,
        read_after=tuple(read_after) if read_after else None, reading_u_um=reading_u_um, mu=mu, other_state=calibration_between, html=html,
        as_json=as_json,
    )  # fmt: skip
    return partial(plan, given)


@app.command(
    help="A whole stop at wanted conditions by a compound's law at the rubbing face: friction, time, way and the "
    "line pressure that a "
    "deceleration needs, with intervals; refused with 3 outside what was tested."
)
def predict(
    results: Annotated[Path, typer.Argument(metavar="RESULTS", help="results folder of a run")],
    compound: Annotated[str, typer.Argument(metavar="COMPOUND", help="as the cards name it")],
    start: Annotated[
        str, typer.Option("--from", metavar="SPEED", help="speed at the start, such as '1450 rpm' or '120 km/h'")
    ],
    end: Annotated[str, typer.Option("--to", metavar="SPEED", help="speed at the end, '0 rpm' for rest")],
    temperature: Annotated[
        str, typer.Option(metavar="TEMPERATURE", help="of the disc before the stop, such as '60 degC'")
    ],
    method: Annotated[str | None, typer.Option(metavar="METHOD", help="needed where the results hold several")] = None,
    pressure: Annotated[str | None, typer.Option(metavar="PRESSURE", help="line pressure, such as '30 bar'")] = None,
    torque: Annotated[str | None, typer.Option(metavar="TORQUE", help="wanted mean torque, such as '600 N m'")] = None,
    deceleration: Annotated[
        str | None, typer.Option(metavar="DECELERATION", help="wanted mean deceleration, such as '6 m/s^2'")
    ] = None,
    inertia: Annotated[
        str | None, typer.Option(metavar="INERTIA", help="at the shaft, such as '22 kg m^2' (default: the test cards')")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="print JSON")] = False,
) -> Work:
    from pipeline.cli.predict import predict

    return partial(
        predict, results=results, compound=compound, method=method, speeds=(start, end), temperature=temperature,
        pressure=pressure, torque=torque, deceleration=deceleration, inertia=inertia, as_json=as_json,
    )  # fmt: skip


@app.command(
    name="delta",
    help="Which statements of issued results no longer hold today, and by what: settings, software, recordings, cards, wear readings or "
    "targets. Each is a results folder, whole or of one method.",
)
def delta(
    a: Annotated[Path, typer.Argument(metavar="RESULTS_A", help="the issued results")],
    b: Annotated[Path, typer.Argument(metavar="RESULTS_B", help="today's")],
    into: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="write statements.json and statements.html there too")
    ] = None,
) -> Work:
    from pipeline.cli import releases

    return partial(releases.compare, a=a, b=b, into=into)


@app.command(
    help="From a number of a sheet to the file and key that it was read from, the stops that it rests on, their raw files and the digests of these; "
    "every step is looked at again. 3 where one is no longer what it was."
)
def trace(
    sheet: Annotated[
        Path, typer.Argument(metavar="SHEET_JSON", help="sheet.json of a compound, in the results of a run")
    ],
    figure: Annotated[
        str,
        typer.Argument(
            metavar="FIGURE",
            help="a path such as sections.3.numbers.5, or what the sheet prints: a name, 'part: name', a value; or a key such as friction.window.low_c",
        ),
    ],
    config: Annotated[Path | None, typer.Option(metavar="CONFIG", help=CONFIG_OF_RESULTS)] = None,
    as_json: Annotated[bool, typer.Option("--json", help="print JSON")] = False,
) -> Work:
    from pipeline.cli import provenance

    return partial(provenance.trace, sheet=sheet, figure=figure, config=config, as_json=as_json)


@app.command(
    help="Whether results are still those of their files: recordings, cards, what a stage read and wrote, settings, code, the numbers of the sheets; "
    "says what differs. 3 where something differs or cannot be compared."
)
def verify(
    results: Annotated[Path, typer.Argument(metavar="RESULTS", help="results folder of a run")],
    config: Annotated[Path | None, typer.Option(metavar="CONFIG", help=CONFIG_OF_RESULTS)] = None,
    as_json: Annotated[bool, typer.Option("--json", help="print JSON")] = False,
) -> Work:
    from pipeline.cli import provenance

    return partial(provenance.verify, results=results, config=config, as_json=as_json)


@app.command(help="Write the generated pages: settings, tables, findings, results and their schemas, command line.")
def docs(into: Annotated[Path, typer.Option(metavar="FOLDER", help="folder to write to")]) -> Work:
    from pipeline.cli import workspace

    return partial(workspace.docs, into=into)
