"""What each study says in one line, its figures read from the page that its command wrote.

An answer has places for figures: `{row|column}` is a cell of the page's first table that has both (the row by its first cell or cells, joined
by commas; `column#2` where a table has two of a name, `colu*` where only its beginning lasts), `{row|column|short}` that cell without what stands in brackets, `{/pattern/}`
the group of a pattern in the text. A study that is written anew in another form fails here, and its answer is mended by hand.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

PLACE = re.compile(r"\{(/.*?/|[^{}/][^{}]*)\}")


@dataclass(frozen=True)
class Study:
    """A page in docs/ and how it is told in one line."""

    page: str
    question: str
    answer: str

    def said(self, docs: Path) -> str:
        text = (docs / f"{self.page}.md").read_text(encoding="utf-8")
        return PLACE.sub(lambda match: self._figure(text, match.group(1)), self.answer)

    def _figure(self, text: str, place: str) -> str:
        if place.startswith("/"):
            match = re.search(place[1:-1], " ".join(text.split()))
            found = match.group(1) if match else None
        else:
            row, column, *short = place.split("|")
            cells = (cell for table in tables(text) if (cell := _cell(table, row, column)) is not None)
            found = next(cells, None)
            found = found.split(" (")[0] if found and short else found
        if found is None:
            raise LookupError(
                f"docs/{self.page}.md has no {{{place}}} any more: mend its answer in tests/docs/studies.py"
            )
        return found


def tables(text: str) -> Iterator[list[list[str]]]:
    """Each table of a page as rows of cells, the header first."""
    rows: list[list[str]] = []
    for line in [*text.splitlines(), ""]:
        if line.startswith("|"):
            rows.append([cell.strip() for cell in line.strip().strip("|").split("|")])
        elif rows:
            yield [rows[0], *rows[2:]]
            rows = []


def _cell(table: list[list[str]], row: str, column: str) -> str | None:
    name, _, number = column.partition("#")
    start = name.removesuffix("*")
    places = [i for i, title in enumerate(table[0]) if title == name or (start != name and title.startswith(start))]
    if len(places) < int(number or 1):
        return None
    at = places[int(number or 1) - 1]
    return next((cells[at] for cells in table[1:] if _is(cells, row)), None)


def _is(cells: list[str], row: str) -> bool:
    return any(", ".join(cells[:count]) == row for count in range(1, len(cells)))


STUDIES = {
    "The decision": (
        Study(
            "decisions_study",
            "Are lives, oxidation laws and openings to run as sure as they claim, from recordings' stops to the duty?",
            "a life's 95 % interval holds the truth in {life, both duties|now*}; an opening offered without "
            "reservation glazes in {glazes though unreserved|now*}; the test that is named settles the film in "
            "{settled by the named test|now*} (wanted: {settled by the named test|wanted, %} %)",
        ),
        Study(
            "samples_story",
            "What would the control charts have said of the samples, day by day?",
            "{/## In short (.*?\\.) /}",
        ),
    ),
    "Friction of a stop": (
        Study(
            "mu_coverage_study",
            "Does the uncertainty of a stop's µ cover its true error?",
            "two standard uncertainties cover {gain and zero, all|covered} where sensors err as stated, "
            "{level, all|covered} where a sensor is off at the working level and not at rest",
        ),
        Study(
            "conditioning_study",
            "What are lag, drag and offset worth, and are they taken off?",
            "largest error of µ in snubs: {snubs|default method|short} as it is done, {snubs|lag left in|short} with "
            "the lag left in, {snubs|drag left in|short} with the drag",
        ),
        Study(
            "formats_study",
            "Does the form of a file change a number?",
            "read from MDF and TDMS as from Parquet to the last bit (µ: {MDF 4, one stop per file|of mu}); one series "
            "instead of a file a stop moves µ by {Parquet, one series|of mu} at most",
        ),
    ),
    "The way in": (
        Study(
            "walks_study",
            "Is a strange archive brought to its numbers without rewriting it?",
            "{/(\\d+ archives walked by 3 commands .*? and one edited file each)/}; mean error of µ at most "
            "{/Mean error of µ in a test at most ([\\d.]+ %)/}, channels guessed wrongly without a doubt: {/with one, (\\d+) wrong without/}",
        ),
    ),
    "Faults of recordings and cards": (
        Study(
            "faults_study",
            "Are gross faults of a recording found, and is the right thing done?",
            "found {/Detected (\\d+ of \\d+)/}, followed {/followed (\\d+ of \\d+)/}",
        ),
        Study(
            "silent_faults_study",
            "Which quiet errors show, and which cannot?",
            "of {/\\((\\d+ kinds, \\d+ cases)\\)/} {named|after} are named, {corrected|after} corrected, {silent|after} stay silent: "
            "those without a witness in one test",
        ),
        Study(
            "unit_slips_study",
            "Is a channel in the wrong unit found?",
            "{/(\\d+ slips: [^.]*)\\./}",
        ),
    ),
    "Friction map, window, law at the face": (
        Study(
            "friction_coverage_study",
            "Do the friction bands hold what they say?",
            "the mean's 95 % band covers {95 % band of the mean covers the truth, share of supported temperatures|all} of "
            "temperatures; values given outside the support: {values given outside the support|all}",
        ),
        Study(
            "friction_interactions_study",
            "Does the map follow friction that is made at the rubbing face?",
            "a window's end by best estimate within 15 °C of the truth in "
            "{best estimate of the end within 15 C of the truth (wanted 0.90)|one specimen, face, after} with one specimen and "
            "{best estimate of the end within 15 C of the truth (wanted 0.90)|several, face, after} with several; the window's own, "
            "careful end in {of these within 15 C of the truth (wanted 0.90)|one specimen, face, after} and "
            "{of these within 15 C of the truth (wanted 0.90)|several, face, after}, not beyond the truth in "
            "{not beyond the truth|one specimen, face, after|short} and {not beyond the truth|several, face, after|short}",
        ),
        Study(
            "face_law_study",
            "Is the law at the face right, and is the better of law and map chosen?",
            "µ lies in the law's 95 % interval in {mu inside the law's 95 % interval|face, both} where friction is made at the face; "
            "where it is not, the law was chosen in {the rule chose the law|initial temperature}",
        ),
        Study(
            "thermocouple_study",
            "What do thermocouples' courses say of the disc, and what is it worth?",
            "where discs lose heat while braking, the conductivity's error falls from "
            "{conductivity of the law, rms error (ln), without|discs that lose heat while braking} to "
            "{conductivity of the law, rms error (ln), with|discs that lose heat while braking} (logarithm)",
        ),
    ),
    "Wear": (
        Study(
            "wear_laws_study",
            "Which law do wear readings tell, and when can they not?",
            "chosen right: {all|chosen right}; parameters covered: {all|parameters covered by their 95 % intervals}; read at one "
            "temperature: not identified in {one temperature|oxidation not identified}",
        ),
        Study(
            "wear_rates_study",
            "Are rates from coarse readings right, and their intervals?",
            "intervals hold the truth in {one test, all|held} (one test) and {compound, all|held} (compound)",
        ),
    ),
    "Drift": (
        Study(
            "drift_study",
            "Is glazing told from what looks like it?",
            "healthy tests called glazing-like: {healthy called glazing-like: 1 % at most|reached}; a loss of 8 % found: "
            "{glazing 8 % found: 95 %|reached}, of 5 %: {glazing 5 % found: 80 %|reached}",
        ),
        Study(
            "drift_files_study",
            "The same through raw recordings and every stage",
            "{/--write`: (\\d+ tests)/}; not right: {/reason given (.*?)\\.?$/}",
        ),
        Study(
            "watching_study",
            "How often is a test that is watched stopped for nothing, and how soon for a cause?",
            "sound tests that raise an alarm, all looks together: {any alarm (aim: 2 % at most)|tests}; a film of 12 % is said after "
            "{glazing 12 %|stops to the alarm} stops of its use, of 17 % after {glazing 17 %|stops to the alarm} (middle), with "
            "{glazing 17 %|stops saved} stops of the program still to come",
        ),
        Study(
            "charts_study",
            "How often do the control charts cry without cause, and how soon do they find a step?",
            "one single value in {estimated as values come, one level|single: one in|short}, the average once in "
            "{estimated as values come, one level|average: one in|short}; heavy tails raise that to one in "
            "{estimated, heavy tails (Student's t, 5 degrees of freedom)|single: one in|short}",
        ),
    ),
    "Batches": (
        Study(
            "batch_power_study",
            "What can a comparison of batches tell with so many specimens?",
            "with two specimens each and a scatter of 0.006 alike batches are called equivalent in {2, 0.0060, 0.000|equivalent|short} "
            "of cases, with 0.0135 in {2, 0.0135, 0.000|equivalent|short}; wrongly so at the margin in "
            "{2, 0.0060, 0.030|equivalent|short}",
        ),
        Study(
            "unequal_batches_study",
            "Do the promises hold for batches of unequal size?",
            "wrong at the margin, of µ: {two batches, mu, the margin|wrong (95 % interval)}; one specimen on one side answers "
            "{mu, the margin, 1000|answers other than undecided} times",
        ),
    ),
    "Planning": (
        Study(
            "planner_study",
            "Does a plan for batches keep what it says?",
            "{/(\\d+ of \\d+ chances within 5 points)/}",
        ),
        Study(
            "planner_few_study",
            "And of glazing, window ends, wear laws?",
            "a loss of 4.2 % alarms in {4.2|came, %} %, planned {4.2|planned chance of an alarm, %} %; few runs: of the right size and no more",
        ),
    ),
    "What goes wrong around it": (
        Study(
            "fuzz_study",
            "What do broken and hostile archives do?",
            "{/(\\d+ archives)/}: tracebacks {tracebacks, or a stage longer than 60 s|archives}, silent numbers "
            "{silent numbers: a stop ok without a finding whose mu is off by more than 0.02 or energy by 5%|archives}",
        ),
        Study(
            "kills_study",
            "What is left of a run that is killed?",
            "results equal to an undisturbed run's in {/equal in (\\d+ of \\d+)/}",
        ),
        Study(
            "broken_system_study",
            "And where the machine fails?",
            "{/nothing disturbed: (\\d+ of \\d+)/} go on to equal results",
        ),
    ),
    "Time and memory": (
        Study(
            "growth_benchmark",
            "How do time and memory grow with the number of stops?",
            "four times the stops take at most {/at most ([\\d.]+) times \\(/} times the time",
        ),
        Study(
            "standing_benchmark",
            "How long does a run look over a thousand tests of 300 recordings where nothing is to do?",
            "{/Found at 1,000 \\([^)]*\\): ([\\d.]+ s)/} of processor time, read off the growth from 20 to 100 tests",
        ),
        Study(
            "raw_to_index_benchmark",
            "And from raw text to the index of a thousand tests of 60 stops?",
            "{/sizes: ([\\d.]+ hours) of processor/} of processor time on the growth between two archives; a test of 2 GB takes at most {/Highest: ([\\d,]+ MB)/}",
        ),
        Study(
            "speed_benchmark",
            "How far from the library underneath is the way from text to stops?",
            "{/polars' parse \\| .*?([\\d.]+) \\| at most 6/} times polars' own parse of the text",
        ),
        Study(
            "way_in_benchmark",
            "How long does a person wait for a look into 100 MB?",
            "{`stopsheet inspect`, 100 MB, commas|CPU s} s of one core; for the command's help {`stopsheet --help`|CPU s} s",
        ),
        Study(
            "pages_benchmark",
            "How heavy is a test's page, and how soon does it answer?",
            "1,000 stops: {/stops has ([\\d.]+ MB)/}, first text after {/stands after\\s+([\\d.]+ s)/}, first plot by {/and ([\\d.]+ s) of processor/} of processor time",
        ),
        Study(
            "series_benchmark",
            "Can a recording of several GB be read?",
            "{/(One delimited.*?GB)/}: peak memory {`stopsheet stops`|peak memory}",
        ),
        Study(
            "libraries",
            "What is a library's, what is ours, and why?",
            "a table of each method, with the figure that decided",
        ),
    ),
}
