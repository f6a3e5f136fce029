"""Stability: matched checks in time order, fade and recovery, drift verdicts, how much low-energy use the compound bears."""

from collections.abc import Mapping

from pipeline.report import verdicts
from pipeline.report.document import Cell, Items, Picture, Section, Table, Text
from pipeline.report.inputs import Inputs


def stability(inputs: Inputs) -> Section:
    """The stability part of the sheet."""
    parts: list[Text | Items | Table | Picture] = []
    rows: list[list[Cell]] = []
    for test in inputs.usable:
        drift = test.drift
        verdict = drift.get("/verdict")
        recovered = (
            {True: "yes", False: "no", None: "not tested"}[drift.get("/recovered")]
            if verdict not in (None, "none")
            else "–"
        )
        onset: Cell = (
            "–"
            if verdict == "none"
            else drift.between(f"{test.test}: onset stop", "/onset_stop", "onset_low", "onset_high", decimals=0)
        )
        loss: Cell = "–" if verdict == "none" else drift.number(f"{test.test}: loss of µ", "/mu_loss", decimals=3)
        said = str(verdict) if verdict else f"not given: {drift.reason('/verdict')}"
        also = ", ".join(str(v) for v in drift.get("/also") or [])
        rows.append(
            [
                test.test,
                said + (f" (also {also})" if also else ""),
                onset,
                loss,
                recovered,
                "–" if verdict == "none" else _not_excluded(drift.get("/evidence")),
            ]
        )
    parts.append(Table("Drift verdict of every test: a change of friction at matched conditions, by evidence", [
        "Test", "Verdict", "First affected stop", "Loss of µ", "Recovered", "Not excluded"], rows))  # fmt: skip
    for test in inputs.usable:
        if test.drift.get("/verdict") not in (None, "none"):
            tone, sentences = verdicts.drift_sentences(test.drift.data)
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


def _not_excluded(evidence: object) -> str:
    listed = evidence.get("not_excluded") if isinstance(evidence, Mapping) else None
    if isinstance(listed, str):
        return listed
    return ", ".join(str(item) for item in listed or []) or "–"


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
