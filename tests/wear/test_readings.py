"""wear.csv: what makes the file unusable, what only a reading, and what is kept."""

import numpy as np
import pytest

from pipeline.errors import InputError
from pipeline.wear.readings import outlying, read_wear

HEAD = "after_stop,component,quantity,point,value,unit\n"


def read(tmp_path, text, name="wear.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return read_wear(path)


def test_units_points_and_states_are_read(tmp_path):
    text = "after_stop,component,quantity,point,value,unit,state\n0,disc,mass,1,1702.31,g,dry\n0,pad_inner_2,thickness,3,0.945,in,\n"
    table, findings = read(tmp_path, text)
    assert findings == []
    assert table["value"].to_list() == pytest.approx([1.70231, 0.945 * 0.0254])
    assert table["state"].to_list() == ["dry", None] and table["point"].to_list() == ["1", "3"]
    assert table["resolution"].to_list() == pytest.approx([1e-5, 25.4e-6])


@pytest.mark.parametrize("mark", [";", "\t"])
def test_semicolons_or_tabs_with_decimal_commas_are_the_same_readings(tmp_path, mark):
    text = (
        HEAD
        + "0,disc,mass,1,1702.310,g\n0,pad_inner,thickness,1,24.013,mm\n# by hand\n20,pad_inner,thickness,1,23.9,mm\n"
    )
    plain, _ = read(tmp_path, text)
    other, findings = read(tmp_path, text.replace(",", mark).replace(".", ","), "other.csv")
    assert findings == [] and other.equals(plain) and plain.height == 3


def test_point_may_be_left_out(tmp_path):
    table, _ = read(tmp_path, "after_stop,component,quantity,value,unit\n0,disc,thickness,28.0,mm\n")
    assert table["point"].to_list() == ["1"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (HEAD.replace("point", "pont") + "0,disc,mass,1,1,g\n", "unknown column 'pont'; nearest known: point"),
        (HEAD + "0,disk,mass,1,1,g\n", "line 2: unknown component 'disk'; nearest known: disc"),
        (HEAD + "0,disc,weight,1,1,g\n", "unknown quantity 'weight'"),
        (HEAD + "0,disc,mass,1,1,mm\n", "unit 'mm' is not of the kind mass"),
        (HEAD + "0,disc,thickness,1,1,g\n", "unit 'g' is not of the kind length"),
        (HEAD.replace(",unit", "") + "0,disc,mass,1,1\n", "column unit missing"),
        (HEAD.replace(",", ";") + "0;disc;mass;1;1.702,31;g\n", "line 2"),
        (
            HEAD.replace(",", ";") + "0;disc;mass;1;1702,31;g\n0;disc;thickness;1;28.0;mm\n",
            "(line 2) and with a point (line 3)",
        ),
        (HEAD + "0,disc,mass,1,1\n", "line 2: 5 cells, the header has 6"),
        ("", "empty"),
    ],
)
def test_an_unknown_name_makes_the_file_unusable(tmp_path, text, said):
    with pytest.raises(InputError, match=r"wear\.csv") as error:
        read(tmp_path, text)
    assert said in str(error.value) and "\n" not in str(error.value)


def test_missing_file_is_one_line(tmp_path):
    with pytest.raises(InputError, match=r"nowhere\.csv"):
        read_wear(tmp_path / "nowhere.csv")


@pytest.mark.parametrize("value", ["n/a", "", "-3", "0", "nan", "1e999", '"24,01"'])
def test_a_reading_that_cannot_be_is_left_out_alone(tmp_path, value):
    table, findings = read(tmp_path, HEAD + f"0,disc,thickness,1,28.0,mm\n20,disc,thickness,1,{value},mm\n")
    assert table.height == 1
    assert [f.code for f in findings] == ["wear_reading_impossible"] and "line 3" in findings[0].message


@pytest.mark.parametrize(
    ("value", "quantity", "unit"), [("22.01", "thickness", "um"), ("22", "thickness", "m"), ("1.6", "mass", "mg")]
)
def test_what_no_brake_part_has_is_left_out_where_the_card_states_no_new_part(tmp_path, value, quantity, unit):
    table, findings = read(tmp_path, HEAD + f"0,pad_inner,{quantity},1,{value},{unit}\n")
    assert table.height == 0
    assert f"no brake part's {quantity}" in findings[0].message and "wrong unit" in findings[0].message


@pytest.mark.parametrize("after", ["-1", "2.5", "last", "", "inf", "nan", "1e30"])
def test_a_count_that_is_none_is_left_out(tmp_path, after):
    table, findings = read(tmp_path, HEAD + f"0,disc,thickness,1,28.0,mm\n{after},disc,thickness,1,27.9,mm\n")
    assert table.height == 1 and len(findings) == 1


def test_a_slipped_digit_is_left_out(tmp_path):
    rows = "".join(f"{k},disc,thickness,1,{28 - k / 1000},mm\n" for k in (0, 20, 40, 60))
    table, findings = read(tmp_path, HEAD + rows + "80,disc,thickness,1,2.792,mm\n")
    assert table.height == 4 and "far from" in findings[0].message


def cells(losses, places=(0, 5e-6, -8e-6, 3e-6)):
    """Thickness [readings, points] in m of even losses."""
    return 28e-3 - np.asarray(losses, float)[:, None] + np.asarray(places)


def test_one_wrong_point_is_found_among_the_others():
    table = cells([0, 40e-6, 90e-6, 160e-6])
    table[2, 1] += 300e-6
    expected = np.zeros(table.shape, bool)
    expected[2, 1] = True
    assert (outlying(table, 2e-6) == expected).all()


def test_a_wrong_whole_reading_is_found_by_its_neighbours():
    table = cells([0, 40e-6, -900e-6, 160e-6])
    assert outlying(table, 2e-6)[2].all() and outlying(table, 2e-6)[[0, 1, 3]].sum() == 0


def test_uneven_intervals_and_a_lost_fragment_are_kept():
    assert not outlying(cells([0, 5e-6, 600e-6, 610e-6, 1400e-6]), 2e-6).any()
    fragment = cells([0, 40e-6, 90e-6, 160e-6, 200e-6])
    fragment[2:, 3] -= 250e-6
    assert not outlying(fragment, 2e-6).any()
