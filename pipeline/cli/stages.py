"""One function per stage: import it, hand over. The imports are heavy, so they stand inside."""

from __future__ import annotations

from pathlib import Path


def channels(*, test: Path, channels: Path, record: Path) -> None:
    from pipeline.recordings import stage

    stage.run(folder=test, channels=channels, record=record)


def stops(*, test: Path, channels: Path, record: Path, settings: str, into: Path) -> None:
    from pipeline.stops import stage

    stage.run(folder=test, channels=channels, record=record, settings=settings, into=into)


def friction(*, test: Path, settings: str, target: Path | None, into: Path) -> None:
    from pipeline.friction import stage

    stage.run(folder=test, settings=settings, target=target, into=into)


def wear(*, test: Path, settings: str, into: Path) -> None:
    from pipeline.wear import stage

    stage.run(folder=test, settings=settings, into=into)


def repeatability(*, compound: str, archive: Path, tests: list[str], results: Path, settings: str, into: Path) -> None:
    from pipeline.drift import repeatability as stage

    stage.run(compound=compound, archive=archive, tests=tests, results=results, settings=settings, into=into)


def drift(*, test: Path, settings: str, repeatability: Path | None, into: Path) -> None:
    from pipeline.drift import stage

    stage.run(folder=test, settings=settings, repeatability=repeatability, into=into)


def rigs(*, archive: Path, results: Path, rigs: list[Path], settings: str, out: Path) -> None:
    from pipeline.rigs import stage

    stage.run(archive=archive, results=results, rigs=rigs, settings=settings, out=out)


def test_page(
    *, test: Path, method: str, record: Path, rigs: Path, settings: str, renamed: str | None, into: Path
) -> None:
    from pipeline.report import test_page as stage

    stage.run(folder=test, method=method, record=record, rigs=rigs, settings=settings, renamed=renamed, into=into)


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
    from pipeline.compound import stage

    stage.run(
        compound=compound, archive=archive, tests=tests, results=results, rigs=rigs, target=target, duties=duties,
        settings=settings, into=into,
    )  # fmt: skip


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
    from pipeline.report import sheet as stage

    stage.run(
        compound=compound, archive=archive, tests=tests, results=results, method=method, target=target,
        settings=settings, into=into,
    )  # fmt: skip


def index(*, config: Path, method: str, into: Path) -> None:
    from pipeline.report import index_page as stage

    stage.run(config=config, method=method, into=into)


def delta(*, config: Path, a: str, b: str, into: Path) -> None:
    from pipeline.delta import stage
    from pipeline.report import delta_page

    stage.run(config=config, a=a, b=b, into=into)
    delta_page.run(into=into)
