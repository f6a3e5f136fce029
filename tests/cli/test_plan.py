"""`stopsheet plan` on the samples: questions, a design, its page, and how wrong calls end."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import yaml

from pipeline.cli import run
from tests.conftest import sample_config

ARCHIVE = ["Marram 4"]


def call(results, *more: str) -> int:
    return run(["plan", str(results.config), *ARCHIVE, *more])


def test_is_the_next_batch_like_the_last(sample_results, capsys, tmp_path):
    page = tmp_path / "plan.html"
    assert (
        call(sample_results, "--question", "like-the-last", "--of", "mu", "--of", "bite", "--html", str(page), "--json")
        == 0
    )
    found = json.loads(capsys.readouterr().out)
    good, bad = found["run"]["as found"], found["run"]["pessimistic"]
    assert 2 <= good["specimens"] <= 12 and (bad["specimens"] is None or bad["specimens"] >= good["specimens"])
    assert good["stops"] % good["specimens"] == 0 and 0.4 < good["hours"] / good["specimens"] < 1.5
    assert {line["key"] for line in found["lines"]} == {"mu_specimens", "bite_specimens"}
    assert any("sd between specimens" in text and "degrees of freedom" in text for text in found["assumed"])
    assert any("M4-2407" in text for text in found["assumed"])
    text = page.read_text()
    assert (
        "Plan for Marram 4" in text
        and text.count("data:image/svg+xml") == 2
        and "http" not in text.split("</style>")[1]
    )


def test_printed_blocks_are_accepted_by_check(sample_results, capsys, tmp_path):
    """The blocks that answer the question of glazing, put into a card of the archive, pass `stopsheet check`."""
    assert call(sample_results, "--question", "glazing", "--below", "1.5 W/mm2", "--loss", "6 %", "--json") == 0
    found = json.loads(capsys.readouterr().out)
    assert found["run"]["as found"]["specimens"] == 1
    assert next(line for line in found["lines"] if line["key"] == "glazing_loss")["as_found"] <= 0.06
    sample = next(sample_results.config.parent.rglob("m4-2407-b/test.yaml"), None)
    card = yaml.safe_load((sample or Path("rig_samples/archive/m4-2407-b/test.yaml")).read_text())
    card["blocks"] = yaml.safe_load(found["blocks"])["blocks"]
    del card["wear"]
    test = tmp_path / "archive" / "planned"
    (test / "recordings").mkdir(parents=True)
    (test / "test.yaml").write_text(yaml.safe_dump(card, sort_keys=False))
    from pipeline.archive.card import load_card

    planned = load_card(test)
    assert [b.purpose for b in planned.blocks] == ["bedding", "check", "duty", "check", "duty", "check"]
    run(["check", str(tmp_path / "archive")])
    said = capsys.readouterr()
    assert "blocks" not in said.out + said.err


def test_a_difference_within_the_margin_is_none_to_plan_for(sample_results, capsys):
    """The batches count as alike there: no number of specimens calls it different."""
    assert call(sample_results, "--question", "difference", "--size", "0.02", "--of", "mu") == 3
    assert "within the margin" in capsys.readouterr().out
    assert call(sample_results, "--question", "difference", "--size", "0.045", "--of", "mu", "--json") == 0
    assert json.loads(capsys.readouterr().out)["run"]["as found"]["specimens"] >= 2


@pytest.mark.heavy
def test_life_on_a_duty_names_its_specimens(sample_results, capsys):
    # On the hot duty the cooling, which no specimen tells, leaves a third to each side.
    assert call(sample_results, "--question", "life", "--duty", "valley route", "--within", "30 %") == 0
    said = capsys.readouterr().out
    assert "life of the disc on valley route to +-30 %" in said and "rig hours" in said and "blocks:" in said


@pytest.mark.heavy
def test_a_design_is_judged_in_all_that_it_can_show(sample_results, capsys, tmp_path):
    """The archive's own program on three specimens: a minute, as window ends are fitted to drawn programs."""
    folder = Path(__file__).parents[2] / "rig_samples" / "archive" / "m4-2407-b"
    page = tmp_path / "plan.html"
    assert call(sample_results, "--design", str(folder), "--specimens", "3", "--html", str(page), "--json") == 0
    found = json.loads(capsys.readouterr().out)
    lines = {line["key"]: line for line in found["lines"]}
    assert {"mu_equivalent", "bite_difference", "wear_difference", "window_low", "window_high", "mu", "wear_Ea",
            "life_ridge route", "life_valley route", "glazing_loss"} <= set(lines)  # fmt: skip
    for key in ("mu_difference", "window_high", "mu", "life_ridge route"):
        line = lines[key]
        assert 0 < line["as_found"] <= (line["pessimistic"] or 1e9), key
    assert 0.9 < lines["mu_equivalent"]["as_found"] <= 1
    assert 1 < lines["window_low"]["as_found"] < 20 and 0.02 < lines["glazing_loss"]["as_found"] < 0.1
    assert any("glazing-like" in text for text in found["undetermined"])
    assert "chance of `equivalent`" in page.read_text()


def test_a_card_of_another_compound_is_refused(sample_results, capsys):
    folder = Path(__file__).parents[2] / "rig_samples" / "archive" / "m6-2406-a"
    assert call(sample_results, "--design", str(folder)) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert "Marram 6" in line and "Marram 4" in line


def test_a_design_without_an_archive_tells_of_wear_laws_alone(capsys):
    folder = Path(__file__).parents[2] / "rig_samples" / "archive" / "m4-2403-a"
    assert run(["plan", "--design", str(folder), "--read-after", "bed-in", "check 3", "hot use"]) == 0
    said = capsys.readouterr().out
    assert "3 intervals between readings" in said and "because no archive is given" in said


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ([], "say what to plan"),
        (["--question", "nope"], "like-the-last"),
        (["--question", "glazing"], "--below"),
        (["--question", "glazing", "--below", "3 bar"], "power density"),
        (["--question", "glazing", "--below", "1 W/mm2", "--loss", "120 %"], "below 1"),
        (["--question", "life", "--within", "10 %"], "ridge route"),
        (["--question", "life", "--duty", "ridge route"], "--within"),
        (["--question", "window", "--within", "10 %"], "--within"),
        (["--question", "activation-energy", "--within", "ten"], "kJ/mol"),
        (["--question", "difference"], "--size"),
        (["--question", "like-the-last", "--of", "drag"], "mu, bite, wear"),
        (["--question", "like-the-last", "--chance", "1.2"], "--chance"),
        (["--question", "like-the-last", "--specimens", "0"], "--specimens"),
        (["--question", "like-the-last", "--read-after", "nowhere"], "no such block"),
        (["--design", "nowhere"], "nowhere"),
        (["--question", "like-the-last", "--against", "M4-9999"], "M4-2403, M4-2405, M4-2407"),
    ],
)
def test_a_wrong_call_is_one_line_that_says_what_to_do(sample_results, capsys, more, said):
    assert call(sample_results, *more) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("stopsheet: ") and said in line


def test_wrong_places_and_names_are_one_line(sample_results, capsys, tmp_path):
    config = str(sample_results.config)
    several = str(sample_config(tmp_path))
    for arguments, said in (
        (["plan", config, "Nope", "--question", "window"], "Marram 4, Marram 6"),
        (["plan", several, "Marram 4", "--question", "window"], "--method"),
        (["plan", several, "Marram 4", "--method", "x", "--question", "window"], "first, revised"),
        (["plan", config, "--question", "window"], "compound"),
        (["plan", "--question", "window"], "config.yaml"),
        (["plan", str(tmp_path), "Marram 4", "--question", "window"], "is a folder"),
    ):
        assert run(arguments) == 2
        (line,) = capsys.readouterr().err.splitlines()
        assert said in line


def test_results_that_are_not_there_yet_are_said(sample_results, capsys, tmp_path):
    content = yaml.safe_load(sample_results.config.read_text())
    base = sample_results.config.parent
    for key in ("archive", "targets", "duties", "rigs"):
        content[key] = str(base / content[key])
    content["methods"] = [str(base / name) for name in content["methods"]]
    content["results"] = "nothing"
    (tmp_path / "config.yaml").write_text(yaml.safe_dump(content))
    assert run(["plan", str(tmp_path / "config.yaml"), *ARCHIVE, "--question", "window", "--within", "10 K"]) == 2
    assert "run stopsheet run with this config first" in capsys.readouterr().err
