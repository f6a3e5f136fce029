"""Inputs as people get them wrong: one change of a sound workspace a row, and what a complaint about it must hold.

file: which input; old, new: the change (old "" puts `new` at the end); at: text of the line that the complaint must name, None where
the file has no lines; found, accepted, mend: words that have to stand in these parts, whatever else does.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tests.recordings.makers import samples, text

CARD = """\
schema: 1
compound: Marram 4
batch: M4-2406
specimen: A
date: 2026-03-02
rig: north
brake:
  friction_ring: {outer_diameter: 312 mm, inner_diameter: 220 mm}
  effective_radius: 134 mm
  pistons_per_side: [30 mm, 34 mm, 38 mm]
  pad_area: 52 cm^2
  disc: {mass: 1.7 kg, thickness: 28 mm, minimum_thickness: 24 mm, density: 1.78 g/cm^3, heat_capacity: carbon}
inertia: 26 kg m^2
recordings:
  files: recordings/*.csv
  format: delimited
  holds: stop
  channels:
    time: {column: t, unit: s}
    speed: {column: n, unit: rpm}
    torque: {column: Mb, unit: N m}
    pressure: {column: p, unit: bar}
    disc_temperature: {column: T1, unit: degC}
  sensors:
    torque: {full_scale: 3000 N m, accuracy: 0.2 %}
blocks:
  - name: bed-in
    purpose: bedding
    kind: snub
    stops: 2
    speed: [1500 rpm, 700 rpm]
    pressure: 40 bar
    initial_temperature: 300 degC
  - {name: check 1, purpose: check, kind: snub, stops: 1, speed: [1500 rpm, 700 rpm], pressure: 40 bar, initial_temperature: 300 degC}
wear: wear.csv
"""
CONFIG = """\
archive: archive
results: results
methods: [methods/first.yaml, methods/second.yaml]
compare: [[first, second]]
targets: targets/*.yaml
duties: duties/*.yaml
rigs: rigs/*.yaml
facts: batches.csv
sheets: sheets/*.yaml
"""
METHOD = """\
conditioning: {filter_cutoff: 20 Hz}
reduction:
  average: distance
  build_up: 95 %
friction: {confidence: 95 %}
"""
TARGET = """\
compound: Marram 4
temperature_window: [280 degC, 580 degC]
mu: [0.38, 0.56]
disc_wear: 0.25 um
wear_batch_ratio: [0.8, 1.25]
"""
DUTY = """\
duty: valley route
vehicle_mass: 1180 kg
brake_share: 0.29
rolling_radius: 330 mm
length: 4.6 km
ambient: 22 degC
events:
  - {from: 214 km/h, to: 96 km/h, brake_time: 2.6 s, then: 14 s, at: 170 km/h}
"""
RIG = """\
rig: north
events:
  - {date: 2026-01-20, what: calibration, torque_gain: 1.01}
"""
WEAR = """\
after_stop,component,quantity,point,value,unit
0,disc,thickness,1,27.900,mm
3,disc,thickness,1,27.895,mm
"""
FACTS = """\
compound,batch,density (g/cm3)
Marram 4,M4-2406,1.78
"""
SHEET = """\
compound: Marram 4
report_number: MC-1
issue: 2
date: 2026-05-04
language: de
amendments:
  - {issue: 1, date: 2026-04-20, what: first issue}
  - {issue: 2, date: 2026-05-04, what: a batch added}
"""
PLACES = {
    "card": "archive/t/test.yaml",
    "config": "config.yaml",
    "method": "methods/first.yaml",
    "target": "targets/marram.yaml",
    "duty": "duties/valley.yaml",
    "rig": "rigs/north.yaml",
    "sheet": "sheets/marram.yaml",
    "wear": "archive/t/wear.csv",
    "facts": "batches.csv",
    "recording": "archive/t/recordings/0002.csv",
}
TEXTS = {
    "card": CARD,
    "config": CONFIG,
    "method": METHOD,
    "target": TARGET,
    "duty": DUTY,
    "rig": RIG,
    "sheet": SHEET,
    "wear": WEAR,
    "facts": FACTS,
}


def recording(number: int) -> str:
    return text(samples(number), units=True)


def write(base: Path) -> Path:
    """A sound workspace; its config."""
    for kind, content in TEXTS.items():
        path = base / PLACES[kind]
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(content, encoding="utf-8")
    (base / "methods" / "second.yaml").write_text("")
    (base / "archive" / "t" / "recordings").mkdir(exist_ok=True)
    for number in (1, 2, 3):
        (base / "archive" / "t" / "recordings" / f"{number:04d}.csv").write_text(recording(number))
    return base / "config.yaml"


@dataclass(frozen=True)
class Wrong:
    file: str
    old: str
    new: str
    at: str | None
    found: str
    accepted: str
    mend: str

    @property
    def name(self) -> str:
        return f"{self.file}: {self.new.strip() or 'without ' + self.old}"[:70]


ROWS = [
    # the card: values
    Wrong("card", "effective_radius: 134 mm", "effective_radius: 126 cm", "126 cm", "1260 mm", "110 to 156 mm", "radius"),
    Wrong("card", "outer_diameter: 312 mm", "outer_diameter: 212 mm", "212 mm", "outer_diameter", "220 mm", "correct"),
    Wrong("card", "pad_area: 52 cm^2", "pad_area: 52 m^2", "52 m^2", "520000 cm^2", "1 m^2", "unit"),
    Wrong("card", "pad_area: 52 cm^2", "pad_area: 900 cm^2", "900 cm^2", "900 cm^2", "at most", "pad_area"),
    Wrong("card", "[30 mm, 34 mm, 38 mm]", "[30 mm, 34 mm, 38 cm]", "38 cm", "380 mm", "312 mm", "unit"),
    Wrong("card", "[30 mm, 34 mm, 38 mm]", "[]", "pistons_per_side", "empty", "at least 1", "add"),
    Wrong("card", "inertia: 26 kg m^2", "inertia: 26", "inertia: 26", "unit is missing", "kg m^2", "number and unit"),
    Wrong("card", "inertia: 26 kg m^2", "inertia: 26 kg", "inertia: 26", "'kg'", "kg m^2", "unit"),
    Wrong("card", "inertia: 26 kg m^2", "inertia: about 26", "about 26", "'about 26'", "kg m^2", "number and unit"),
    Wrong("card", "inertia: 26 kg m^2", "inertia: -26 kg m^2", "-26", "-26 kg m^2", "above zero", "correct"),
    Wrong("card", "inertia: 26 kg m^2", "inertia: 1,780 kg m^2", "1,780", "1.780 or 1780", "1.780 or 1780", "meant"),
    Wrong("card", "inertia: 26 kg m^2\n", "", "schema: 1", "missing", "kg m^2", "add this key"),
    Wrong("card", "date: 2026-03-02", "date: 02.03.2026", "02.03.2026", "02.03.2026", "2026-03-02", "2026-03-02"),
    Wrong("card", "date: 2026-03-02", "date: March 2026", "March 2026", "March 2026", "year-month-day", "year"),
    Wrong("card", "density: 1.78 g/cm^3", "density: 1780 g/cm^3", "density: 1780", "1780 g/cm^3", "25 g/cm^3", "unit"),
    Wrong("card", "heat_capacity: carbon", "heat_capacity: iron", "iron", "'iron'", "carbon", "number and unit"),
    Wrong("card", "batch: M4-2406", "batch: [a, b]", "[a, b]", "list", "characters", "name"),
    Wrong("card", "accuracy: 0.2 %", "accuracy: 0.2 bar", "accuracy: 0.2 bar", "'bar'", "N m", "unit"),
    # the card: words and keys
    Wrong("card", "kind: snub\n", "kind: snubb\n", "snubb", "'snubb'", "stop, snub, drag", "write snub"),
    Wrong("card", "purpose: bedding", "purpose: bed-in", "purpose: bed-in", "'bed-in'", "bedding", "write bedding"),
    Wrong("card", "holds: stop", "holds: stops", "holds: stops", "'stops'", "series", "write stop"),
    Wrong("card", "format: delimited", "format: csv", "format: csv", "'csv'", "delimited", "one of them"),
    Wrong("card", "holds: stop", "holds: stop\n  decimal: ,", "decimal: ,", "comma", "in quotes", "quotes"),
    Wrong("card", "holds: stop", "holds: stop\n  delimiter: slash", "delimiter: slash", "'slash'", "tab", "quotes"),
    Wrong("card", "holds: stop", "holds: stop\n  skip_lines: two", "skip_lines: two", "'two'", "number", "number"),
    Wrong("card", "rig: north", "rig: north\nshaft_colour: red", "shaft_colour", "unknown key", "known keys: schema", "notes"),
    Wrong("card", "rig: north", "rig: north\nprocedur: x", "procedur: x", "unknown key", "procedure", "procedure"),
    Wrong("card", "rig: north", "rig: north\nrig: south", "rig: south", "'rig' is given twice", "once", "remove"),
    Wrong("card", "    disc_temperature:", "    disk_temperature:", "channels:", "disc_temperature missing", "needed: time", "disk_temperature"),
    Wrong("card", "column: Mb", "column: p", "pressure: {column: p", "'p' is mapped twice", "column of its own", "correct"),
    Wrong("card", "column: p, unit: bar", "column: p, unit: N m", "unit: N m}\n    disc", "'N m'", "bar", "unit"),
    Wrong("card", "unit: rpm", "unit: Hz", "unit: Hz", "'Hz'", "rpm", "unit"),
    Wrong("card", "unit: rpm", "unit: km/h", "unit: km/h", "'km/h'", "rpm", "rolling_radius"),
    Wrong("card", "files: recordings/*.csv", "files: ../other/*.csv", "../other", "../other", "relative", "test's folder"),
    Wrong("card", "files: recordings/*.csv", "files: recordings/*.txt", "*.txt", "*.txt", "pattern", "recordings/*.csv"),
    # the card: YAML
    Wrong("card", "rig: north", "rig: [north", "brake:", "not closed", "[a, b]", "close"),
    Wrong("config", "", "more: [\n\n", "more: [", "a bracket [ or { that is opened here or above is not closed", "[a, b]", "close the bracket"),
    Wrong("card", "  pad_area", "\tpad_area", "pad_area", "tab", "blanks", "blanks"),
    Wrong("card", "rig: north", 'rig: "north', None, "quote", "two quotes", "close"),
    Wrong("card", "rig: north", "rig: north: south", "north: south", "colon", "key: value", "quotes"),
    Wrong("card", "rig: north", "rig: %north", "%north", "'%'", "quotes", "quotes"),
    Wrong("card", "rig: north", "rig: &a north", "&a", "anchors", "written out", "quotes"),
    Wrong("card", "{mass: 1.7 kg", "{mass: 1,7 kg", "1,7 kg", "number where a key", "quotes", "decimal point"),
    Wrong("card", "inertia: 26 kg m^2", "inertia: FILL_IN  # at the shaft", "FILL_IN", "blank to fill in", "at the shaft", "write it"),
    # the card: blocks
    Wrong("card", "    stops: 2", "    stops: -2", "stops: -2", "'-2'", "above 0", "correct"),
    Wrong("card", "holds: stop", "holds: stop\n  skip_lines: -1", "skip_lines: -1", "'-1' is below 0", "not below 0", "correct"),
    Wrong("card", "    stops: 2", "    stops: 200000", "stops: 200000", "'200000' is not at most 100000", "at most 100000", "correct"),
    Wrong("card", "    stops: 2", "    stops: 2.5", "stops: 2.5", "2.5", "whole number", "write"),
    Wrong("card", "    speed: [1500 rpm, 700 rpm]", "    speed: [700 rpm, 1500 rpm]", "[700", "higher to a lower", "[higher, lower]", "first"),
    Wrong("card", "    speed: [1500 rpm, 700 rpm]", "    speed: [150 km/h, 70 km/h]", "150 km/h", "150 km/h", "rpm", "rolling_radius"),
    Wrong("card", "    speed: [1500 rpm, 700 rpm]", "    speed: [1500 rpm, 700 rpm, 0 rpm]", "0 rpm]", "3 speeds", "[from, to]", "write"),
    Wrong("card", "    pressure: 40 bar", "    pressure: 40 kbar", "40 kbar", "40000 bar", "2000 bar", "unit"),
    Wrong("card", "    stops: 2", "    stops: 20", "blocks:", "3 recordings", "21 brakings", "blocks"),
    Wrong("card", "name: check 1", "name: bed-in", "name: bed-in, purpose", "name of block 1", "name of its own", "another"),
    # the card against its recordings
    Wrong("card", "column: Mb", "column: Md", "recordings/0001.csv:1", "'Md'", "the file has: 't'", "Mb"),
    Wrong("card", "column: p, unit: bar", "column: p, unit: MPa", "unit: MPa", "400 bar", "by the schedule", "bar labelled MPa"),
    Wrong("card", "column: t, unit: s}", "column: t, unit: ms}", "unit: ms", "1e-05 s", "1.2 s", "s labelled ms"),
    Wrong("card", "column: t, unit: s}", "column: t, unit: min}", "unit: min", "59.8", "about 1 times", "s labelled min"),
    Wrong("card", "torque: {column: Mb, unit: N m}\n    pressure: {column: p, unit: bar}",
          "torque: {column: p, unit: N m}\n    pressure: {column: Mb, unit: bar}", "column: p", "swapped", "column", "exchange"),
    Wrong("card", "inertia: 26 kg m^2", "inertia: 2600 kg m^2", "inertia: 2600", "0.00", "about 1", "inertia"),
    # the config
    Wrong("config", "archive: archive", "archive: archives", "archives", "'archives'", "tests", "path"),
    Wrong("config", "results: results", "results: ~/results", "~/results", "'~'", "whole one", "whole path"),
    Wrong("config", "results: results", "results: D:\\res", "D:", "drive", "path", "as it is here"),
    Wrong("config", "results: results", "results: archive/results", "archive/results", "lies in the archive", "beside", "beside"),
    Wrong("config", "methods/first.yaml", "methods/frist.yaml", "frist", "methods/frist.yaml", "file", "first.yaml"),
    Wrong("config", "methods/first.yaml", "frist.yaml", "frist", "no file 'frist.yaml'", "file", "correct the path"),
    Wrong("config", "methods/first.yaml", "methods/../methods/frist.yaml", "frist", "frist.yaml", "file", "write methods/../methods/first.yaml"),
    Wrong("config", "[[first, second]]", "[[first, secnd]]", "secnd", "'secnd'", "first, second", "write second"),
    Wrong("config", "[[first, second]]", "[[first, first]]", "first, first", "itself", "two", "correct"),
    Wrong("config", "targets: ", "target: ", "target: ", "unknown key", "targets", "targets"),
    Wrong("config", "duties/*.yaml", "duty/*.yaml", "duty/", "'duty/*.yaml'", "duties/*.yaml", "path"),
    Wrong("config", "*", CARD, "schema: 1", "none of the keys of such a file, but schema, compound, batch", "archive", "the file that is meant"),
    Wrong("target", "*", DUTY, "duty: valley", "none of the keys of such a file", "temperature_window", "the file that is meant"),
    # a method
    Wrong("method", "build_up: 95 %", "build_up: 95", "build_up: 95", "9500 %", "100 %", "correct"),
    Wrong("method", "average: distance", "average: way", "average: way", "'way'", "distance, time, energy", "one of them"),
    Wrong("method", "20 Hz", "20", "cutoff: 20", "unit is missing", "Hz", "number and unit"),
    Wrong("method", "average: distance", "averages: time", "averages", "unknown key", "average", "average"),
    Wrong("method", "confidence: 95 %", "confidence: 95", "confidence: 95", "95", "0 to 100 %", "%"),
    # a target, a duty, a rig
    Wrong("target", "[0.38, 0.56]", "[0.56, 0.38]", "mu:", "0.56", "[lower, upper]", "lower one first"),
    Wrong("target", "[280 degC, 580 degC]", "280-580 degC", "280-580", "280-580 degC", "list", "list"),
    Wrong("target", "0.25 um", "0.25", "disc_wear", "unit is missing", "um", "number and unit"),
    Wrong("duty", "brake_share: 0.29", "brake_share: 29", "brake_share", "29", "at most 1", "share"),
    Wrong("duty", "from: 214 km/h", "from: 21 km/h", "from: 21 ", "21 km/h", "higher", "higher"),
    Wrong("duty", "ambient: 22 degC\n", "", "duty: valley", "missing", "degC", "add"),
    Wrong("duty", "events:", "evnts:", "evnts:", "unknown key", "events", "events"),
    Wrong("rig", "2026-01-20", "20.01.2026", "20.01.2026", "20.01.2026", "2026-03-02", "2026-01-20"),
    Wrong("rig", "what: calibration", "what: calibraton", "calibraton", "'calibraton'", "calibration", "calibration"),
    Wrong("rig", "torque_gain: 1.01", "torque_gain: 101", "torque_gain: 101", "101", "0.5 to 2", "correct"),
    Wrong("rig", "rig: north", "rig: nort", "rig: nort", "'nort'", "'north'", "as the cards"),
    # the title block of a sheet
    Wrong("sheet", "report_number:", "report_no:", "report_no", "unknown key", "report_number", "report_number"),
    Wrong("sheet", "date: 2026-05-04\n", "date: 4.5.2026\n", "4.5.2026", "4.5.2026", "2026-03-02", "2026-05-04"),
    Wrong("sheet", "date: 2026-05-04\n", "date: 2026-05-01\n", "issue: 2, date", "2026-05-04", "up to that of the issue", "correct"),
    Wrong("sheet", "{issue: 2", "{issue: 1", "{issue: 1, date: 2026-05-04", "stands twice", "each issue once", "its own"),
    Wrong("sheet", "2026-04-20", "2026-05-20", "{issue: 2", "lies before 2026-05-20", "oldest first", "order"),
    Wrong("sheet", "language: de", "language: dk", "language", "'dk'", "en, de, fr, it, es", "one of them"),
    Wrong("sheet", "", "text: ' '\n", "text:", "is empty", "printable", "remove the key"),
    Wrong("sheet", "", "text: [a, b]\n", "text:", "is a list", "printable", "write the text"),
    Wrong("sheet", "compound: Marram 4", "compound: Maram 4", "Maram", "'Maram 4'", "'Marram 4'", "as the cards"),
    Wrong("sheet", ", what: first issue", "", "{issue: 1", "missing", "text", "add"),
    # wear.csv, facts of the batches
    Wrong("wear", "3,disc,thickness", "3,disk,thickness", "disk", "'disk'", "disc", "write disc"),
    Wrong("wear", "3,disc,thickness", "3,disc,thicknes", "thicknes,", "'thicknes'", "thickness", "write thickness"),
    Wrong("wear", "27.895,mm", "27.895,kg", "27.895,kg", "'kg'", "mm", "unit"),
    Wrong("wear", "point,value", "point,reading", "after_stop,", "'reading'", "known", "write"),
    Wrong("wear", "3,disc,thickness,1,27.895,mm", "3,disc,thickness,1,27.895", "27.895", "5 cells", "6 cells", "line"),
    Wrong("wear", "3,disc,thickness", "300,disc,thickness", "300,disc", "stop 300", "0 to 3", "after_stop"),
    Wrong("facts", "compound,batch", "compound,batches", "compound,batches", "batch", "compound, batch", "first line"),
    Wrong("facts", "", "Marram 4,M4-2407\n", "M4-2407", "2 cells", "3 cells", "mend the line"),
    # recordings
    Wrong("recording", "*", "", "1", "empty", "rows of numbers", "export"),
    Wrong("recording", "t,n,Mb", "t,n,Md", "t,n,Md", "'Mb'", "'Md'", "Md"),
    Wrong("recording", ",", ";", "t;n;", "'t'", "the file has", "delimiter"),
    Wrong("recording", "*", "PK\x03\x04 and so on", "1", "ZIP archive", "the file has", "unpack"),
    Wrong("recording", "*", "\x89PNG\r\n", "1", "a picture", "the file has", "export"),
    Wrong("recording", "*", "t,n,Mb,p,T1\n" + 9 * "a,b,c,d,e\n", "3", "no numbers", "numbers", "export"),
]  # fmt: skip


@dataclass(frozen=True)
class WrongCall:
    """arguments: of the command; called: the command that the complaint names."""

    arguments: tuple[str, ...]
    called: str
    found: str
    accepted: str


CALLS = [
    WrongCall((), "stopsheet", "missing COMMAND", "check"),
    WrongCall(("rnu", "x"), "stopsheet", "'rnu'", "run"),
    WrongCall(("run",), "stopsheet run", "config", "config.yaml"),
    WrongCall(("run", "x", "--core", "2"), "stopsheet run", "--core", "--cores"),
    WrongCall(("run", "x", "--cores", "two"), "stopsheet run", "'two'", "cores"),
    WrongCall(("check", "a", "b"), "stopsheet check", "(b)", "CONFIG_OR_ARCHIVE"),
    WrongCall(("predict", "a", "b"), "stopsheet predict", "--from", "SPEED"),
]
