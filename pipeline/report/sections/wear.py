"""Wear: intervals and rates of every component, the law with its intervals and the temperatures that support it."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from pipeline.report import numbers
from pipeline.report.document import Cell, Items, Picture, Section, Table, Text
from pipeline.report.inputs import Inputs
from pipeline.report.wear_words import identified, law_words, name_of

RATES = (
    ("um_per_stop", "Thickness per stop", "µm"), ("um_per_stop_per_face", "Thickness per stop and face", "µm"), ("mg_per_stop", "Mass per stop", "mg"),
    ("mm3_per_mj", "Volume per friction work of the brake", "mm³/MJ"), ("mm3_per_n_m", "Volume per normal force and distance, one face", "mm³/(N m)"),
)  # fmt: skip


def wear(inputs: Inputs) -> Section:
    """The wear part of the sheet."""
    source = inputs.wear
    components = source.get("/components")
    if not isinstance(components, Mapping) or not components:
        return Section("Wear", [Text("Wear: not given: {why}", {"why": source.reason("/components")}, "open")])
    parts: list[Text | Items | Table | Picture] = []
    for component, found in components.items():
        parts.append(law_text(inputs, component, found))
    shown = [rate for rate in RATES if any(rate[0] in (found.get("rates") or {}) for found in components.values())]
    parts.append(Table("Wear rates over all stops after bedding, 95 % intervals; a disc's thickness loss is of both faces together", [
        "Component", *[f"{words} ({unit})" for _, words, unit in shown]], [
        [name_of(component), *[source.number(f"{name_of(component)}: {words.lower()}", f"/components/{component}/rates/{key}", unit) for key, words, unit in shown]]
        for component in components]))  # fmt: skip
    parts.append(Picture("wear", "Left: interval wear by the chosen law against the measured, with twice the readings' standard uncertainty. Right: wear rate by "
                         "interval. All tests.", "Wear by the law against measured wear, and wear rate by interval"))  # fmt: skip
    parts.append(Picture("wear_law", "Left: the chosen law over temperature with its 95 % band, inside the data's range. Right: wear by cause and purpose of the "
                         "blocks, by the chosen law.", "Wear law over temperature and shares of wear"))  # fmt: skip
    parts.append(Table("Laws fitted to the interval totals", ["Component", "Law", "χ² per degree of freedom", "AICc", "Leave-one-out error (µm)", "State"], [
        [name_of(component), chosen_words(model), *[replace(source.number(f"{name_of(component)} {model.get('model')}: {words}", f"/components/{component}/models/{i}/{key}", decimals=d), brief=True)
         for words, key, d in (("χ²/dof", "chi2_per_dof", 2), ("AICc", "aicc", 1), ("leave-one-out error", "loo_rmse_um", 2))], state(model, found)]
        for component, found in components.items() for i, model in enumerate(found.get("models") or [])]))  # fmt: skip
    parameters = parameter_rows(inputs)
    if parameters:
        parts.append(
            Table(
                "Parameters of the chosen laws, 95 % intervals",
                ["Component", "Law", "Parameter", "Value", "Unit"],
                parameters,
            )
        )
    parts.append(Items([(f"Mass loss over thickness loss, {name_of(component)} (1.15 or more points to loss inside the material)",
                         source.number(f"{name_of(component)}: mass over thickness", f"/components/{component}/mass_to_thickness")) for component in components]))  # fmt: skip
    left_out = source.get("/wear_left_out") or {}
    parts += [
        Text("Left out of wear: {test}: {why}.", {"test": str(test), "why": str(why).rstrip(".")}, "open")
        for test, why in left_out.items()
    ]
    parts += [Text("{note}", {"note": str(note)}, sentence=True) for note in source.get("/notes") or []]
    return Section("Wear", parts)


def state(model: Mapping[str, object], found: Mapping[str, object]) -> str:
    """Chosen, identified, effective, in words with the reason."""
    said = ["chosen"] if model.get("model") == found.get("chosen") else []
    said += ["identified"] if model.get("identified") else ["not identified"]
    said += ["effective parameters"] if model.get("effective") else []
    return ", ".join(said) + (f": {model['why']}" if model.get("why") else "")


def law_text(inputs: Inputs, component: str, found: Mapping[str, Any]) -> Text:
    """The chosen law of a component, why it, and the temperatures that support it."""
    chosen = found.get("chosen")
    if not chosen:
        why = numbers.why_missing(found, "chosen") or inputs.wear.reason(f"/components/{component}/chosen")
        return Text(
            "{component}: no law is chosen: {why}", {"component": name_of(component), "why": why}, "open", sentence=True
        )
    words: dict[str, Cell] = {"component": name_of(component), "law": str(chosen).replace("_", " ")}
    if not identified(found):
        said = "{component}: {none}. The {law} law stands in as a description of these tests, and nothing follows from it beyond them."
        return Text(said, words | {"none": law_words(found)}, "open", sentence=True)
    why = f" ({found['chosen_why']})" if found.get("chosen_why") else ""
    values = words | {"why": why}
    spans = found.get("temperature_range_c")
    if isinstance(spans, list) and len(spans) == 2 and None not in spans:
        base = f"/components/{component}/temperature_range_c"
        values |= {"low": inputs.wear.number(f"{component}: law supported from", f"{base}/0", "°C", decimals=0),
                   "high": inputs.wear.number(f"{component}: law supported to", f"{base}/1", "°C", decimals=0)}  # fmt: skip
        return Text("{component}: the {law} law is chosen{why}. The data support it from {low} to {high}, not beyond.", values, sentence=True)  # fmt: skip
    return Text("{component}: the {law} law is chosen{why}. It holds inside the temperatures and powers of these tests, not beyond.", values, sentence=True)  # fmt: skip


def parameter_rows(inputs: Inputs) -> list[list[Cell]]:
    """Parameters of the chosen laws."""
    rows: list[list[Cell]] = []
    for component, found in (inputs.wear.get("/components") or {}).items():
        for i, model in enumerate(found.get("models") or []):
            if model.get("model") != found.get("chosen"):
                continue
            for name, parameter in (model.get("parameters") or {}).items():
                unit = numbers.unit_words(str(parameter.get("unit") or "")) if isinstance(parameter, Mapping) else ""
                number = inputs.wear.number(
                    f"{name_of(component)}: {name}", f"/components/{component}/models/{i}/parameters/{name}"
                )
                rows.append([name_of(component), str(chosen_words(model)), name, number, unit or "1"])
    return rows


def chosen_words(model: Mapping[str, object]) -> str:
    """The law's name as words."""
    return str(model.get("model")).replace("_", " ")
