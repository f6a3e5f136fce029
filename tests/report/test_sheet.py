"""The sheet: every number printed is found in the file that it names; nulls say why; three prints of one document."""

import html
import json
import re
from dataclasses import replace
from types import SimpleNamespace

import polars as pl
import pytest

from pipeline.report import inputs as inputs_stage
from pipeline.report import sheet
from pipeline.report.sections import answers, batches, front, quality
from pipeline.report.source import Cited
from pipeline.report.typeset import BREAK
from pipeline.results import version
from pipeline.results.friction import TestFriction
from pipeline.results.model import renewed
from tests.report import contents, makers
from tests.report.read_back import pages_of

NUMBER = re.compile(r"(?<![\w.])[-+]?\d+(?:\.\d+)?(?![\w])")


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    arguments = makers.results_of_compound(tmp_path_factory.mktemp("sheet"), ("m4-a", "m4-b"))
    sheet.run(**arguments)
    return arguments


@pytest.fixture(scope="module")
def content(made):
    return json.loads((made["into"] / "sheet.json").read_text())


def listed(content):
    return [number for section in content["sections"] for number in section["numbers"]]


def resolved(number, made):
    """The value that the named file holds under the named key, times the factor."""
    file, key, factor = number["file"], number["key"], number["factor"] or 1.0
    if file.startswith("archive/"):
        test = file.split("/")[1]
        data = inputs_stage.of_test(test, made["archive"] / test, made["results"]).facts.result.model_dump()
    elif file.startswith("targets/"):
        data = inputs_stage.target_figures(made["target"]).result.model_dump()
    elif file.endswith(".parquet"):
        stops = pl.read_parquet(made["results"] / file)
        if median := re.fullmatch(r"/median of (\w+) over rows where status is ok", key):
            return stops.filter(pl.col("status") == "ok")[median[1]].median()
        assert key.startswith("/rows")
        name = key.removeprefix("/rows where status is ")
        return len(stops) if key == "/rows" else stops.filter(pl.col("status") == name).height
    else:
        data = json.loads((made["results"] / file).read_text())
        if share := re.fullmatch(r"share in per cent of /budget/(\d+)/relative_u squared in the sum of .*", key):
            common = [(row.get("relative_u") or 0.0) ** 2 for row in data["budget"] if row["part"] == "common"]
            return 100 * data["budget"][int(share[1])]["relative_u"] ** 2 / sum(common)
    for step in key.split("/")[1:]:
        data = data[int(step)] if isinstance(data, list) else data[step]
    return data * factor


def test_every_number_is_in_the_file_that_it_names(content, made):
    checked = 0
    for number in listed(content):
        if number["value"] is None or "*" in number["file"] or number["key"].startswith(("count of", "median over")):
            continue
        assert resolved(number, made) == pytest.approx(number["value"], rel=1e-9), number
        checked += 1
    assert checked > 150


def test_counts_over_files_are_what_they_say(content, made):
    counted = [n for n in listed(content) if n["key"].startswith("count of findings with code spike")]
    assert counted
    found = [
        json.loads((made["results"] / "tests" / t / "findings.json").read_text())["findings"] for t in made["tests"]
    ]
    assert counted[0]["value"] == sum(item["code"] == "spike" for items in found for item in items)


def test_the_first_part_says_what_leaves_the_tests_and_whether_one_brake_serves_both_uses(made):
    """Beneath the answers: before every target and table."""
    page = (made["into"] / "sheet.html").read_text()
    first = html.unescape(re.sub(r"<[^>]*>", "", page.split('<h2 id="part-2">')[1].split("<table")[0]))
    first = " ".join(first.split())
    assert "one brake: no one opening serves both. Cheapest change, not shown yet: a margin of µ." in first
    line = first.split("ridge route: ")[1].split(" valley route: ")[0]
    assert "opening to run: 0.42 to 0.66 (1 = the rig's air as tested); not ruled out: film;" in line
    assert (
        "at the opening given, 0.50, 95 % of its energy in the friction window: 55 % at conditions that were tested, 40 % by extrapolation"
        in line
    )
    assert "life 9700 (8700 to 10800) km (batch M4-2409)" in line
    assert "film in one use: may take up to 16.4 % of friction" in line and "a test of 2.3 h settles the film" in line
    assert first.count("0.42 to 0.66") == 1
    duties = html.unescape(re.sub(r"<[^>]*>", "", page))
    assert "Beyond: friction: energy density up to 32.4 J/mm²" in " ".join(duties.split()).replace("\u00a0", " ")


def read_back(path):
    """Text of every page of the PDF, as a reader extracts it."""
    return [" ".join(page.replace(BREAK, "").split()) for page in pages_of(path.read_bytes())]


def test_page_one_of_the_print_answers_the_least_welcome_first(made, content):
    first = read_back(made["into"] / "sheet.pdf")[0]
    rows = (
        "Does the compound meet its targets? not met 1 not met, 3 undecided, 2 met. Not met: Batches alike in µ "
        "at the reference conditions 2 In short, p. 2",
        "Are the batches alike in friction? different M4-2406 less M4-2409: µ 0.051 (0.035 to 0.067) 2 Batches, p. ",
        "Does one brake serve gentle and hard use? no one opening serves both",
        "How long does the brake last, at the shortest? not given ridge route: 9700 (8700 to 10800) km",
        "Do the readings identify how it wears? identified",
        "Did friction drift within a test? none",
    )
    places = [first.index(row) for row in rows]
    assert places == sorted(places)
    assert "Report no. Issue Date of issue" in first
    for said in (
        "Compound Marram 4",
        "Batches and specimens M4-2406: A, B",
        "Tests 2 used of 2, run 2026-03-02",
        content["method_digest"],
    ):
        assert said in first
    beyond = "ridge route: at opening 0.50, 55 % of its energy brakes in the window at conditions that were tested, 40 % in it by "
    assert beyond + "extrapolation; not excluded: film" in first
    assert "The rig is not the vehicle" in first


def test_the_digest_of_the_results_follows_their_bytes(tmp_path):
    arguments = makers.results_of_compound(tmp_path, ("m4-a",))
    before = sheet.made(**arguments).loaded.results_digest
    assert sheet.made(**arguments).loaded.results_digest == before
    wear = arguments["into"] / "wear.json"
    wear.write_text(wear.read_text().replace("0.426", "0.427"))
    assert sheet.made(**arguments).loaded.results_digest != before


NAMES = re.compile(r"<table class=\"names\">.*?</table>", re.DOTALL)


def visible(page):
    body = re.split(r"<main\b[^>]*>", page)[1]
    body = re.sub(r"<(img|svg)[^>]*>", " ", body)
    body = re.sub(r"<(thead|caption|figcaption|h2)\b.*?</\1>", " ", body, flags=re.DOTALL)
    body = re.sub(r"<script\b.*?</script>", " ", body, flags=re.DOTALL)
    body = NAMES.sub(lambda table: re.sub(r"<th scope=\"row\">.*?</th>", " ", table.group(), flags=re.DOTALL), body)
    return html.unescape(re.sub(r"<[^>]+>", " ", body))


def test_every_number_printed_is_listed(content, made):
    """No number in running text or a cell that sheet.json does not list, save names, dates, and the fixed words."""
    page = (made["into"] / "sheet.html").read_text()
    text = " ".join([number["text"] for number in listed(content)])
    known = set(NUMBER.findall(text))
    fixed = " ".join(
        ["100", "1", "95 %", "200", "150", content["method_digest"], version()]
    )  # a standard's number, the definition 1, temperatures of the classes
    words = [t for s in content["sections"] for t in s["text"]] + [fixed, *makers.BATCH_WORDS]
    known |= set(NUMBER.findall(" ".join(words)))
    unknown = [token for token in NUMBER.findall(visible(page)) if token not in known]
    assert unknown == []


def test_running_text_holds_no_number_of_its_own(content):
    """Every number inside a paragraph comes from a Number, not from the code."""
    allowed = {"100", "1", "95", "200", "150", "3", "5", "50"}  # 5 % and 50 % are the decision rules' own
    for section in content["sections"]:
        given = {token for number in section["numbers"] for token in NUMBER.findall(number["text"])}
        for text in section["text"]:
            strange = {t for t in NUMBER.findall(text.replace("M4-", "")) if t not in given | allowed}
            assert not strange - {"2406", "2407", "2409", "2"}, (section["title"], text)


def test_nulls_say_why(content):
    page_nulls = [number for number in listed(content) if number["value"] is None]
    assert page_nulls
    assert all(number["why"] and number["text"].startswith("not given: ") for number in page_nulls)


def test_a_source_of_uncertainty_that_nobody_stated_is_none_of_nought(made):
    page = (made["into"] / "sheet.html").read_text()
    assert "no uncertainty is counted, as the card states none, of: piston area." in page
    assert "piston area (%)" not in page and "effective radius (%)" in page


def test_wear_and_life_are_told_batch_by_batch(content):
    parts = {section["title"]: section for section in content["sections"]}
    said = " ".join(parts["Duty projections"]["text"])
    assert "ridge route: life, " in said and "is that of batch M4-2409" in said and "All batches together: " in said
    assert "At the wear of its specimen A: " in said
    labels = {n["label"] for section in content["sections"] for n in section["numbers"]}
    assert {"ridge route, batch M4-2406: life", "disc, batch M4-2409: oxidative factor"} <= labels
    assert "M4-2406 and M4-2407: wear of disc, mechanical" in labels
    assert "batch M4-2409 wears most" in " ".join(parts["Wear"]["text"])


def test_targets_are_answered_worst_first(content):
    share, wear = (
        "90 % of single stops in the target band over the target range",
        "Disc wear per stop and face on map and duty blocks, at most",
    )
    assert [(row["target"], row["met"]) for row in content["targets"]] == [
        ("Batches alike in µ at the reference conditions: difference", "not met"),
        (share, "undecided"), ("Mean µ in the target band over the target range", "undecided"),
        (wear, "undecided"), ("Batches alike in wear: ratio", "met"), ("Batches alike in bite: difference", "met"),
    ]  # fmt: skip
    assert content["decision"] == "guard_band"
    assert "no rule is stated: the safer one" in " ".join(content["sections"][1]["text"])


@pytest.mark.usefixtures("drawn_afresh")
def test_the_pdf_is_the_same_document_and_deterministic(made):
    before = (made["into"] / "sheet.pdf").read_bytes()
    assert before.startswith(b"%PDF-")
    page = (made["into"] / "sheet.html").read_bytes()
    sheet.run(**made)
    assert (made["into"] / "sheet.pdf").read_bytes() == before
    assert (made["into"] / "sheet.html").read_bytes() == page


@pytest.mark.usefixtures("undrawn")
def test_without_target_and_results_the_sheet_says_so(tmp_path):
    arguments = makers.results_of_compound(
        tmp_path, ("m4-a",), target=False, friction={"compound": "Marram 4", "window": None, "window_reason": "data end at 480 °C", "curve": []},
        wear={"compound": "Marram 4", "components": {}, "why": "no wear readings"}, batches={"compound": "Marram 4", "unusable": "one test only"}, duty={"compound": "Marram 4", "duties_left_out": {"r.yaml": "r.yaml: speedy: no such key"}},
    )  # fmt: skip
    sheet.run(**arguments)
    page = html.unescape((arguments["into"] / "sheet.html").read_text())
    for said in (
        "data end at 480 °C",
        "no wear readings",
        "one test only",
        "No target file",
        "r.yaml: speedy: no such key",
    ):
        assert said in page


@pytest.mark.usefixtures("undrawn")
def test_a_compound_whose_tests_are_all_unusable_still_has_a_sheet(tmp_path):
    arguments = makers.results_of_compound(tmp_path, ("m4-a",), friction={"compound": "Marram 4", "unusable": "no usable test"}, wear={"compound": "Marram 4", "unusable": "no usable test"},
                                           batches={"compound": "Marram 4", "unusable": "no usable test"},
                                           duty={"compound": "Marram 4", "unusable": "no usable test"})  # fmt: skip
    makers.results_of_test(tmp_path, "m4-a", unusable="no recording matches")
    sheet.run(**arguments)
    page = (arguments["into"] / "sheet.html").read_text()
    assert "no recording matches" in page
    assert (
        "Budget of µ: not given: no test of the compound can be used" in page and "state no sensor limits" not in page
    )


def test_mass_per_work_is_the_volume_times_the_density(content, made):
    """The cards state 1.78 g/cm³, which is 1.78 mg for each mm³; disc and pads together are the sum of the parts."""
    found = {one["label"]: one["value"] for section in content["sections"] for one in section["numbers"]}
    masses = {label: value for label, value in found.items() if label.endswith(": mass per friction work")}
    assert "disc: mass per friction work" in masses
    for label, value in masses.items():
        part = label.partition(":")[0]
        volume = next(
            found[name] for name in (f"{part}: volume per work", f"{part}: volume per friction work") if name in found
        )
        assert value == pytest.approx(1.78e-3 * volume)


def test_sentences_of_results_are_worded_in_tables_too(tmp_path):
    """In a cell as in a paragraph: µ and J/mm², not the spelling of the files."""
    friction = contents.full_friction_json(compound="Marram 4")
    loaded = sheet.made(**makers.results_of_compound(tmp_path, ("m4-a", "m4-b"), friction=friction)).loaded
    raw = "mu at 280 degC and 14.9 J/mm2, at 26.3 kg m2"
    sides = loaded.friction.result.sides
    asked = renewed(sides.low_energy.questions[0], question=raw, text=raw)
    low = renewed(sides.low_energy, questions=[asked])
    pairs = [renewed(pair, caveat=raw) for pair in loaded.batches.result.pairs]
    friction = renewed(loaded.friction.result, sides=renewed(sides, low_energy=low))
    changed = replace(
        loaded,
        friction=replace(loaded.friction, result=friction),
        batches=replace(loaded.batches, result=renewed(loaded.batches.result, pairs=pairs)),
    )
    tables = [*answers.sides_parts(changed), batches.short_pairs(changed)]
    told = [cell for part in tables for row in part.rows for cell in row if isinstance(cell, str) and "14.9" in cell]
    told += [str(row.figure) for row in front._gentle(changed)]
    rows = [cell for row in batches.answer_rows(changed) for cell in row if isinstance(cell, str) and "14.9" in cell]
    assert len(told) >= 4 and rows
    assert all("µ at 280 °C and 14.9 J/mm², at 26.3 kg m²" in text for text in [*told, *rows])


@pytest.mark.parametrize(("step", "said"), [(0.002, "no"), (None, "not known")])
def test_a_shift_that_could_not_be_looked_for_is_not_denied(tmp_path, step, said):
    loaded = sheet.made(**makers.results_of_compound(tmp_path, ("m4-a",))).loaded
    (one,) = loaded.rigs.result.examined
    friction = renewed(one.friction, step=step, low=None, high=None, why="1 test before and 0 after")
    rigs = renewed(loaded.rigs.result, examined=[renewed(one, friction=friction)])
    (row,) = quality.event_rows(replace(loaded, rigs=replace(loaded.rigs, result=rigs)))
    assert row[-1] == said


@pytest.mark.usefixtures("undrawn")
def test_hostile_names_are_escaped_in_every_print(tmp_path):
    hostile = "<b>Marram</b> & {x} </script>"
    arguments = makers.results_of_compound(tmp_path, ("m4-a",))
    makers.results_of_test(tmp_path, "m4-a", batch="'<i>{b}</i> & c'")
    sheet.run(**{**arguments, "compound": hostile})
    page = (arguments["into"] / "sheet.html").read_text()
    assert "<b>Marram" not in page
    assert "<i>{b}" not in page
    assert "&lt;b&gt;Marram&lt;/b&gt;" in page


def test_the_first_stop_after_a_pause_may_have_no_start_temperature():
    friction = contents.full_friction_json()
    friction["pauses"][0]["temperature_c"] = None
    of_test = SimpleNamespace(
        test="m4-a", friction=Cited("tests/m4-a/friction.json", TestFriction.model_validate(friction))
    )
    (row,) = answers.pause_rows(SimpleNamespace(usable=[of_test]))
    assert (row[3].value, row[3].why) == (None, "not recorded")


@pytest.mark.usefixtures("undrawn")
def test_facts_of_the_batches_stand_beside_their_figures_and_comparisons_are_linked(tmp_path):
    arguments = makers.results_of_compound(tmp_path)
    table = tmp_path / "batches.csv"
    table.write_text(
        "compound,batch,density (g/cm3),<i>notes</i>\nMarram 4,M4-2406,1.79,kiln 1\nMarram 4,M4-2409,1.74,<b>kiln 2</b>\n"
    )
    sheet.run(**arguments, facts=table, compared=["marram-4--marram-6"])
    content = json.loads((arguments["into"] / "sheet.json").read_text())
    part = next(section for section in content["sections"] if section["title"] == "Batches")
    assert {n["text"] for n in part["numbers"] if "density" in n["label"]} == {"1.79", "1.74"}
    assert "facts" in {figure["name"] for figure in part["figures"]}
    assert any("no cause is claimed" in text for text in part["text"])
    page = (arguments["into"] / "sheet.html").read_text()
    assert "<b>kiln 2</b>" not in page and "kiln 2" in page
    assert "../../comparisons/marram-4--marram-6/comparison.html" in page
