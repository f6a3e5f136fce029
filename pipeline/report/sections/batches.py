"""Batches: friction at reference conditions, bite and wear of each, and for every pair one of three answers."""

from pipeline.report.document import Cell, Picture, Section, Table, Text
from pipeline.report.inputs import Inputs

QUESTIONS = (
    ("mu", "mu_difference", "Friction at reference conditions"),
    ("bite", "bite_difference", "Bite"),
    ("wear", "wear_ratio", "Disc wear ratio"),
)


def batches(inputs: Inputs) -> Section:
    """The batch part of the sheet."""
    source, target = inputs.batches, inputs.target
    listed = source.get("/batches") or []
    parts: list[Text | Table | Picture] = []
    if not listed:
        return Section("Batches", [Text("Batches: not given: {why}", {"why": source.reason("/batches")}, "open")])
    parts.append(Table("Each batch, with 95 % intervals; specimens, not stops, are the replicates", [
        "Batch", "Specimens", "µ at reference conditions", "Bite, coldest conditions all batches have", "Disc wear (µm per stop)"], [
        [str(b.get("batch")), _count(inputs, i), *[source.number(f"batch {b.get('batch')}: {words}", f"/batches/{i}/{key}") for key, words in (
            ("mu", "µ"), ("bite", "bite"), ("wear_um_per_stop", "wear per stop"))]] for i, b in enumerate(listed)]))  # fmt: skip
    if target:
        parts.append(Text("Margins, fixed before the data: µ within {margin}; wear ratio between {low} and {high}.", {
            "margin": target.number("margin of µ between batches", "/mu_batch_margin", decimals=3),
            "low": target.number("wear ratio, lower margin", "/wear_batch_ratio/0", decimals=2),
            "high": target.number("wear ratio, upper margin", "/wear_batch_ratio/1", decimals=2)}))  # fmt: skip
    else:
        parts.append(
            Text(
                "No target gives margins for this compound, so no pair can be called equivalent or different.",
                {},
                "open",
            )
        )
    if source.get("/pairs"):
        head = ["a", "b", "Question", "a − b (wear: a / b)", "Answer", "Why, and what would decide it"]
        parts.append(
            Table(
                "Pairs: difference (wear: ratio) with its 95 % interval, and one of three answers",
                head,
                answer_rows(inputs),
            )
        )
        parts.append(Picture("batches", "Friction at reference conditions of each batch with its 95 % interval; small points are specimens.",
                             "Friction coefficient by batch with intervals"))  # fmt: skip
    else:
        parts.append(Text("One batch: nothing to compare."))
    parts += [Text("{note}.", {"note": str(note).rstrip(".")}, sentence=True) for note in source.get("/notes") or []]
    left_out = source.get("/left_out")
    for what, items in left_out.items() if isinstance(left_out, dict) else ():
        if items:
            parts.append(
                Text("Left out of {what}: {items}.", {"what": str(what), "items": "; ".join(map(str, items))}, "open")
            )
    return Section("Batches", parts)


def _count(inputs: Inputs, index: int) -> Cell:
    listed = inputs.batches.get(f"/batches/{index}/specimens")
    return (
        str(", ".join(map(str, listed)))
        if isinstance(listed, list)
        else inputs.batches.number("specimens", f"/batches/{index}/specimens", decimals=0)
    )


def answer_rows(inputs: Inputs) -> list[list[Cell]]:
    """One row a pair and question: figure with interval, answer, reason, caveat."""
    rows: list[list[Cell]] = []
    for i, pair in enumerate(inputs.batches.get("/pairs") or []):
        for name, key, words in QUESTIONS:
            shared = pair.get("why")
            why = pair.get(f"{name}_why") or (shared.get(name) if isinstance(shared, dict) else shared) or ""
            said = [str(why)] if why else []
            said += [f"caveat: {pair['caveat']}"] if pair.get("caveat") else []
            figure = inputs.batches.number(f"{pair.get('a')} and {pair.get('b')}: {words.lower()}", f"/pairs/{i}/{key}")
            answer = str(pair.get(f"{name}_verdict") or "not given")
            rows.append([str(pair.get("a")), str(pair.get("b")), words, figure, answer, "; ".join(said) or "–"])
    return rows
