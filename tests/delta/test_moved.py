"""Figures of two methods held against their intervals, and the sentences made of them."""

from __future__ import annotations

import pytest

from pipeline.delta import figures, verdict
from pipeline.delta.moved import Stated, held, wider, worst
from pipeline.results.delta import Comparable, Conclusion, Figure, Figures
from pipeline.results.shares import ClassMove, SettingShare, Share, Shares
from pipeline.results.sheet import PrintedNumber, PrintedSection, Sheet

COMPARES = Comparable(answer="yes", text="µ of old and new stops is comparable at every temperature.")


@pytest.mark.parametrize(
    ("a", "b", "moved"),
    [
        (Stated(0.40, 0.38, 0.42), Stated(0.40, 0.30, 0.50), "no"),
        (Stated(0.4001, 0.38, 0.42, "0.40"), Stated(0.4004, 0.38, 0.42, "0.40"), "no"),
        (Stated(0.40, 0.38, 0.42), Stated(0.419, 0.41, 0.43), "inside"),
        (Stated(0.40, 0.38, 0.42), Stated(0.421), "beyond"),
        # a skewed interval moves with its figure: 3 K against a width of 12 K is inside, though 145 lies above 143
        (Stated(142.0, 131.0, 143.0), Stated(145.0, 135.0, 145.0), "inside"),
        (Stated(142.0, 131.0, 143.0), Stated(149.0, 139.0, 149.0), "beyond"),
        (Stated(600.0, 590.0, None), Stated(605.0, 595.0, None), "inside"),  # the other end lies beyond the data
        (Stated(600.0, 590.0, None), Stated(611.0, 601.0, None), "beyond"),
        (Stated(0.40), Stated(0.41, 0.39, 0.43), "inside"),
        (Stated(0.40), Stated(0.41), "no interval"),
    ],
)
def test_how_far_a_figure_moved(a, b, moved):
    assert held(a, b) == moved


def test_of_several_what_must_be_seen_first():
    assert worst(["inside", "no", "beyond", "no interval"]) == "beyond"
    assert worst(["inside", "no"]) == "inside" and worst([]) == "no"


def test_an_interval_that_is_wider():
    assert wider(Stated(1.0, 0.9, 1.1), Stated(1.0, 0.8, 1.2)) == pytest.approx(2.0)
    assert wider(Stated(1.0), Stated(1.0, 0.8, 1.2)) is None


def number(label, value, key, low=None, high=None, unit=""):
    text = f"{value:g}" + (f" ({low:g} to {high:g})" if low is not None else "") + (f" {unit}" if unit else "")
    return PrintedNumber(label=label, text=text, value=value, low=low, high=high, file="f.json", key=key)


def sheet_of(*numbers, title="Friction"):
    return Sheet(compound="Marram 4", sections=[PrintedSection(title=title, numbers=list(numbers))])


def curve(*points):
    return sheet_of(
        *(
            one
            for place, (at, mu) in enumerate(points)
            for one in (
                number("curve temperature", at, f"/curve/{place}/temperature_c"),
                number("curve µ", mu, f"/curve/{place}/mu", mu - 0.01, mu + 0.01),
            )
        )
    )


def test_points_of_a_curve_are_paired_by_their_temperature():
    """The second method's curve begins at another temperature: its points are not those of the first by place."""
    found = figures.of_sheets("Marram 4", curve((60, 0.2), (120, 0.3)), curve((120, 0.3), (180, 0.4)))
    assert (found.compared, found.unmoved) == (1, 1)
    assert any("60" in name for name in found.only_a) and any("180" in name for name in found.only_b)


def test_a_figure_beyond_its_interval_is_named_with_its_condition():
    found = figures.of_sheets("Marram 4", curve((60, 0.2), (120, 0.3)), curve((60, 0.205), (120, 0.32)))
    assert (found.inside, found.beyond) == (1, 1)
    (first,) = [one for one in figures.together([found]).moved if one.moved == "beyond"]
    assert first.what == "curve µ, curve temperature 120" and first.relative == pytest.approx(0.32 / 0.3 - 1)


def test_a_number_that_stands_twice_counts_once_and_those_about_data_do_not():
    own = number("window, lower end", 140.0, "/window/low_c", 130.0, 150.0)
    both = Sheet(
        compound="c",
        sections=[
            PrintedSection(title="In short", numbers=[own]),
            PrintedSection(title="Friction", numbers=[own]),
            PrintedSection(title="Data quality", numbers=[number("u of µ", 0.01, "/budget/0")]),
        ],
    )
    assert figures.of_sheets("c", both, both).compared == 1


def test_a_compound_without_a_sheet_compares_nothing():
    assert figures.of_sheets("c", None, curve((60, 0.2))).compared == 0
    assert verdict.of_figures(Figures()) == "No sheet gives a figure by both methods."


def moved(state, count):
    return [Figure(of="c", part="p", what=f"mu {i}: mean", a="", b="", moved=state) for i in range(count)]


@pytest.mark.parametrize(
    ("inside", "beyond", "said"),
    [
        (0, 0, "No figure with an interval moved."),
        (12, 0, "12 figures with an interval moved, all inside their intervals."),
        (1, 0, "1 figure with an interval moved, inside it."),
        (0, 1, "1 figure with an interval moved, beyond it: mu 0."),
        (3, 2, "5 figures with an interval moved: 3 inside their intervals, 2 beyond: mu 0, mu 1."),
        (0, 5, "5 figures with an interval moved: none inside it, 5 beyond: mu 0, mu 1, mu 2 and 2 more."),
    ],
)
def test_figures_in_a_sentence(inside, beyond, said):
    every = [*moved("beyond", beyond), *moved("inside", inside)]
    assert verdict.of_figures(Figures(compared=40, inside=inside, beyond=beyond, moved=every)) == said


def test_figures_that_no_interval_holds_are_not_passed_over():
    bare = Figures(compared=40, no_interval=3, moved=moved("no interval", 3))
    assert verdict.of_figures(bare) == "No figure with an interval moved; 3 without one did."


def test_a_slope_that_becomes_steeper_downwards_moved_down():
    found = figures.of_sheets("c", sheet_of(number("slope", -0.02, "/s")), sheet_of(number("slope", -0.03, "/s")))
    assert found.moved[0].relative == pytest.approx(-0.5)


def test_verdicts_come_first_and_figures_are_none():
    window = Conclusion(
        scope="test", name="t", what="window", a="1", b="2", kind="figure", moved="beyond", changed=True
    )
    drift = Conclusion(scope="test", name="t", what="drift", a="none", b="glazing-like", changed=True)
    assert verdict.sentences([window], Figures(), COMPARES, [])[0] == "No verdict changed."
    said = verdict.sentences([window, drift], Figures(), COMPARES, ["old-1"])
    assert said[0] == "1 verdict changed: drift of t." and "old-1" in said[-1]


def test_which_setting_did_it_is_said():
    def of(*means):
        return [ClassMove(stops=9, mean=m, p05=m, p95=m) for m in means]

    two = Shares(
        settings=[
            SettingShare(name="s.one", classes=of(-0.05, 0.01)),
            SettingShare(name="s.two", classes=of(0.0, 0.0)),
        ],
        together=Share(classes=of(-0.05, 0.01)),
        interaction=Share(classes=of(0.0, 0.0)),
    )
    assert (
        verdict.of_settings(two).replace("\u00a0", " ")
        == "Mean change of µ by temperature, each setting alone: s.one −5.0 to +1.0 %; s.two 0 %; interaction 0 %."
    )
    one = Shares(settings=[SettingShare(name="s.one", classes=of(0.1))], together=Share(classes=of(0.1)))
    assert verdict.of_settings(one) == "All that moved in the tests themselves is the doing of s.one."
    assert verdict.of_settings(Shares()) == ""
