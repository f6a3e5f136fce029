"""What the user states of the sheet: the lines of its title block, and the history of its amendments."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.report.document import Cell, Section, Table, Text
from pipeline.report.inputs import Inputs

#: words of the title block's lines by language: number of the report, issue, date of issue, prepared, reviewed
WORDS = {
    "en": ("Report no.", "Issue", "Date of issue", "Prepared", "Reviewed"),
    "de": ("Bericht Nr.", "Ausgabe", "Ausgabedatum", "Erstellt", "Geprüft"),
    "fr": ("Rapport n°", "Édition", "Date d’édition", "Établi", "Vérifié"),
    "it": ("Rapporto n.", "Edizione", "Data di edizione", "Redatto", "Verificato"),
    "es": ("Informe n.º", "Edición", "Fecha de edición", "Elaborado", "Revisado"),
}
LONGEST = 400  # characters of a text that stands beneath the title block; a longer one stands with the amendments
TITLE = "Amendments"


@dataclass(frozen=True)
class TitleLines:
    """The title block as printed: (name, value) of each line, in the order of `WORDS`; an empty value is a blank line.

    `text`: the text for the customer by its lines, where it is short.
    """

    language: str
    lines: tuple[tuple[str, str], ...]
    text: tuple[str, ...] = ()

    @classmethod
    def blank(cls) -> TitleLines:
        """The title block of which nothing is stated."""
        return cls("en", tuple((name, "") for name in WORDS["en"]))


def title_block(inputs: Inputs) -> TitleLines:
    """The title block of the sheet."""
    stated = inputs.title_block
    values = (stated.report_number, stated.issue, stated.date, stated.prepared, stated.reviewed)
    names = WORDS[stated.language]
    text = stated.text or ""
    return TitleLines(
        stated.language,
        tuple((name, value or "") for name, value in zip(names, values, strict=True)),
        tuple(_lines(text)) if len(text) <= LONGEST else (f"The text for the customer stands under {TITLE}.",),
    )


def amendments(inputs: Inputs) -> Section:
    """The text for the customer where it is long, and the amendments; no parts where there is neither."""
    stated = inputs.title_block
    parts: list[Text | Table] = []
    if stated.text and len(stated.text) > LONGEST:
        parts += [Text("{line}", {"line": line}) for line in _lines(stated.text)]
    if stated.amendments:
        rows: list[list[Cell]] = [[one.issue, one.date, one.what] for one in stated.amendments]
        parts.append(Table("History of this sheet", ["Issue", "Date", "What changed"], rows))
    return Section(TITLE, parts)


def _lines(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]
