"""Stability: matched checks in time order, fade and recovery, drift verdicts, how much low-energy use the compound bears."""

from collections.abc import Mapping

from pipeline.report import verdicts
from pipeline.report.document import Cell, Items, Picture, Section, Table, Text
from pipeline.report.inputs import Inputs, OfTest


def stability(inputs: Inputs) -> Section:
    """The stability part of the sheet."""
    parts: list[Text | Items | Table | Picture] = []
    head = ["Test", "Verdict", "First affected stop", "Loss of µ", "Recovered", "Not excluded"]
    rows = [_verdict_row(test) for test in inputs.usable]
    parts.append(
        Table("Drift verdict of every test: a change of friction at matched conditions, by evidence", head, rows)
    )
    for test in inputs.usable:
        if test.drift.result.verdict not in (None, "none"):
            tone, sentences = verdicts.drift_sentences(test.drift.result)
            parts.append(Text("{test}: {first}", {"test": test.test, "first": sentences[0]}, tone))
    parts.append(Picture("checks", "µ at the check stops in the order run, every test; a vertical line marks a drift verdict's first affected stop.",
                         "Friction coefficient at the check stops against stop number"))  # fmt: skip
    parts.append(Table("Fade and recovery by test (1 = unchanged)", ["Test", "Fade index", "Lowest µ", "at (°C)", "Recovery index", "Stops to recover"], [
        [test.test, test.friction.number(f"{test.test}: fade index", "/fade/index", why="no fade block"), test.friction.number(f"{test.test}: lowest µ in fade", "/fade/mu_min", why="no fade block"),
         test.friction.number(f"{test.test}: temperature at it", "/fade/temperature_c", decimals=0, why="no fade block"), test.friction.number(f"{test.test}: recovery index", "/recovery/index", why="no fade block"),
         test.friction.number(f"{test.test}: recovery stops", "/recovery/stops", decimals=0, why="not back within 3 % of before, or no fade block")] for test in inputs.usable]))  # fmt: skip
    parts.append(Table("Bedding by test", ["Test", "Stops to 3 % of the asymptote", "µ at start", "µ at end"], [
        [test.test, test.friction.between(f"{test.test}: bedding stops", "/bedding/stops", "low", "high", decimals=0, why="no bedding block"),
         test.friction.number(f"{test.test}: µ at the start of bedding", "/bedding/mu_start", why="no bedding block"), test.friction.number(f"{test.test}: µ at the end of bedding", "/bedding/mu_end", why="no bedding block")]
        for test in inputs.usable]))  # fmt: skip
    parts.append(glaze_text(inputs))
    return Section("Stability", parts)


def _verdict_row(test: OfTest) -> list[Cell]:
    """Test, verdict, onset, loss, recovered, not excluded; dashes where there is no change to tell of."""
    drift, cited = test.drift.result, test.drift
    said = drift.verdict or f"not given: {cited.reason(lambda d: d.verdict)}"
    if drift.also:
        said += f" (also {', '.join(drift.also)})"
    if drift.verdict == "none":
        return [test.test, said, "–", "–", "–", "–"]
    onset = cited.number(
        f"{test.test}: onset stop",
        lambda d: d.onset_stop,
        decimals=0,
        ends=lambda d: (d.onset_low, d.onset_high),
        why=drift.onset_reason,
    )
    loss = cited.number(f"{test.test}: loss of µ", lambda d: d.mu_loss, decimals=3)
    recovered = {True: "yes", False: "no", None: "not tested"}[drift.recovered] if drift.verdict else "–"
    return [test.test, said, onset, loss, recovered, ", ".join(drift.evidence.not_excluded) or "–"]


def glaze_text(inputs: Inputs) -> Text:
    """The limit of low-energy use, where the compound's tests show one."""
    found = [
        name for name in ("glaze_limit", "low_energy_limit") if isinstance(inputs.friction.get(f"/{name}"), Mapping)
    ]
    if not found:
        return Text("Limit of low-energy use: not given: {why}", {"why": inputs.friction.reason("/glaze_limit") if "glaze_limit" in inputs.friction.data
                    else "no stage gives one for these tests"}, "open")  # fmt: skip
    text = inputs.friction.get(f"/{found[0]}").get("text")
    return Text("Limit of low-energy use: {text}", {"text": str(text)})
