"""Stability: matched checks in time order, fade and recovery, drift verdicts, how much low-energy use the compound
bears.
"""

import math
from collections.abc import Callable, Sequence

import polars as pl

from pipeline.report import verdicts
from pipeline.report.document import FRONT, LAST, ROOM, Cell, Items, Number, Picture, Section, Table, Text, ranked
from pipeline.report.inputs import Inputs, OfTest
from pipeline.results.both import GENTLE_SHARE

MANY = 9  # tests from which their order is by what is least welcome


def stability(inputs: Inputs) -> Section:
    """The stability part of the sheet."""
    parts: list[Text | Items | Table | Picture] = [drift_text(inputs)]
    head = ["Test", "Verdict", "First affected stop", "Loss of µ", "Back to near before", "Not excluded"]
    untested = glazing_untested(inputs) is not None
    rows = [_verdict_row(test, untested) for test in worst_first(inputs.usable, _seen)]
    parts.append(
        Table(
            "Drift verdict of every test: a change of friction at matched conditions, by evidence",
            head,
            rows,
            rank=FRONT,
        )
    )
    for test in inputs.usable:
        if test.drift.result.verdict not in (None, "none"):
            tone, sentences = verdicts.drift_sentences(test.drift.result)
            parts.append(Text("{test}: {first}", {"test": test.test, "first": sentences[0]}, tone, rank=FRONT))
    parts.append(
        Picture(
            "checks",
            "Left: µ at the check stops in the order run, every test; a vertical line marks a drift verdict's first affected stop. "
            "Right: µ of the fade and recovery stops, filled in the fade and open in the recovery, against their temperature.",
            "Friction coefficient at the check stops against stop number, and in fade and recovery against temperature",
            "tests/*/stops.parquet, drift.json",
            ROOM,
        )
    )
    head = ["Test", "Fade index", "Lowest µ", "at (°C)", "Recovery index", "Stops to recover"]
    parts.append(
        Table(
            "Fade and recovery by test (1 = unchanged), with intervals from the scatter of stops",
            head,
            [_fade_row(test) for test in worst_first(inputs.usable, _faded)],
            rank=FRONT,
        )
    )
    head = ["Test", "Green µ, mean of the first stops", "of stops", "Stops until bedded (within 3 %)",
            "µ at start, fitted", "µ at end, fitted"]  # fmt: skip
    parts.append(
        Table(
            "Bedding by test (bedding goes on through the stops that green µ is the mean of: the very first may lie outside its interval)",
            head,
            [_bedding_row(test) for test in inputs.usable],
        )
    )
    parts += [*ranked(FRONT, [glaze_text(inputs)]), *film_texts(inputs)]
    return Section("Stability", parts)


def worst_first(tests: Sequence[OfTest], key: Callable[[OfTest], float]) -> list[OfTest]:
    """The tests, of many the least welcome first: what a table cut to the page must not leave out."""
    return sorted(tests, key=key) if len(tests) > MANY else list(tests)


def _seen(test: OfTest) -> float:
    return 1.0 if test.drift.result.verdict == "none" else 0.0


def _faded(test: OfTest) -> float:
    fade = test.friction.result.fade
    return math.inf if fade is None or fade.index is None else fade.index


def drift_text(inputs: Inputs) -> Text:
    """The tests' drift verdicts; a test without one is told with its reason and makes no good news of the others."""
    told = {test.test: test.drift.result.verdict for test in inputs.usable}
    seen = [f"{verdict} in {test}" for test, verdict in told.items() if verdict not in (None, "none")]
    open_ = [
        f"not given in {test.test}, because {test.drift.reason(lambda d: d.verdict).rstrip('.')}"
        for test in inputs.usable
        if told[test.test] is None
    ]
    untested = glazing_untested(inputs)
    none = "no test can be used" if not told else "none seen; glazing not tested" if untested else "none in any test"
    values: dict[str, Cell] = {"said": "; ".join([*seen, *open_]) or none, "why": untested or ""}
    if told and untested and not seen and not open_:
        return Text("Drift: {said}: {why}.", values, "open", rank=FRONT)
    tone = "bad" if seen else "open" if open_ or not told else "good"
    return Text("Drift: {said}.", values, tone, rank=FRONT if tone != "bad" else LAST)


def glazing_untested(inputs: Inputs) -> str | None:
    """Why the compound's tests say nothing of glazing: no low-energy use was run for long enough to see it; None where one was."""
    limit, film = inputs.friction.result.glaze_limit, inputs.friction.result.film
    if limit is None or limit.power_density_w_mm2 is not None:
        return None
    below = GENTLE_SHARE * _map_power(inputs)
    gentle = [one for one in film.uses if (one.power_density_w_mm2.value or math.inf) < below] if film else []
    if any(one.shown != "nothing shown" for one in gentle):
        return None
    return (limit.why or limit.text).rstrip(".")


def _map_power(inputs: Inputs) -> float:
    """Mean power density of the map's stops over the pad area, W/mm2; 0 without any."""
    found = [
        test.stops.filter(pl.col("purpose") == "map")["power_density_w_mm2"].drop_nulls() for test in inputs.usable
    ]
    count = sum(len(one) for one in found)
    return float(sum(one.sum() for one in found) / count) if count else 0.0


def _verdict_row(test: OfTest, untested: bool) -> list[Cell]:
    """Test, verdict, onset, loss, recovered, not excluded; dashes where there is no change to tell of."""
    drift, cited = test.drift.result, test.drift
    said = drift.verdict or f"not given: {cited.reason(lambda d: d.verdict)}"
    if drift.also:
        said += f" (also {', '.join(drift.also)})"
    if drift.verdict == "none":
        return [test.test, said, "–", "–", "–", "glazing: not tested" if untested else "–"]
    onset = cited.number(
        f"{test.test}: onset stop",
        lambda d: d.onset_stop,
        decimals=0,
        ends=lambda d: (d.onset_low, d.onset_high),
        why=drift.onset_reason,
    )
    recovered = verdicts.recovery_word(drift) if drift.verdict else "–"
    return [test.test, said, onset, loss_of(test), recovered, ", ".join(drift.evidence.not_excluded) or "–"]


def loss_of(test: OfTest) -> Number:
    """The friction that a drift cost in a test."""
    return test.drift.number(
        f"{test.test}: loss of µ", lambda d: d.mu_loss, decimals=3, ends=lambda d: (d.mu_loss_low, d.mu_loss_high)
    )


def _fade_row(test: OfTest) -> list[Cell]:
    """Deepest fade and the recovery after it."""
    read, name, none = test.friction.number, test.test, "no fade block"
    return [
        name,
        read(
            f"{name}: fade index",
            lambda f: f.fade.index if f.fade else None,
            ends=lambda f: (f.fade.index_low, f.fade.index_high) if f.fade else (None, None),
            unit="",
            why=none,
        ),
        read(f"{name}: lowest µ in fade", lambda f: f.fade.mu_min if f.fade else None, unit="", why=none),
        read(
            f"{name}: temperature at it",
            lambda f: f.fade.temperature_c if f.fade else None,
            unit="",
            decimals=0,
            why=none,
        ),
        read(
            f"{name}: recovery index",
            lambda f: f.recovery.index if f.recovery else None,
            ends=lambda f: (f.recovery.index_low, f.recovery.index_high) if f.recovery else (None, None),
            unit="",
            why=none,
        ),
        read(
            f"{name}: recovery stops",
            lambda f: f.recovery.stops if f.recovery else None,
            unit="",
            decimals=0,
            why="not back within 3 % of before" if test.friction.result.recovery else none,
        ),
    ]


def _bedding_row(test: OfTest) -> list[Cell]:
    """Stops until mu has settled, and mu before and after."""
    read, name, none = test.friction.number, test.test, "no bedding block"
    return [
        name,
        read(f"{name}: green µ", lambda f: f.green, unit="", why=none),
        read(f"{name}: stops of green µ", lambda f: f.green.stops if f.green else None, unit="", decimals=0, why=none),
        read(
            f"{name}: bedding stops",
            lambda f: f.bedding.stops if f.bedding else None,
            ends=lambda f: (f.bedding.low, f.bedding.high) if f.bedding else (None, None),
            unit="",
            decimals=0,
            why=none,
        ),
        read(
            f"{name}: µ at the start of bedding",
            lambda f: f.bedding.mu_start if f.bedding else None,
            unit="",
            why=none,
        ),
        read(f"{name}: µ at the end of bedding", lambda f: f.bedding.mu_end if f.bedding else None, unit="", why=none),
    ]


def film_texts(inputs: Inputs) -> list[Text]:
    """What the tests' use shows of a film over power density and temperature."""
    film = inputs.friction.result.film
    return [Text("Use between checks {words}.", {"words": words}) for words in (film.words if film else [])]


def glaze_text(inputs: Inputs) -> Text:
    """The limit of low-energy use, where the compound's tests show one."""
    limit = inputs.friction.result.glaze_limit
    if limit is None:
        why = inputs.friction.reason(lambda found: found.glaze_limit, "no stage gives one for these tests")
        return Text("Limit of low-energy use: not given: {why}", {"why": why}, "open")
    return Text("Limit of low-energy use: {text}.", {"text": limit.text.rstrip(".")})
