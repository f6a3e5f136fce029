"""What qualifies every number: uncertainty (common and per stop), comparability, restrictions and cautions."""

from pipeline.report.document import Cell, Section, Table, Text
from pipeline.report.inputs import Inputs, OfTest
from pipeline.stops.uncertainty import COUNTED_AS_0

CAUTIONS = (
    "These results support engineering judgement. They are not a release: local codes, licensed practice and the "
    "brake's release authority decide.",
    "The results describe specimens on a rig under the conditions stated. The rig is not the vehicle.",
    "No value holds outside the temperatures, pressures, speeds, energies and powers tested; nothing on this sheet "
    "is extrapolated without saying so.",
    "Carbon friction depends on history: bedding, moisture, glazing, oxidation and contamination change it at the "
    "same temperature. A first stop "
    "after a pause, or after a wash, can be far below the curve.",
    "Oxidised carbon loses strength before it looks worn; thickness alone does not show it. Never run below the "
    "minimum thickness.",
    "An item that is not given is not known; it is not a pass.",
)


def uncertainty(inputs: Inputs) -> Section:
    """Common against per-stop parts, from each test's budget."""
    parts: list[Text | Table] = [
        Text(
            "Uncertainties follow JCGM 100. The common part (calibration, radius, area) shifts all stops of a rig "
            "alike and does not shrink with more stops; "
            "the per-stop part does. Comparisons inside one rig may leave the common part out; statements about the "
            "absolute level may not. "
            "Intervals are 95 % unless stated."
        )
    ]
    for part, words in (
        ("common", "common to all stops of a test"),
        ("stop", "of a single stop (median over the test)"),
    ):
        sources = _sources(inputs, part)
        if sources:
            head = ["Test", *[f"{source.replace('_', ' ')} (%)" for source in sources]]
            rows: list[list[Cell]] = [
                [test.test, *[_entry(test, source, part) for source in sources]] for test in inputs.usable
            ]
            parts.append(Table(f"Budget of µ: relative standard uncertainty, {words}", head, rows))
    unstated = _unstated(inputs)
    if unstated:
        parts.append(
            Text(
                "In these budgets no uncertainty is counted, as the card states none, of: {sources}.",
                {"sources": unstated},
                "open",
            )
        )
    if len(parts) == 1:
        parts.append(Text("Budget of µ: not given: the test cards state no sensor limits.", {}, "open"))
    parts.append(
        Text(
            "Comparable: sheets of the same method digest. Sheets of another digest are compared through the report "
            "on the change of method, "
            "never side by side."
        )
    )
    return Section("Uncertainty and comparability", parts)


def _sources(inputs: Inputs, part: str) -> list[str]:
    """Sources of one part in the order of the budgets, those with a figure somewhere."""
    listed = [row for test in inputs.usable for row in test.summary.result.budget]
    return list(dict.fromkeys(row.source for row in listed if row.part == part and row.relative_u is not None))


def _unstated(inputs: Inputs) -> str:
    """Sources whose uncertainty nobody stated, each with its tests where it is not all of them."""
    tests_of: dict[str, list[str]] = {}
    for test in inputs.usable:
        for row in test.summary.result.budget:
            if row.why and COUNTED_AS_0 in row.why:
                tests_of.setdefault(row.source.replace("_", " "), []).append(test.test)
    every = len(inputs.usable)
    return "; ".join(
        source if len(tests) == every else f"{source} ({', '.join(tests)})" for source, tests in tests_of.items()
    )


def _entry(test: OfTest, source: str, part: str) -> Cell:
    for row in test.summary.each(lambda found: found.budget):
        if row.result.source == source and row.result.part == part:
            label = f"{test.test}: u of µ from {source.replace('_', ' ')}"
            return row.number(label, lambda share: share.relative_u, unit="%", factor=100.0, decimals=2)
    return "–"


def cautions(inputs: Inputs) -> Section:
    """Restrictions and cautions; those from the data first."""
    parts = [Text("{why}", {"why": text}, "open") for text in from_data(inputs)]
    signed = Table("Responsible for this sheet", ["Prepared", "Reviewed", "Date"], signatures(inputs))
    return Section("Restrictions and cautions", [*parts, *[Text(text) for text in CAUTIONS], signed])


def signatures(inputs: Inputs) -> list[list[Cell]]:
    """Who is stated to be responsible, and beneath it a line to sign on."""
    stated = inputs.title_block
    room: list[Cell] = ["", "", ""]
    return [[stated.prepared or "", stated.reviewed or "", ""], room] if stated.prepared or stated.reviewed else [room]


def from_data(inputs: Inputs) -> list[str]:
    """Restrictions that this compound's own results impose."""
    found = []
    stated, newest = inputs.title_block, inputs.newest
    if stated.date is not None and newest is not None and stated.date < newest.isoformat():
        found.append(f"The date of issue, {stated.date}, lies before that of the newest test, {newest}.")
    if stated.file is not None and stated.why != f"not stated in {stated.file}":
        found.append(f"The title block's file is left out: {stated.why}.")
    unused = [test.test for test in inputs.tests if test.unusable]
    if unused:
        found.append(f"Not in these results, because unusable: {', '.join(unused)}.")
    summary_only = [t.test for t in inputs.usable if t.card and t.card.recordings.holds == "summary"]
    if summary_only:
        found.append(f"Only summary rows were kept of {', '.join(summary_only)}: not reprocessable by another method.")
    drifting = [t.test for t in inputs.usable if t.drift.result.verdict not in (None, "none", "bedding-in")]
    if drifting:
        found.append(f"Friction did not stay where the bedded map puts it in {', '.join(drifting)}; see stability.")
    left_out = inputs.friction.result.tests_left_out
    found += [
        f"Left out of the compound's results: {test}: {why}." for test, why in left_out.items() if test not in unused
    ]
    batches = {t.card.batch for t in inputs.usable if t.card}
    specimens = {(t.card.batch, t.card.specimen) for t in inputs.usable if t.card}
    if specimens and len(specimens) == len(batches):
        found.append("One specimen per batch: batch and specimen cannot be separated.")
    return found
