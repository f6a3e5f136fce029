"""Method files: documented defaults, unknown keys refused, equal settings written the same."""

import ast

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import InputError
from pipeline.method import SECTIONS, Method, from_stage_settings, load_method, stage_settings
from pipeline.method.base import canonical
from pipeline.report.reference_pages import dimension_of, shown
from tests.conftest import REPO


def method(tmp_path, text):
    path = tmp_path / "m.yaml"
    path.write_text(text)
    return load_method(path)


def test_an_empty_file_is_the_default_method_of_the_contract(tmp_path):
    default = method(tmp_path, "")
    assert default == Method()
    reduction = default.reduction
    assert (reduction.average, reduction.drag_correction, reduction.radius) == ("distance", True, "mean")
    assert (reduction.build_up, reduction.temperature) == (0.95, "initial")
    assert (default.conditioning.filter_cutoff, default.conditioning.lag_correction) == (20.0, True)
    assert default.drift.false_alarm_rate == 0.01
    assert (default.friction.confidence, default.friction.coverage) == (0.95, 0.90)


def test_every_setting_says_what_it_is():
    for section, (model, _) in SECTIONS.items():
        for name, field in model.model_fields.items():
            assert field.description, f"{section}.{name} has no description"
            assert not field.is_required(), f"{section}.{name} has no default"


def test_a_section_without_keys_is_its_default(tmp_path):
    assert method(tmp_path, "drift:\nreduction: {average: time}\n").drift == Method().drift


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("reduction: {averag: time}", "nearest known key: average"),
        ("reducton: {average: time}", "nearest known key: reduction"),
        ("reduction: {average: middle}", "distance"),
        ("reduction: {build_up: 40 bar}", "build_up"),
        ("drift: {false_alarm_rate: 150 %}", "false_alarm_rate"),
        ("drift: {false_alarm_rate: 0.001 %}", "not below 0.001"),  # nothing simulates so rare an alarm
        ("conditioning: {filter_cutoff: 20}", "Hz"),
    ],
)
def test_a_wrong_setting_is_one_line(tmp_path, text, said):
    with pytest.raises(InputError, match=said) as caught:
        method(tmp_path, text)
    assert "\n" not in str(caught.value)


def test_the_same_settings_written_otherwise_are_the_same_string(tmp_path):
    a = method(tmp_path, "conditioning: {filter_cutoff: 20 Hz, lag_correction: false}")
    b = method(tmp_path, "conditioning:\n  # slower to write\n  lag_correction: no\n  filter_cutoff: 0.02 kHz\n")
    assert stage_settings(a, "conditioning") == stage_settings(b, "conditioning")
    assert stage_settings(a, "conditioning") != stage_settings(Method(), "conditioning")
    assert stage_settings(a, "reduction") == stage_settings(Method(), "reduction")


def test_settings_survive_the_way_through_a_rule(tmp_path):
    given_method = method(tmp_path, "reduction: {average: energy, build_up: 90 %}\nfriction: {coverage: 95 %}")
    seen = from_stage_settings(stage_settings(given_method, "reduction", "friction"))
    assert seen.reduction == given_method.reduction
    assert seen.friction == given_method.friction
    with pytest.raises(AttributeError, match="drift"):
        seen.drift  # noqa: B018  # at its default it would pass for what the user chose


@given(
    st.dictionaries(st.text(min_size=1), st.one_of(st.integers(-(10**9), 10**9), st.floats(-1e9, 1e9), st.booleans()))
)
def test_canonical_ignores_the_order_of_keys(content):
    assert canonical(content) == canonical(dict(reversed(content.items())))


def settings_with_a_dimension():
    for section, (model, _) in SECTIONS.items():
        for name, field in model.model_fields.items():
            if (dimension := dimension_of(field)) is not None:
                yield section, name, field, dimension


def test_every_setting_with_a_dimension_takes_number_and_unit_and_shows_a_default_that_reads_back(tmp_path):
    tried = 0
    for section, name, field, dimension in settings_with_a_dimension():
        default = field.get_default(call_default_factory=True)
        text = f"{section}: {{{name}: {shown(field, default)}}}"
        assert getattr(getattr(method(tmp_path, text), section), name) == pytest.approx(default, rel=1e-5), text
        if dimension.name != "share":
            with pytest.raises(InputError, match="unit"):
                method(tmp_path, f"{section}: {{{name}: 3}}")
        tried += 1
    assert tried >= 35


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("drift: {low_temperature: 200 degC}", 473.15),
        ("drift: {low_temperature: 473.15 K}", 473.15),
        ("drift: {matched_temperature: 40 K}", 40.0),
        ("drift: {rest_pressure_change: 30 kPa}", 3.0e4),
    ],
)
def test_a_temperature_and_a_difference_are_told_apart(tmp_path, text, value):
    key = text.split("{")[1].split(":")[0]
    assert getattr(method(tmp_path, text).drift, key) == pytest.approx(value)


def test_no_description_names_a_unit_that_the_accepted_ones_already_do():
    """A unit in the meaning beside one in `accepted` is how the two come to disagree."""
    for section, name, field, _ in settings_with_a_dimension():
        words = (field.description or "").replace(";", ",").split(",")
        assert not {w.strip() for w in words} & {"s", "Hz", "K", "Pa", "m", "kg", "degC", "bar", "rad/s"}, (
            section,
            name,
        )


def test_a_revision_stands_where_a_run_looks_for_it():
    """A stage that keeps a revision of its own elsewhere raises it and no run notices: archives keep stale results."""
    elsewhere = [
        f"{path.relative_to(REPO)}:{node.lineno}"
        for path in sorted((REPO / "pipeline").rglob("*.py"))
        if path.parent.name != "method"
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant)
        for target in node.targets
        if isinstance(target, ast.Name) and target.id.endswith("REVISION")
    ]
    assert elsewhere == []
