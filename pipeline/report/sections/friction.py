"""Friction: the window, the curve, reference conditions, sensitivities, cold friction and bite, and what the average means."""

from collections.abc import Callable
from dataclasses import replace

from pipeline.report import verdicts
from pipeline.report.document import FRONT, ROOM, Cell, Items, Number, Picture, Section, Table, Text, ranked
from pipeline.report.inputs import Inputs
from pipeline.report.sections import answers, conditions, face, honest
from pipeline.results.compound_friction import Between, CompoundFriction
from pipeline.results.friction_map import Sensitivity, Slope

TARGETED = "the target band"
SENSITIVITIES: tuple[tuple[str, Callable[[Sensitivity], Slope], str], ...] = (
    ("temperature", lambda s: s.temperature_per_100c, "per 100 K"),
    ("pressure", lambda s: s.pressure_per_10bar, "per 10 bar"),
    ("start speed at fixed energy density", lambda s: s.speed_per_100rpm, "per 100 rpm"),
    ("energy density", lambda s: s.energy_per_j_mm2, "per J/mm²"),
)
CONDITIONS = Picture(
    "conditions",
    "Left: µ of the ok map and check stops within 40 K of the reference temperature against energy density, batches by colour. Middle and right: "
    "mean µ along lines of pressure and of speed, other conditions alike, with 95 % intervals; lines join what one batch ran. "
    "Curves with bands: the map's, the other conditions at the reference.",
    "Friction coefficient against energy density, and along pressure and speed",
    "tests/*/stops.parquet, friction.json /lines",
    FRONT,
)


def reference(inputs: Inputs) -> dict[str, Number]:
    """The reference conditions, by name."""
    read = inputs.friction.number
    return {
        "temperature": read(
            "reference temperature", lambda f: f.reference.temperature_c if f.reference else None, decimals=0
        ),
        "pressure": read("reference pressure", lambda f: f.reference.pressure_bar if f.reference else None, decimals=1),
        "speed": read("reference speed at start", lambda f: f.reference.speed_rpm if f.reference else None, decimals=0),
        "energy": read(
            "reference energy density of pad area",
            lambda f: f.reference.energy_density_j_mm2 if f.reference else None,
            decimals=1,
        ),
    }


def friction(inputs: Inputs) -> Section:
    """The friction part of the sheet."""
    parts: list[Text | Items | Table | Picture] = [replace(window_text(inputs), rank=FRONT), *estimate_text(inputs)]
    parts += [*ranked(FRONT, honest.pooled_text(inputs)), *ranked(ROOM, answers.holds_text(inputs))]
    parts += answers.batch_parts(inputs)
    parts += answers.sides_parts(inputs)
    said = "Reference conditions: {temperature}, {pressure}, {speed} at the start, {energy}."
    parts.append(Text(said, reference(inputs), rank=FRONT))
    parts += conditions.windows_parts(inputs)
    parts.append(Picture("friction", "µ of the ok stops against temperature: map and check stops in colour, those of every other purpose in grey (an even "
                         "choice where there are many; suspect and rejected stops are not drawn), with the curve at reference conditions, its confidence "
                         "band (mean), its tolerance band (one future stop), the target band of µ, and each batch's own curve where batches differ. No curve outside the data.", "Friction coefficient against temperature",
                         "tests/*/stops.parquet, friction.json", FRONT))  # fmt: skip
    parts.append(CONDITIONS)
    curve = curve_rows(inputs)
    if curve:
        parts.append(Table("The curve at reference conditions, with 95 % confidence of the mean and the tolerance band", [
            "Temperature (°C)", "µ, mean", "µ, tolerance band from", "to"], curve))  # fmt: skip
    parts += honest.off_table(inputs)
    features = [
        *answers.landmark_rows(inputs),
        *sensitivity_rows(inputs),
        *answers.bite_rows(inputs),
        *feature_rows(inputs),
        *scatter_rows(inputs),
    ]
    caption = "Figures of friction: value with its 95 % interval, and the conditions at which it holds"
    parts.append(Table(caption, ["Figure", "Value", "Where it holds"], features, units_in_cells=True, rank=FRONT))
    parts += face.parts(inputs)
    parts += average_texts(inputs)
    rows = answers.pause_rows(inputs)
    if rows:
        head = ["Test", "Stop", "Pause (h)", "Start (°C)", "µ / expected", "Bite / expected", "Stops to normal"]
        parts.append(
            Table(
                "First stop after a pause, over the friction expected at its conditions: the one that strays most in each test",
                head,
                rows,
                rank=FRONT,
            )
        )
    parts += left_out(inputs)
    parts += disagreements(inputs)
    return Section("Friction", parts)


def window_text(inputs: Inputs) -> Text:
    """The window in a sentence with confidence and coverage, or the reason that there is none."""
    window = inputs.friction.part(lambda found: found.window)
    if window is None:
        why = inputs.friction.reason(lambda found: found.window)
        return Text("Friction window: not given: {why}", {"why": why}, "bad")
    low, high = window_ends(inputs)
    values: dict[str, Cell] = {
        "low": low,
        "high": high,
        "lower": limit(inputs, window.result.low_limited_by),
        "upper": limit(inputs, window.result.high_limited_by),
        "mean": window.number("mean µ in the window", lambda w: w.mu_mean),
        "least": window.number("lowest of the curve in the window", lambda w: w.mu_low),
        "most": window.number("highest of the curve in the window", lambda w: w.mu_high),
        "confidence": window.number(
            "confidence of the window", lambda w: w.confidence, unit="%", factor=100.0, decimals=0
        ),
        "coverage": window.number("coverage of the window", lambda w: w.coverage, unit="%", factor=100.0, decimals=0),
        "band": wanted_band(inputs),
        "at": reference(inputs)["pressure"],
        "energy": reference(inputs)["energy"],
        "whose": "the batches tested, taken together," if inputs.friction.result.further_batch else "this specimen",
    }
    elsewhere = ", not for gentler or harder stops" if inputs.friction.result.windows_at_why else ""
    opened = {
        name: ", the interval reaching to where the data end, or beyond," if interval.beyond_data else ""
        for name, interval in (("low", window.result.low_interval_c), ("high", window.result.high_interval_c))
    }
    said, own = narrowest_batch(inputs)
    missed, which = honest.missed_text(inputs)
    kept = wanted_band(inputs) == TARGETED and not missed
    return Text(
        f"Friction window: {{low}}{opened['low']} to {{high}}{opened['high']} at the reference's {{at}} and {{energy}}{elsewhere}. {said}"
        "Lower end: {lower}; upper end: {upper}. Mean µ in it {mean}, the curve there runs from {least} to {most}. "
        "Inside the window {coverage} of single stops of {whose} lie in {band}, stated with {confidence} confidence."
        + missed, values | own | which, "good" if kept else "open",
    )  # fmt: skip


def estimate_text(inputs: Inputs) -> list[Text]:
    """Where the window ends by best estimate, in a sentence; nothing where stops leave the band at neither end."""
    estimate = inputs.friction.part(lambda found: found.window_estimate)
    if estimate is None or verdicts.by_data_alone(estimate.result):
        return []
    values: dict[str, Cell] = {
        "low": estimate.number(
            "window by best estimate, lower end",
            lambda e: e.low_c,
            ends=lambda e: (e.low_interval_c.low, e.low_interval_c.high),
            decimals=0,
        ),
        "high": estimate.number(
            "window by best estimate, upper end",
            lambda e: e.high_c,
            ends=lambda e: (e.high_interval_c.low, e.high_interval_c.high),
            decimals=0,
        ),
        "coverage": estimate.number(
            "coverage of the best estimate", lambda e: e.coverage, unit="%", factor=100.0, decimals=0
        ),
    }
    said = verdicts.estimate_words(estimate.result, "{low}", "{high}", "{coverage}")
    return [Text(said + verdicts.of_no_window(inputs.friction.result), values, "plain")]


def narrowest_batch(inputs: Inputs) -> tuple[str, dict[str, Cell]]:
    """The narrowest batch's window in a sentence with its values, where that of the batches taken together reaches beyond
    it; else nothing."""
    place = verdicts.narrowest(inputs.friction.result)
    if place is None:
        return "", {}
    batch = inputs.friction.each(lambda found: found.by_batch)[place]
    name, none = batch.result.batch, batch.result.window_reason or "no window"
    by = ", by the map," if inputs.friction.result.window_by == "law" else ""
    if batch.result.window is None:
        said = f"That is over the batches taken together; batch {{batch}} alone{by} has none: {{none}}. "
        return said, {"batch": name, "none": none.rstrip(".")}
    values: dict[str, Cell] = {
        "batch": name,
        "own_low": batch.number(
            f"batch {name} alone: window, lower end", lambda b: b.window.low_c if b.window else None, decimals=0
        ),
        "own_high": batch.number(
            f"batch {name} alone: window, upper end", lambda b: b.window.high_c if b.window else None, decimals=0
        ),
    }
    return (
        f"That is over the batches taken together; the narrowest, batch {{batch}} alone{by.rstrip(',')}: {{own_low}} to {{own_high}}. ",
        values,
    )


def wanted_band(inputs: Inputs) -> str:
    """Which band the window was sought in."""
    source = inputs.friction.result.wanted_from
    return TARGETED if source in (None, "target") else f"a band {source}"


def limit(inputs: Inputs, by: str) -> str:
    """What ends the window; a band that no target states is not called wanted."""
    band = f"{TARGETED} of µ" if wanted_band(inputs) == TARGETED else "the band sought"
    return "the data end there" if by == "data" else f"the tolerance band leaves {band}"


def window_ends(inputs: Inputs) -> tuple[Number, Number]:
    """Both ends of the window, with their intervals where the stage gives them; not given without a window."""
    read = inputs.friction.number
    low = read(
        "window, lower end",
        lambda f: f.window.low_c if f.window else None,
        ends=lambda f: (f.window.low_interval_c.low, f.window.low_interval_c.high) if f.window else (None, None),
        decimals=0,
    )
    high = read(
        "window, upper end",
        lambda f: f.window.high_c if f.window else None,
        ends=lambda f: (f.window.high_interval_c.low, f.window.high_interval_c.high) if f.window else (None, None),
        decimals=0,
    )
    return low, high


def curve_rows(inputs: Inputs, most: int = 12) -> list[list[Cell]]:
    """An even choice of the curve's points, ends included."""
    points = inputs.friction.each(lambda found: found.curve)
    if not points:
        return []
    step = max(1, -(-(len(points) - 1) // (most - 1)))
    chosen = sorted({*range(0, len(points), step), len(points) - 1})
    return [
        [
            points[i].number(f"curve, point {i + 1}: temperature", lambda p: p.temperature_c, decimals=0),
            points[i].number(f"curve, point {i + 1}: µ", lambda p: p.mu, ends=lambda p: (p.low, p.high)),
            points[i].number(f"curve, point {i + 1}: tolerance band, lower", lambda p: p.tolerance_low, decimals=3),
            points[i].number(f"curve, point {i + 1}: tolerance band, upper", lambda p: p.tolerance_high, decimals=3),
        ]
        for i in chosen
    ]


def sensitivity_rows(inputs: Inputs) -> list[list[Cell]]:
    """Sensitivities of mu with intervals; where the design can't separate two, the reason."""
    rows: list[list[Cell]] = []
    for words, pick, unit in SENSITIVITIES:
        number = inputs.friction.number(f"sensitivity to {words} {unit}", _slope(pick))
        rows.append([f"Sensitivity of µ to {words}, {unit}", number, "reference conditions"])
    return rows


def _slope(pick: Callable[[Sensitivity], Slope]) -> Callable[[CompoundFriction], Slope | None]:
    return lambda found: pick(found.sensitivity) if found.sensitivity else None


def feature_rows(inputs: Inputs) -> list[list[Cell]]:
    """Bite of every batch, the lowest first."""
    listed = sorted(inputs.batches.each(lambda found: found.batches), key=lambda one: one.result.bite.value or 0.0)
    rows: list[list[Cell]] = []
    for batch in listed:
        name = f"Bite of batch {batch.result.batch}"
        rows.append([name, batch.number(name, lambda found: found.bite), "coldest conditions all batches have"])
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


def scatter_rows(inputs: Inputs) -> list[list[Cell]]:
    """Scatter between specimens and batches beside that of stops, where the compound's stage gives it."""
    between = inputs.friction.part(lambda found: found.between)
    if between is None:
        return []
    factor, unit = (100.0, "%") if between.result.unit == "relative" else (1.0, "")
    in_mu = "" if unit else ", in µ"
    found = between.result
    said: tuple[tuple[str, Callable[[Between], float | None], str | None], ...] = (
        ("between specimens of a batch", lambda b: b.specimen_sd, found.specimen_why),
        ("between batches", lambda b: b.batch_sd, found.batch_why),
        ("of single stops about their map", lambda b: b.stop_sd, None),
    )
    return [
        [
            f"Standard deviation of µ {words}",
            between.number(f"standard deviation {words}{in_mu}", pick, unit=unit, factor=factor, why=why),
            "map and checks",
        ]
        for words, pick, why in said
    ]


def left_out(inputs: Inputs) -> list[Text]:
    """Blocks that the compound's map left out because their history had changed them, a sentence a test."""
    by_test: dict[str, list[str]] = {}
    for block in inputs.friction.result.left_out:
        by_test.setdefault(block.test or "all", []).append(block.why)
    return [
        Text("Left out of the map, {test}: {why}.", {"test": test, "why": "; ".join(reasons)}, "open")
        for test, reasons in by_test.items()
    ]


def disagreements(inputs: Inputs) -> list[Text]:
    """Where the slope inside stops and the slope between stops disagree, test by test."""
    return [
        Text("{test}: {text}.", {"test": test.test, "text": text.rstrip(".")})
        for test in inputs.usable
        for text in (test.friction.result.in_stop.disagreements if test.friction.result.in_stop else [])
    ]
