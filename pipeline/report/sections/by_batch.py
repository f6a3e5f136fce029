"""What is told batch by batch: wear laws and factors, answers for wear by part, and whose life a duty's life is."""

from collections.abc import Callable
from dataclasses import replace

from pipeline.report import numbers
from pipeline.report.document import ROOM, Cell, Table, Text
from pipeline.report.inputs import Inputs
from pipeline.report.source import Cited
from pipeline.report.wear_words import name_of
from pipeline.results.batches import Pair, WearAnswer
from pipeline.results.duty import BatchLife, DutyProjection
from pipeline.results.model import Interval
from pipeline.results.wear import BatchWear, CompoundComponent, Part

PARTS: tuple[Part, ...] = ("mechanical", "oxidative", "cold", "hot")
MEANING = (
    "Each batch by its own law: the law's shape is common, its rates are the batch's. A factor is the batch's rate over that of all batches "
    "together; the rate per stop is over the map and duty blocks of all tests, so that batches stand side by side in one program."
)


def wear_parts(inputs: Inputs) -> list[Text | Table]:
    """Wear of every batch by part, and the batch and specimen that wear most."""
    components = inputs.wear.named(lambda found: found.components or {})
    listed = {name: found for name, found in components.items() if found.result.by_batch}
    if not listed:
        return []
    rows = [_wear_row(name, batch) for name, found in listed.items() for batch in found.each(lambda c: c.by_batch)]
    head = ["Component", "Batch", "Specimens", "Part: factor over all batches", "Per stop and face (µm)", "To mind"]
    worst = [_worst_text(name, found) for name, found in listed.items()]
    return [Text(MEANING), Table("Wear by batch, 95 % intervals", head, rows), *[text for text in worst if text]]


def _wear_row(name: str, batch: Cited[BatchWear]) -> list[Cell]:
    found = batch.result
    label = f"{name_of(name)}, batch {found.batch}"
    known = [part for part in PARTS if part in found.factors]
    factors: Cell = "–"
    if known:
        values: dict[str, Cell] = {part: batch.number(f"{label}: {part} factor", factor(part)) for part in known}
        factors = Text("; ".join(f"{part} {{{part}}}" for part in known), values)
    rate = batch.number(
        f"{label}: wear per stop and face",
        lambda b: b.map_and_duty.um_per_stop_per_face if b.map_and_duty else None,
        why=found.measured_why or "no stop of a map or duty block",
    )
    count = batch.number(f"{label}: specimens", lambda b: b.specimens, decimals=0)
    minded = [found.parted_why, found.measured_why, "one specimen" if found.specimens < 2 else None]
    return [name_of(name), found.batch, count, factors, rate, "; ".join(text for text in minded if text) or "–"]


def factor(part: Part) -> Callable[[BatchWear], Interval]:
    """What picks a part's factor of a batch."""
    return lambda batch: batch.factors[part]


def _worst_text(name: str, found: Cited[CompoundComponent]) -> Text | None:
    worst = found.part(lambda c: c.worst)
    if worst is None:
        return None
    label = f"{name_of(name)}, worst batch"
    values: dict[str, Cell] = {
        "component": name_of(name),
        "batch": worst.result.batch,
        "rate": worst.number(f"{label}: wear per stop and face", lambda w: w.um_per_stop_per_face),
    }
    said = "{component}: batch {batch} wears most, {rate} per stop and face"
    if worst.result.specimen is not None:
        values |= {
            "specimen": worst.result.specimen,
            "factor": worst.number(f"{label}: its worst specimen", lambda w: w.specimen_factor, decimals=2),
        }
        said += "; of its specimens {specimen}, {factor} times as much"
    return Text(said + ".", values, sentence=True)


def answer_parts(inputs: Inputs) -> list[Text | Table]:
    """The answers for wear by component, part and duty of every pair."""
    rows = [
        _answer_row(pair, answer)
        for pair in inputs.batches.each(lambda found: found.pairs)
        for answer in pair.each(lambda p: p.wear)
    ]
    if not rows:
        return []
    head = ["a", "b", "Wear of", "Part, or duty", "a / b", "Answer", "Why, and what would decide it"]
    said = (
        "What a program wears is a mix of mechanisms: batches that differ in one can look alike in the mix. No pair is called equivalent in "
        "wear while a part with a tenth of the loss or more, or a duty's mix, is not."
    )
    return [Text(said), Table("Wear by part and by duty: ratio with its 95 % interval, and its answer", head, rows)]


def _answer_row(pair: Cited[Pair], answer: Cited[WearAnswer]) -> list[Cell]:
    found, a, b = answer.result, pair.result.a, pair.result.b
    component = name_of(found.component)
    place = found.duty or found.part
    ratio = answer.number(f"{a} and {b}: wear of {component}, {place}", lambda row: row.ratio)
    minor = None if found.matters else "little of the wear: it does not count for the pair's answer"
    why = numbers.worded("; ".join(text for text in (found.why, minor) if text) or "–")
    return [a, b, component, place, ratio, found.verdict, why]


def asked_life(inputs: Inputs, duty: str) -> tuple[float | None]:
    """The life that a duty asks for, in km, as a limit beside which no life is rounded."""
    wanted = (
        one
        for one in inputs.judged.result.requirements
        if one.key == "life" and one.target == f"Life on {duty}, at least"
    )
    return (next((one.low for one in wanted), None),)


def life_texts(inputs: Inputs, one: Cited[DutyProjection]) -> list[Text]:
    """Whose life a duty's life is, the pooled figure and the worst specimen beside it."""
    found = one.result
    name = found.duty
    if found.life_of is None:
        return []
    values: dict[str, Cell] = {
        "duty": name,
        "life": replace(
            one.number(f"{name}: life told", lambda d: d.life_km, decimals=0), against=asked_life(inputs, name)
        ),
        "pooled": one.number(f"{name}: life, all batches together", lambda d: d.pooled_life_km, decimals=0),
        "why": found.life_of.why.rstrip("."),
    }
    if found.life_of.batch is None:
        said = "{duty}: life, {life}, is that of all batches together: {why}."
        return [Text(said, values)]
    values["batch"] = found.life_of.batch
    said = "{duty}: life, {life}, is that of batch {batch}, {why}. All batches together: {pooled}."
    worst = one.part(lambda d: d.worst)
    if worst is not None and worst.result.specimen_life_km is not None:
        label = f"{name}: life at the wear of the worst batch's worst specimen"
        values |= {
            "specimen": worst.result.specimen or "",
            "least": worst.number(label, lambda w: w.specimen_life_km, decimals=-1),
        }
        said += " At the wear of its specimen {specimen}: {least}."
    return [Text(said, values, "open")]


def life_table(inputs: Inputs, listed: list[Cited[DutyProjection]]) -> list[Table]:
    """Life of every batch on every duty."""
    rows = [_life_row(inputs, one.result.duty, row) for one in listed for row in one.each(lambda d: d.by_batch)]
    if not rows:
        return []
    head = ["Duty", "Batch", "Specimens", "Life (cycles)", "Life (km)", "ended by", "To mind"]
    return [Table("Life by batch, each by its own wear laws, 95 % intervals", head, rows, rank=ROOM)]


def _life_row(inputs: Inputs, duty: str, row: Cited[BatchLife]) -> list[Cell]:
    found = row.result
    label = f"{duty}, batch {found.batch}"
    minded = [f"mechanisms not separated: {', '.join(found.not_parted)}"] if found.not_parted else []
    minded += ["one specimen"] if found.specimens < 2 else []
    return [
        duty,
        found.batch,
        row.number(f"{label}: specimens", lambda r: r.specimens, decimals=0),
        row.number(f"{label}: life", lambda r: r.life_cycles, unit="cycles", decimals=0),
        replace(
            row.number(f"{label}: life", lambda r: r.life_km, decimals=0, why=found.life_cycles.why),
            against=asked_life(inputs, duty),
        ),
        found.life_limited_by or "–",
        "; ".join(minded) or "–",
    ]
