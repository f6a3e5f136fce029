"""Friction: the window, the curve, reference conditions, sensitivities, cold friction and bite, and what the average means."""

from collections.abc import Mapping
from dataclasses import replace

from pipeline.report.document import Cell, Items, Number, Picture, Section, Table, Text
from pipeline.report.inputs import Inputs
from pipeline.report.sections import answers, honest

LIMITS = {"band": "the tolerance band leaves the wanted band of µ", "data": "the data end there"}
TARGETED = "the wanted band"
SENSITIVITIES = (
    ("temperature", "temperature_per_100c", "per 100 K"), ("pressure", "pressure_per_10bar", "per 10 bar"),
    ("speed", "speed_per_100rpm", "per 100 rpm"), ("energy density", "energy_per_j_mm2", "per J/mm²"),
)  # fmt: skip


def reference(inputs: Inputs) -> dict[str, Number]:
    """The reference conditions, by name."""
    read = inputs.friction.number
    return {
        "temperature": read("reference temperature", "/reference/temperature_c", "°C", decimals=0),
        "pressure": read("reference pressure", "/reference/pressure_bar", "bar", decimals=1),
        "speed": read("reference speed at start", "/reference/speed_rpm", "rpm", decimals=0),
        "energy": read("reference energy density of pad area", "/reference/energy_density_j_mm2", "J/mm²", decimals=1),
    }


def friction(inputs: Inputs) -> Section:
    """The friction part of the sheet."""
    parts: list[Text | Items | Table | Picture] = [window_text(inputs), *honest.off_text(inputs)]
    parts += [*honest.pooled_text(inputs), *answers.holds_text(inputs)]
    parts += answers.batch_parts(inputs)
    parts += answers.sides_parts(inputs)
    parts.append(
        Text("Reference conditions: {temperature}, {pressure}, {speed} at the start, {energy}.", reference(inputs))
    )
    parts.append(Picture("friction", "µ of the ok stops against temperature: map and check stops in colour, those of every other purpose in grey (an even "
                         "choice where there are many; suspect and rejected stops are not drawn), with the curve at reference conditions, its confidence "
                         "band (mean), its tolerance band (one future stop), the wanted band of µ, and each batch's own curve where batches differ. No curve outside the data.", "Friction coefficient against temperature"))  # fmt: skip
    curve = curve_rows(inputs)
    if curve:
        parts.append(Table("The curve at reference conditions, with 95 % confidence of the mean and the tolerance band", [
            "Temperature (°C)", "µ, mean", "µ, tolerance band from", "to"], curve))  # fmt: skip
    parts += honest.off_table(inputs)
    parts.append(Items(sensitivity_items(inputs)))
    features = [
        *answers.landmark_items(inputs),
        *answers.bite_items(inputs),
        *scatter_items(inputs),
        *feature_items(inputs),
    ]
    if features:
        parts.append(Items(features))
    parts += average_texts(inputs)
    rows = answers.pause_rows(inputs)
    if rows:
        head = ["Test", "Stop", "Pause (h)", "Start (°C)", "µ / expected", "Bite / expected", "Stops to normal"]
        parts.append(
            Table(
                "First stop after a pause, over the friction expected at its conditions: the one that strays most in each test",
                head,
                rows,
            )
        )
    parts += left_out(inputs)
    parts += disagreements(inputs)
    return Section("Friction", parts)


def window_text(inputs: Inputs) -> Text:
    """The window in a sentence with confidence and coverage, or the reason that there is none."""
    source = inputs.friction
    window = source.get("/window")
    if not isinstance(window, Mapping):
        why = source.get("/window_reason") or source.reason("/window")
        return Text("Friction window: not given: {why}", {"why": str(why)}, "bad")
    values: dict[str, Cell] = {
        "low": end(inputs, "low"), "high": end(inputs, "high"), "lower": why_ends(window, "low"), "upper": why_ends(window, "high"),
        "mean": source.number("mean µ in the window", "/window/mu_mean"),
        "least": source.number("lowest of the curve in the window", "/window/mu_low"),
        "most": source.number("highest of the curve in the window", "/window/mu_high"),
        "confidence": source.number("confidence of the window", "/window/confidence", "%", factor=100.0, decimals=0),
        "coverage": source.number("coverage of the window", "/window/coverage", "%", factor=100.0, decimals=0),
        "band": wanted_band(inputs),
        "whose": "the batches tested" if inputs.friction.get("/further_batch") else "this specimen",
    }  # fmt: skip
    return Text(
        "Friction window: {low} to {high}. Lower end: {lower}; upper end: {upper}. Mean µ in it {mean}, the curve there runs from {least} to {most}. "
        "Inside the window {coverage} of single stops of {whose} lie in {band}, stated with {confidence} confidence.", values, "good" if wanted_band(inputs) == TARGETED else "open",
    )  # fmt: skip


def why_ends(window: Mapping[str, object], name: str) -> str:
    """Why the window ends there, in words."""
    return LIMITS.get(str(window.get(f"{name}_limited_by")), "not explained")


def wanted_band(inputs: Inputs) -> str:
    """Which band the window was sought in."""
    source = inputs.friction.get("/wanted_from")
    return TARGETED if source in (None, "target") else f"a band {source}"


def end(inputs: Inputs, name: str) -> Number:
    """One end of the window, with its interval where the stage gives one."""
    words = {"low": "window, lower end", "high": "window, upper end"}[name]
    number = inputs.friction.number(words, f"/window/{name}_c", "°C", decimals=0)
    interval = inputs.friction.get(f"/window/{name}_interval_c")
    if isinstance(interval, Mapping) and interval.get("low") is not None and interval.get("high") is not None:
        return replace(number, low=interval["low"], high=interval["high"], decimals=0)
    return number


def curve_rows(inputs: Inputs, most: int = 12) -> list[list[Cell]]:
    """An even choice of the curve's points, ends included."""
    points = inputs.friction.get("/curve") or []
    if not points:
        return []
    step = max(1, -(-(len(points) - 1) // (most - 1)))
    chosen = sorted({*range(0, len(points), step), len(points) - 1})
    read = inputs.friction
    return [
        [read.number("curve temperature", f"/curve/{i}/temperature_c", "°C", decimals=0), read.between("curve µ", f"/curve/{i}/mu", "low", "high"),
         read.number("tolerance band, lower", f"/curve/{i}/tolerance_low", decimals=3), read.number("tolerance band, upper", f"/curve/{i}/tolerance_high", decimals=3)]
        for i in chosen
    ]  # fmt: skip


def sensitivity_items(inputs: Inputs) -> list[tuple[str, Cell]]:
    """Sensitivities of mu with intervals; where the design can't separate two, the reason."""
    rows: list[tuple[str, Cell]] = []
    for words, key, unit in SENSITIVITIES:
        rows.append(
            (
                f"Sensitivity of µ to {words}, {unit}",
                inputs.friction.number(f"sensitivity to {words} {unit}", f"/sensitivity/{key}"),
            )
        )
    return rows


def feature_items(inputs: Inputs) -> list[tuple[str, Cell]]:
    """Bite of every batch."""
    rows: list[tuple[str, Cell]] = []
    for batch in inputs.batches.each(lambda found: found.batches):
        name = f"Bite of batch {batch.result.batch}, coldest conditions all batches have"
        rows.append((name, batch.number(name, lambda found: found.bite)))
    return rows


def average_texts(inputs: Inputs) -> list[Text]:
    """Which average is shown and where the choice matters."""
    average = inputs.settings.reduction.average
    words = {"distance": "sliding distance", "time": "time", "energy": "friction energy"}[average]
    said = [
        Text(
            "Every µ on this sheet is averaged over {words} inside the evaluation window, unless it says otherwise.",
            {"words": words},
        )
    ]
    spread = average_spread(inputs)
    if spread:
        said.append(spread)
    return said


def average_spread(inputs: Inputs) -> Text | None:
    """The largest median disagreement of the averages, cold and warm, over the tests' ok stops."""
    import numpy as np
    import polars as pl

    frames = [
        t.stops.filter(pl.col("status") == "ok").select(
            "mu", "mu_time", "mu_distance", "mu_energy", "temperature_initial_c"
        )
        for t in inputs.usable
    ]
    if not frames:
        return None
    stops = pl.concat(frames).drop_nulls()
    averages = ("mu_time", "mu_distance", "mu_energy")
    spread = (pl.max_horizontal(*averages) - pl.min_horizontal(*averages)) / pl.col("mu") * 100
    shown: dict[str, Cell] = {}
    for name, condition, where in (
        ("cold", pl.col("temperature_initial_c") < 150, "below 150 °C"),
        ("warm", pl.col("temperature_initial_c") >= 200, "from 200 °C"),
    ):
        values = stops.filter(condition).select(spread.alias("s"))["s"].to_numpy()
        for statistic, share in (("median", 0.5), ("90th percentile", 0.9)):
            found = float(np.quantile(values, share)) if len(values) else None
            key = f"{statistic}, over status ok and temperature_initial_c {where}, of the range of {', '.join(averages)} over mu"
            shown[f"{name}_{statistic[:2]}"] = Number(
                f"spread of the averages, {name} stops, {statistic}", found, "%", "tests/*/stops.parquet", key,
                decimals=1, why=f"no ok stop starts {where}", factor=100.0,
            )  # fmt: skip
    return Text(
        "The three averages (time, distance, energy) lie apart by {cold_me} (median) and {cold_90} (one stop in ten lies beyond) in stops that start "
        "below 150 °C, and by {warm_me} and {warm_90} in stops that start from 200 °C. Where friction rises inside a cold stop, the choice of "
        "average decides the number.", shown,
    )  # fmt: skip


def scatter_items(inputs: Inputs) -> list[tuple[str, Cell]]:
    """Scatter between specimens and batches beside that of stops, where the compound's stage gives it."""
    between = inputs.friction.get("/between")
    if not isinstance(between, Mapping):
        return []
    relative = between.get("unit") == "relative"
    factor, unit = (100.0, "%") if relative else (1.0, "")
    words = (
        ("specimen_sd", "between specimens of a batch"),
        ("batch_sd", "between batches"),
        ("stop_sd", "of single stops about their map"),
    )
    rows: list[tuple[str, Cell]] = [
        (f"Standard deviation of µ {said}", inputs.friction.number(
            f"standard deviation {said}", f"/between/{key}", unit, factor=factor, why=between.get(key.replace("_sd", "_why"))))
        for key, said in words
    ]  # fmt: skip
    return rows


def left_out(inputs: Inputs) -> list[Text]:
    """Blocks that the compound's map left out because their history had changed them, a sentence a test."""
    by_test: dict[str, list[str]] = {}
    for block in inputs.friction.get("/left_out") or []:
        if isinstance(block, Mapping):
            by_test.setdefault(str(block.get("test") or "all"), []).append(str(block.get("why") or block.get("block")))
    return [
        Text("Left out of the map, {test}: {why}.", {"test": test, "why": "; ".join(reasons)}, "open")
        for test, reasons in by_test.items()
    ]


def disagreements(inputs: Inputs) -> list[Text]:
    """Where the slope inside stops and the slope between stops disagree, test by test."""
    return [
        Text("{test}: {text}.", {"test": test.test, "text": str(text).rstrip(".")})
        for test in inputs.usable
        for text in test.friction.get("/in_stop/disagreements") or []
    ]
