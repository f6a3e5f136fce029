"""`stopsheet plan`: what a test program can show before it is run, or the smallest that answers a question."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, get_args

from pipeline.archive.scan import holds_card
from pipeline.errors import InputError
from pipeline.inputs.quantities import DIMENSIONS, to_si

if TYPE_CHECKING:
    from pipeline.archive.card import Card
    from pipeline.planning.archive import Archive
    from pipeline.planning.judged import Asked
    from pipeline.planning.plan import Plan
    from pipeline.planning.sought import Sought

NOT_DETERMINED = 3
MOST_SPECIMENS, MOST_BATCHES = 100, 20


@dataclass(frozen=True)
class Given:
    """The command's options as typed."""

    config: Path | None
    compound: str | None
    method: str | None
    design: Path | None
    against: str | None
    specimens: int
    batches: int
    question: str | None
    of: tuple[str, ...]
    size: str | None
    below: str | None
    loss: str | None
    within: str | None
    duty: str | None
    chance: float
    read_after: tuple[str, ...] | None
    reading_u_um: float
    mu: float
    other_state: bool
    html: Path | None
    as_json: bool


def plan(given: Given) -> int:
    """Print the plan; 3 where the archive cannot say what was asked."""
    _refuse(given)
    if given.config is None:
        return _wear_alone(given)
    from pipeline.planning.judged import judge
    from pipeline.planning.questions import answer

    archive = _archive(given)
    card = _planned(given.design) if given.design else archive.template.card
    if card.compound != archive.compound:
        raise InputError(f"{given.design}: its card is of {card.compound!r}, the plan is of {archive.compound!r}")
    asked = _asked(given, archive, card)
    sought = _sought(given)
    found = (
        answer(archive, card, sought, asked) if sought else judge(archive, card, given.specimens, given.batches, asked)
    )
    if given.html:
        from pipeline.report import plan_page

        plan_page.write(found, given.html)
    if given.as_json:
        from pipeline.results import plain

        print(json.dumps(plain(asdict(found)), indent=1))
    else:
        from pipeline.planning.words import words

        print(words(found))
        if given.design and not sought:
            print("\n" + _laws_or_why(card, given))
    return NOT_DETERMINED if _nothing(found) else 0


def _nothing(found: Plan) -> bool:
    """Whether what was asked has no answer at all."""
    run = found.run["as found"]
    return run.specimens is None or not any(line.as_found is not None for line in found.lines)


def _refuse(given: Given) -> None:
    """InputError for a call that asks nothing, or what cannot be."""
    from pipeline.planning.sought import QUESTIONS

    if given.design is None and given.question is None:
        raise InputError(f"say what to plan: --design TEST_FOLDER, or --question with one of {', '.join(QUESTIONS)}")
    if given.question is not None and given.question not in QUESTIONS:
        raise InputError(f"--question {given.question!r} is not known; there are {', '.join(QUESTIONS)}")
    if given.question is not None and given.config is None:
        raise InputError("a question is answered from an archive: give its config.yaml and the compound first")
    if given.config is not None and given.compound is None:
        raise InputError("give the compound after the config, as the cards name it")
    for flag, value, most in (
        ("--specimens", given.specimens, MOST_SPECIMENS),
        ("--batches", given.batches, MOST_BATCHES),
    ):
        if not 1 <= value <= most:
            raise InputError(f"{flag} {value}: from 1 to {most}")
    if not 0.5 <= given.chance < 1:
        raise InputError(f"--chance {given.chance:g}: a wanted chance lies from 0.5 to below 1")
    if not 0 < given.reading_u_um < 1e4:
        raise InputError(f"--reading-u-um {given.reading_u_um:g}: must be above zero")
    if not 0.01 <= given.mu <= 2:
        raise InputError(f"--mu {given.mu:g}: friction lies from 0.01 to 2")


def _wear_alone(given: Given) -> int:
    """A design without an archive: what its wear readings could tell apart, by usual figures."""
    from pipeline.results import plain
    from pipeline.wear.planned import check_design
    from pipeline.wear.planned_stops import Assumed

    assert given.design is not None
    card = _planned(given.design)
    if given.as_json:
        found = check_design(
            card, read_after=given.read_after, reading_u_um=given.reading_u_um, assumed=Assumed(mu=given.mu)
        )
        print(json.dumps(plain(asdict(found)), indent=1))
        return 0
    print(_laws(card, given))
    print(
        "friction, batches, glazing and life: undetermined, because no archive is given to take scatter and laws from; "
        "give its config.yaml and the compound"
    )
    return 0


def _planned(folder: Path) -> Card:
    from pipeline.archive.card import load_card

    if not holds_card(folder):
        raise InputError(f"{folder}: holds no test.yaml; give the folder of a planned test")
    return load_card(folder)


def _laws_or_why(card: Card, given: Given) -> str:
    """Beside other answers one that the card does not carry is no reason to end."""
    try:
        return _laws(card, given)
    except InputError as error:
        return f"wear laws that the readings could tell apart: undetermined, because {error}"


def _laws(card: Card, given: Given) -> str:
    from pipeline.wear.planned import check_design, words
    from pipeline.wear.planned_stops import Assumed

    found = check_design(
        card, read_after=given.read_after, reading_u_um=given.reading_u_um, assumed=Assumed(mu=given.mu)
    )
    return "wear laws that the readings could tell apart, each taken for true in turn with usual figures\n" + words(
        found
    )


def _archive(given: Given) -> Archive:
    from pipeline.planning.archive import read_archive
    from pipeline.workspace.run import load_run

    assert given.config is not None and given.compound is not None
    if given.config.is_dir():
        raise InputError(f"{given.config}: is a folder; give the config file of the archive")
    run = load_run(given.config)
    if given.method is None and len(run.methods) > 1:
        raise InputError(f"{given.config}: names the methods {', '.join(run.methods)}; say which by --method")
    method = given.method or run.methods[0]
    if method not in run.methods:
        raise InputError(f"{given.config}: no method {method!r}; there are {', '.join(run.methods)}")
    folders = {name: folder for name, folder in run.slug_of} | {folder: folder for _, folder in run.slug_of}
    if given.compound not in folders:
        raise InputError(
            f"{given.config}: no compound {given.compound!r}; there are {', '.join(name for name, _ in run.slug_of)}"
        )
    folder = folders[given.compound]
    target = run.compound_target(folder)
    found = read_archive(
        results=Path(run.results),
        archive=run.archive,
        compound=run.name_of(folder),
        folder=folder,
        tests=run.tests_of(folder),
        method=(method, dict(run.read_methods)[method]),
        target=Path(target) if target else None,
        duties=list(run.workspace.duties),
    )
    batches = sorted({t.card.batch for t in found.tests})
    if given.against is not None and given.against not in batches:
        raise InputError(
            f"--against {given.against!r}: no such batch of {found.compound}; there are {', '.join(batches)}"
        )
    return replace(found, against=given.against)


def _asked(given: Given, archive: Archive, card: Card) -> Asked:
    from pipeline.planning.judged import Asked
    from pipeline.planning.life import Reading, reading_stops
    from pipeline.wear.planned_stops import Assumed

    after = given.read_after
    if after is None and given.design is None:
        after = archive.read_after
    reading_stops(card, after)  # an unknown block is refused before anything is worked out
    return Asked(given.chance, Reading(given.reading_u_um, after), Assumed(mu=given.mu), given.other_state)


def _sought(given: Given) -> Sought | None:
    from pipeline.planning.components import Quantity
    from pipeline.planning.sought import Sought

    if given.question is None:
        return None
    known = get_args(Quantity)
    wrong = [q for q in given.of if q not in known]
    if wrong:
        raise InputError(f"--of {wrong[0]!r} is not known; there are {', '.join(known)}")
    dimension = {"window": "temperature_difference", "life": "share"}.get(given.question)
    within = None
    if given.within is not None:
        within = _energy(given.within) if dimension is None else _above("--within", given.within, dimension)
    size = None
    if given.question == "difference":
        if given.size is None:
            raise InputError("--question difference needs --size, such as 0.03 (of wear: of the ratio less 1)")
        size = _above("--size", given.size, "share")
    return Sought(
        question=given.question,  # type: ignore[arg-type]
        of=given.of or known,  # type: ignore[arg-type]
        size=size,
        below_w_mm2=None if given.below is None else _above("--below", given.below, "power_density") / 1e6,
        loss=None if given.loss is None else _share("--loss", given.loss),
        within=within,
        duty=given.duty,
    )


def _above(flag: str, text: str, dimension: str) -> float:
    try:
        value = to_si(text, dimension)
    except ValueError as error:
        raise InputError(f"{flag}: {error}") from None
    if not value > 0:
        raise InputError(f"{flag}: {text!r} must be above zero; accepted: {DIMENSIONS[dimension][1]}")
    return value


def _share(flag: str, text: str) -> float:
    value = _above(flag, text, "share")
    if value >= 1:
        raise InputError(f"{flag}: {text!r} must be below 1 (100 %)")
    return value


def _energy(text: str) -> float:
    """An activation energy in kJ/mol."""
    number, _, unit = text.strip().partition(" ")
    try:
        value = float(number)
    except ValueError:
        value = 0.0
    if not (value > 0 and value < 1e4 and unit.strip() in ("kJ/mol", "")):
        raise InputError(f"--within: {text!r} is no activation energy; write it such as '10 kJ/mol'")
    return value
