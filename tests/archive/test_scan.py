"""Archive folders, natural order, fingerprints, slugs, and the workspace config."""

import os

import pytest

from pipeline.archive.scan import natural_key, refuse_empty, scan, slugs
from pipeline.errors import InputError
from pipeline.workspace.config import load_workspace
from tests.archive.makers import CARD, card_folder


def test_natural_order_counts_digits_as_integers_and_ignores_case_and_compression():
    names = ["stop10.csv", "Stop2.csv.gz", "stop1.csv", "stop2b.csv", "stop02.csv.zst"]
    assert sorted(names, key=natural_key) == [
        "stop1.csv",
        "Stop2.csv.gz",
        "stop02.csv.zst",
        "stop2b.csv",
        "stop10.csv",
    ]


def test_scan_keeps_a_bad_card_and_skips_names_that_are_not_allowed(tmp_path):
    card_folder(tmp_path, name="good")
    card_folder(tmp_path, "nonsense: [", name="broken")
    card_folder(tmp_path, CARD.replace("2026-03-02", "never"), name="readable")
    card_folder(tmp_path, name="white space")
    card_folder(tmp_path, name=".hidden")
    (tmp_path / "elsewhere").symlink_to("/")
    found = scan(tmp_path)
    assert found.tests == {"broken": None, "good": "Marram 4", "readable": "Marram 4"}
    assert [name for name, _ in found.skipped] == ["elsewhere", "white space"]
    assert [name for name, _ in found.refused] == ["white space"]


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("-rf", "option"),
        ("t1\n", "not allowed"),
        ("t" * 201, "longer than 200"),
        ("ü", "not allowed"),
        ("{test}", "not allowed"),
    ],
)
def test_a_name_that_cannot_be_an_id_is_refused_with_its_reason(tmp_path, name, said):
    card_folder(tmp_path, name=name)
    card_folder(tmp_path, name="a-good.one_")
    found = scan(tmp_path)
    assert list(found.tests) == ["a-good.one_"]
    ((_, why),) = found.refused
    assert said in why


def test_a_link_to_nothing_is_told(tmp_path):
    card_folder(tmp_path)
    (tmp_path / "gone").symlink_to("moved-away")
    assert [name for name, _ in scan(tmp_path).skipped] == ["gone"]


def test_an_archive_without_a_test_is_refused_with_what_was_skipped(tmp_path):
    (tmp_path / "old stuff").mkdir()
    with pytest.raises(InputError, match=r"holds no test folder.*old stuff"):
        refuse_empty(scan(tmp_path), tmp_path)


def test_slugs_keep_colliding_and_empty_names_apart():
    assert slugs(["Marram 4", "marram-4", "★", "Kiefer Ö"]) == {
        "Kiefer Ö": "kiefer-o",
        "Marram 4": "marram-4",
        "marram-4": "marram-4-2",
        "★": "unnamed",
    }


@pytest.mark.parametrize(
    ("name", "folder"),
    [
        ("Mövenkiesel", "movenkiesel"),
        ("MÖVENKIESEL", "movenkiesel"),
        ("Mo\u0308venkiesel", "movenkiesel"),  # the mark apart from its letter, as some systems store names
        ("Blöße 3", "blosse-3"),
        ("Åsø Æble", "aso-aeble"),
        ("Łąka", "laka"),
        ("Crêpe à 5 °C", "crepe-a-5-c"),
        ("İzmir", "izmir"),
        ("ﬁn", "fin"),
    ],
)
def test_letters_with_accents_stay_letters(name, folder):
    """A word torn apart at its accents is found by nobody, and the folder depended on how the accent was typed."""
    assert slugs([name]) == {name: folder}


def test_slugs_of_long_names_fit_a_folder_and_stay_apart():
    """A ligature becomes three letters: 200 characters of text can be 600 of a folder name, which no file system takes."""
    long = slugs(["ﬃ" * 200, "ﬃ" * 199, "a" * 60])
    assert sorted(map(len, long.values())) == [60, 100, 102]


CONFIG = "archive: archive\nresults: ../results\nmethods: [first.yaml]\ntargets: targets/*.yaml\n"


def workspace(base, text=CONFIG):
    (base / "w" / "archive").mkdir(parents=True)
    (base / "w" / "targets").mkdir()
    (base / "w" / "first.yaml").write_text("")
    config = base / "w" / "config.yaml"
    config.write_text(text)
    return config


def test_a_bad_target_is_left_out_and_told_the_others_stay(tmp_path):
    config = workspace(tmp_path)
    (config.parent / "targets" / "good.yaml").write_text("compound: Marram 4\nmu: [0.38, 0.56]\n")
    (config.parent / "targets" / "bad.yaml").write_text("compound: Marram 6\nmu: [0.56, 0.38]\n")
    loaded = load_workspace(config)
    assert list(loaded.targets) == ["Marram 4"]
    assert loaded.left_out[0][0] == "bad.yaml"
    assert "mu" in loaded.left_out[0][1]


def test_what_stands_in_a_targets_place_and_is_no_file_is_told(tmp_path):
    config = workspace(tmp_path)
    os.mkfifo(config.parent / "targets" / "pipe.yaml")
    (config.parent / "targets" / "gone.yaml").symlink_to("moved-away.yaml")
    told = dict(load_workspace(config).left_out)
    assert "no plain file" in told["pipe.yaml"]
    assert "is not there" in told["gone.yaml"]


def test_two_targets_for_one_compound_are_both_left_out(tmp_path):
    config = workspace(tmp_path)
    for name, band in (("a", "[0.3, 0.6]"), ("b", "[0.5, 0.6]")):
        (config.parent / "targets" / f"{name}.yaml").write_text(f"compound: Marram 4\nmu: {band}\n")
    loaded = load_workspace(config)
    assert loaded.targets == {}
    assert [name for name, _ in loaded.left_out] == ["a.yaml", "b.yaml"]
    assert "several files" in loaded.left_out[0][1]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (CONFIG + "method: x\n", "nearest known key: methods"),
        (CONFIG.replace("archive: archive", "archive: nowhere"), "nowhere"),
        (CONFIG.replace("first.yaml", "second.yaml"), "second.yaml"),
        (CONFIG + "compare: [[first, other]]\n", "other"),
        ("", "is empty"),
    ],
)
def test_a_bad_config_ends_with_one_line(tmp_path, text, said):
    with pytest.raises(InputError, match=said) as caught:
        load_workspace(workspace(tmp_path, text))
    assert "\n" not in str(caught.value)
