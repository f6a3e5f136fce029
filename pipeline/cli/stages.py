"""One function per stage: import it, hand over, guarded. The imports are heavy, so they stand inside."""

from __future__ import annotations

from functools import cache, partial
from pathlib import Path
from typing import Any

from pipeline.cli.bounds import read_within
from pipeline.cli.guard import guarded
from pipeline.faults import InputFault


def channels(*, test: Path, channels: Path, record: Path, fingerprint: str, wear: str | None) -> None:
    def call() -> None:
        refused = read_within(channels.parent)
        from pipeline.archive import seen
        from pipeline.recordings import stage

        seen.refuse_unlisted(test)
        stage.run(test, channels, record, refused=refused)
        seen.refuse_changed(test, fingerprint, wear)

    guarded("channels", test.name, [channels, record], call)


def stops(*, test: Path, channels: Path, record: Path, settings: str, into: Path) -> None:
    def call() -> None:
        from pipeline.stops import stage

        stage.run(folder=test, channels=channels, record=record, settings=settings, into=into)

    names = ("stops.parquet", "traces.parquet", "summary.json", "stops_findings.json")
    guarded("stops", test.name, [into / name for name in names], call)


def friction(*, test: Path, settings: str, target: Path | None, into: Path) -> None:
    def call() -> None:
        from pipeline.friction import stage

        stage.run(folder=test, settings=settings, target=target, into=into)

    guarded("friction", test.name, [into / "friction.json"], call)


def wear(*, test: Path, settings: str, into: Path) -> None:
    def call() -> None:
        from pipeline.wear import stage

        stage.run(folder=test, settings=settings, into=into)

    guarded("wear", test.name, [into / "wear.json", into / "wear_findings.json"], call)


def repeatability(*, compound: str, archive: Path, tests: list[str], results: Path, settings: str, into: Path) -> None:
    def call() -> None:
        from pipeline.drift import repeatability as stage

        stage.run(compound=compound, archive=archive, tests=tests, results=results, settings=settings, into=into)

    guarded("repeatability", compound, [into / "repeatability.json"], call)


def drift(*, test: Path, settings: str, repeatability: Path | None, into: Path) -> None:
    def call() -> None:
        from pipeline.drift import stage

        stage.run(folder=test, settings=settings, repeatability=repeatability, into=into)

    guarded("drift", test.name, [into / "drift.json"], call)


def rigs(*, archive: Path, results: Path, rigs: list[Path], settings: str, out: Path) -> None:
    def call() -> None:
        from pipeline.rigs import stage

        stage.run(archive=archive, results=results, rigs=rigs, settings=settings, out=out)

    guarded("rigs", "rigs", [out], call)


def findings(*, test: Path, method: str, record: Path, rigs: Path, renamed: str | None, into: Path) -> None:
    def call() -> None:
        from pipeline.report import test_results as stage

        stage.run(folder=test, method=method, record=record, rigs=rigs, renamed=renamed, into=into)

    guarded("findings", test.name, [into / "findings.json"], call)


def test_page(*, test: Path, method: str, record: Path, rigs: Path, settings: str, into: Path) -> None:
    def call() -> None:
        from pipeline.report import test_page as stage

        stage.run(folder=test, method=method, record=record, rigs=rigs, settings=settings, into=into)

    guarded("test_page", test.name, [into / "test.html"], call)


def compound(
    *,
    compound: str,
    archive: Path,
    tests: list[str],
    results: Path,
    rigs: Path,
    target: Path | None,
    duties: list[Path],
    settings: str,
    into: Path,
) -> None:
    def call() -> None:
        from pipeline.compound import stage

        stage.run(
            compound=compound, archive=archive, tests=tests, results=results, rigs=rigs, target=target, duties=duties,
            settings=settings, into=into,
        )  # fmt: skip

    names = ("friction.json", "wear.json", "batches.json", "duty.json")
    guarded("compound", compound, [into / name for name in names], call)


def sheet(
    *,
    compound: str,
    archive: Path,
    tests: list[str],
    results: Path,
    method: str,
    target: Path | None,
    settings: str,
    into: Path,
) -> None:
    @cache
    def made() -> Any:
        from pipeline.report import sheet as stage

        return stage.made(
            compound=compound, archive=archive, tests=tests, results=results, method=method, target=target,
            settings=settings, into=into,
        )  # fmt: skip

    def printed(name: str) -> None:
        from pipeline.report import sheet as stage

        stage.PRINTS[name](made(), into / name)

    for name in ("sheet.json", "sheet.html", "sheet.pdf"):
        guarded("sheet", compound, [into / name], partial(printed, name))


def index(*, config: Path, method: str, into: Path, settings: str = "") -> None:
    from pipeline.archive.plan import plan
    from pipeline.report import index_page as stage

    def call() -> None:
        if (
            settings and plan(config).settings(method) != settings
        ):  # method.yaml would be of another method than the results
            raise InputFault(f"{config}: the method {method} was edited since the run began; run again")
        stage.run(config=config, method=method, into=into)

    # Nobody could read an index that says it is none: this part ends well or the stage fails.
    outputs = [into / "archive.json", into / "method.yaml"]
    guarded("index", method, outputs, call, carried=[])
    page = into / "index.html"
    guarded("index", f"index of {method}", [page], lambda: stage.draw(config=config, method=method, into=into))


def delta(*, config: Path, a: str, b: str, into: Path) -> None:
    def call() -> None:
        from pipeline.delta import stage

        stage.run(config=config, a=a, b=b, into=into)

    def draw() -> None:
        from pipeline.report import delta_page

        delta_page.run(into=into)

    guarded("delta", f"{a} to {b}", [into / "delta.parquet", into / "delta.json"], call)
    guarded("delta", f"{a} to {b}", [into / "delta.html"], draw)
