"""What qualifies every number: uncertainty (common and per stop), comparability, restrictions and cautions."""

from pipeline.report.document import FRONT, ROOM, Cell, Number, Section, Table, Text, ranked, shown
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
            "Intervals are 95 % unless stated.",
            rank=ROOM,
        ),
        *ranked(FRONT, dominant(inputs)),
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
                rank=FRONT,
            )
        )
    if not any(isinstance(part, Table) for part in parts):
        why = "the test cards state no sensor limits" if inputs.usable else "no test of the compound can be used"
        parts.append(Text("Budget of µ: not given: {why}.", {"why": why}, "open", rank=FRONT))
    parts.append(
        Text(
            "Comparable: sheets of the same method digest. Sheets of another digest are compared through the report "
            "on the change of method, "
            "never side by side.",
            rank=ROOM,
        )
    )
    return Section("Uncertainty and comparability", parts)


def dominant(inputs: Inputs) -> list[Text | Table]:
    """Which source has most of the variance of µ that is common to all stops, test by test; [] without a budget."""
    rows: list[list[Cell]] = []
    for test in inputs.usable:
        known = [row for row in test.summary.each(lambda s: s.budget) if row.result.relative_u]
        common = [row for row in known if row.result.part == "common"]
        if not common:
            continue
        largest = max(common, key=lambda row: row.result.relative_u or 0.0)
        whole = sum((row.result.relative_u or 0.0) ** 2 for row in common)
        source = largest.result.source.replace("_", " ")
        share = Number(
            f"{test.test}: share of {source} in the common variance of µ", 100 * (largest.result.relative_u or 0.0) ** 2 / whole, "",
            largest.file, f"share in per cent of {largest.pointer}/relative_u squared in the sum of those of part common", decimals=0,
        )  # fmt: skip
        u = test.summary.number(
            f"{test.test}: common part of u(µ)", lambda s: s.mu_u_common_relative, unit="", factor=100.0, decimals=2
        )
        rows.append([test.test, u, source, share, largest.result.note or "–"])
    if not rows:
        return []
    alike: dict[str, list[list[Cell]]] = {}
    for row in rows:
        alike.setdefault(" ".join(shown(cell) for cell in row[1:]), []).append(row)
    rows = [[", ".join(shown(row[0]) for row in group), *group[0][1:]] for group in alike.values()]
    head = ["Tests", "Common u of µ (%)", "Largest source", "Its share of the variance (%)", "It rests on"]
    return [
        Table(
            "What dominates the uncertainty of the level of µ: relative standard uncertainty common to all stops",
            head,
            rows,
        )
    ]


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
    head = ["Responsible for this sheet", "Name", "Signature", "Date"]
    signed = Table("Signatures", head, signatures(inputs), rank=FRONT, by_hand=True)
    said = ranked(FRONT, [*parts, *[Text(text) for text in CAUTIONS]])
    return Section("Restrictions and cautions", [*said, signed])


def signatures(inputs: Inputs) -> list[list[Cell]]:
    """A line to sign on for each of those responsible, with the name that is stated."""
    stated = inputs.title_block
    return [["Prepared", stated.prepared or "", "", ""], ["Reviewed", stated.reviewed or "", "", ""]]


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
