"""The page of files: what a person writes and what a run writes, each with its schema and where it is told.

The rows follow from the table of stages, the catalogue of results and the models of the input files.
"""

from __future__ import annotations

from pipeline.results.catalogue import FILES
from pipeline.stage_row import FOLDERS, Stage
from pipeline.stages import STAGES
from pipeline.workspace import input_files

#: page that says how a stage's figures are made
MADE = {
    "channels": "input",
    "stops": "reduction",
    "friction": "friction",
    "wear": "wear",
    "repeatability": "drift",
    "drift": "drift",
    "rigs": "laboratory",
    "precision": "laboratory",
    "charts": "laboratory",
    "extracts": "running",
    "rig_page": "laboratory",
    "compound_charts": "laboratory",
    "findings": "findings",
    "compound": "duty",
    "sheet": "sheet",
    "comparison": "comparison",
    "delta": "howto/method_change",
    "shares": "howto/method_change",
}
#: pages of single files, where the stage's is not theirs
MADE_OF = {"friction.json": "friction", "wear.json": "wear", "batches.json": "batches", "targets.json": "targets"}

OPENING = """# Files

For whoever looks for a figure, or reads results by a program: every file that a person writes and every file that a run writes, with its JSON
Schema (draft 2020-12) or its columns, and the page that says how it is made. What other tools may rely on stands in [contract.md](contract.md).

Results may gain keys, so their schemas allow further ones; those of input files refuse unknown keys. `stopsheet new-test` puts the schema of the test card beside
the tests and names it in the card's first line, so that an editor that knows YAML schemas completes keys and marks those that are not known.
"""


def files_page() -> str:
    """The whole page, without the note of what generated it."""
    lines = [OPENING, "## What a person writes\n", "| file | schema |", "|---|---|"]
    lines += [f"| {title} | {_schema(f'input/{name}')} |" for name, (title, _) in input_files.FILES.items()]
    lines += [
        "\n[input.md](input.md) and [contract.md](contract.md) describe them; `wear.csv` and tables of facts are plain tables.\n"
    ]
    lines += ["## What a run writes\n", "Below the results, by the stage that writes it.\n"]
    lines += ["| file | stage | content | made as told in |", "|---|---|---|---|"]
    lines += [
        _row(stage, name) for stage in STAGES.values() for name in dict.fromkeys(map(_of_any_figure, stage.outputs))
    ]
    lines += [
        "\nKeys and meanings of every JSON file: [results.md](results.md); columns of every table: [tables.md](tables.md)."
    ]
    return "\n".join(lines) + "\n"


def _of_any_figure(name: str) -> str:
    """A file's name; of the many of a sheet's figures one that stands for them."""
    return f"figures/{{figure}}.{name.rsplit('.', 1)[-1]}" if name.startswith("figures/") else name


def _row(stage: Stage, name: str) -> str:
    place = f"{FOLDERS[stage.level]}/{name}".replace("{", "<").replace("}", ">")
    made = MADE_OF.get(name) or MADE.get(stage.name)
    return f"| `{place}` | `{stage.name}` | {_content(place)} | {f'[{made}]({made}.md)' if made else ''} |"


def _content(place: str) -> str:
    if place.endswith(".schema.json"):
        return "the schema of the file beside it"
    schema = {file.place: file.name for file in FILES}.get(place)
    if schema:
        return _schema(schema)
    return {
        "parquet": "a table",
        "csv": "a table for spreadsheets",
        "html": "a page",
        "xlsx": "a workbook",
        "svg": "a figure",
        "pdf": "a print",
        "yaml": "settings",
    }[place.rsplit(".", 1)[-1]]


def _schema(name: str) -> str:
    return f"[{name}.schema.json](schemas/{name}.schema.json)"
