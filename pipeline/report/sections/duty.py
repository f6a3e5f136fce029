"""Duty projections: disc temperatures of the settled cycle, share in the window, wear, life, cooling opening to run."""

from dataclasses import replace

from pipeline.report.document import Cell, Items, Number, Picture, Section, Table, Text
from pipeline.report.inputs import Inputs
from pipeline.report.wear_words import name_of


def duty(inputs: Inputs) -> Section:
    """The duty part of the sheet."""
    source = inputs.duty
    listed = source.get("/duties") or []
    if not listed:
        return Section(
            "Duty projections",
            [
                Text(
                    "No duty projection: {why}",
                    {"why": source.reason("/duties") if source.data.get("why") else "no duty file is given"},
                )
            ],
        )
    parts: list[Text | Items | Table | Picture] = [
        Text("Disc bulk temperature of the settled cycle. A projection rests on the friction window and wear law of this sheet and on the duty as "
             "given; it is not a measurement of the vehicle. Life counts from new thickness to the minimum.")
    ]  # fmt: skip
    rows: list[list[Cell]] = []
    for i, one in enumerate(listed):
        name, base = str(one.get("duty")), f"/duties/{i}"
        rows.append([
            name, source.number(f"{name}: cooling opening", f"{base}/opening", decimals=2), source.number(f"{name}: lowest temperature", f"{base}/temperature_low_c", "°C", decimals=0),
            source.number(f"{name}: highest temperature", f"{base}/temperature_high_c", "°C", decimals=0),
            source.number(f"{name}: energy in the window", f"{base}/window_share", "%", factor=100.0, decimals=0),
            glazing(inputs, name, base),
            source.number(f"{name}: life", f"{base}/life_cycles", "cycles", decimals=0), source.number(f"{name}: life", f"{base}/life_km", "km", decimals=0), str(one.get("life_limited_by") or "–"),
        ])  # fmt: skip
    parts.append(Table("Projection of each duty", ["Duty", "Opening", "Lowest (°C)", "Highest (°C)", "Energy in the window (%)", "in glazing-prone conditions (%)",
                                                   "Life (cycles)", "Life (km)", "ended by"], rows))  # fmt: skip
    wear: list[list[Cell]] = [[str(one.get("duty")), name_of(c), source.number(f"{one.get('duty')}: {name_of(c)} wear per cycle", f"/duties/{i}/wear_um_per_cycle/{c}", "µm")]
            for i, one in enumerate(listed) for c in (one.get("wear_um_per_cycle") or {})]  # fmt: skip
    if wear:
        parts.append(
            Table("Wear per cycle, 95 % intervals", ["Duty", "Component", "Thickness loss per cycle (µm)"], wear)
        )
    for i, one in enumerate(listed):
        parts.append(opening_text(inputs, i, str(one.get("duty"))))
        grounds = [str(part["ground"]) for part in (one.get("life_by_component") or {}).values() if part.get("ground")]
        if grounds:
            parts.append(Text("{duty}: life rests on no law: {ground}.", {"duty": str(one.get("duty")), "ground": "; ".join(grounds)}, "open"))  # fmt: skip
        if one.get("settled_within_use") is False:
            parts.append(Text("{duty}: one use ends before the disc has settled; highest temperature in a use {highest}. Wear and life are those of the use, "
                              "the temperatures in the table those of the settled cycle.", {"duty": str(one.get("duty")),
                              "highest": source.number(f"{one.get('duty')}: highest temperature in a use", f"/duties/{i}/highest_in_use_c", "°C", decimals=0)}))  # fmt: skip
        if isinstance(one.get("worn_disc"), dict):
            parts.append(Text("{duty}: wear and life are reckoned with the new disc's mass; worn to its minimum it reaches {highest} in the settled cycle.", {
                "duty": str(one.get("duty")), "highest": source.number(
                    f"{one.get('duty')}: highest temperature, worn disc", f"/duties/{i}/worn_disc/temperature_high_c", "°C", decimals=0)}))  # fmt: skip
        beyond = [str(item) for item in one.get("extrapolated") or []]
        if beyond:
            parts.append(
                Text(
                    "{duty} goes beyond what the rig has shown: {beyond}.",
                    {"duty": str(one.get("duty")), "beyond": "; ".join(beyond)},
                    "bad",
                )
            )
    if any(one.get("sweep") for one in listed):
        parts.append(Picture("duty", "Disc temperature in the settled cycle; its lowest and highest, the share of energy inside the friction window, and life, "
                             "against the cooling opening. Shaded: the friction window.", "Disc temperature, window share and life against cooling opening"))  # fmt: skip
    common = source.get("/common_opening")
    if len(listed) > 1:
        if isinstance(common, dict) and common.get("low") is not None:
            parts.append(Text("One opening serves all duties: {low} to {high}.", {
                "low": source.number("common opening from", "/common_opening/low", decimals=2),
                "high": source.number("common opening to", "/common_opening/high", decimals=2)}, "good"))  # fmt: skip
        elif "common_opening" in source.data:
            parts.append(
                Text(
                    "No opening serves all duties: {why}.",
                    {"why": source.reason("/common_opening").rstrip(".")},
                    "open",
                )
            )
    parts += [Text("{note}.", {"note": str(note).rstrip(".")}, sentence=True) for note in source.get("/notes") or []]
    return Section("Duty projections", parts)


def glazing(inputs: Inputs, name: str, base: str) -> Number:
    """Share of the energy under the limit of low-energy use, with its interval: the limit is known to a factor."""
    number = inputs.duty.number(
        f"{name}: energy in glazing-prone conditions", f"{base}/glazing_share", "%", factor=100.0, decimals=0
    )
    interval = inputs.duty.get(f"{base}/glazing_share_interval")
    if number.given and isinstance(interval, dict) and None not in (interval.get("low"), interval.get("high")):
        return replace(number, low=100.0 * interval["low"], high=100.0 * interval["high"])
    return number


def opening_text(inputs: Inputs, index: int, name: str) -> Text:
    """The cooling opening to run, or why none is given."""
    source, pointer = inputs.duty, f"/duties/{index}/opening_to_run"
    if not isinstance(source.get(pointer), dict) or source.get(f"{pointer}/low") is None:
        return Text("{duty}: opening to run: not given: {why}", {"duty": name, "why": source.reason(f"{pointer}/low") if isinstance(source.get(pointer), dict)
                    else source.reason(pointer)}, "open")  # fmt: skip
    return Text("{duty}: cooling opening to run: {low} to {high} (1 = the rig's air as tested).", {
        "duty": name, "low": source.number(f"{name}: opening from", f"{pointer}/low", decimals=2), "high": source.number(f"{name}: opening to", f"{pointer}/high", decimals=2)})  # fmt: skip
