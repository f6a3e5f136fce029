"""Data quality: stops loaded, used, excluded with reasons; the rig's own truth, the energy balance."""

from collections import Counter

from pipeline.report import by_hand_words
from pipeline.report.document import FRONT, Cell, Number, Section, Table, Text
from pipeline.report.inputs import Inputs, OfTest
from pipeline.report.sections.rig_health import RIPPLE_HEAD, cooling_text, ripple_cells


def quality(inputs: Inputs) -> Section:
    """Counts and energy ratio by test, then the reasons by code."""
    rows: list[list[Cell]] = []
    for test in inputs.tests:
        balance = f"{test.test}: energy ratio"
        none = "no stop has an energy ratio"
        ratio = test.summary.number(
            f"{balance}, median",
            lambda s: s.energy_balance.ratio_median if s.energy_balance else None,
            decimals=4,
            why=none,
        )
        scatter = test.summary.number(
            f"{balance}, scatter",
            lambda s: s.energy_balance.ratio_scatter if s.energy_balance else None,
            decimals=4,
            why=none,
        )
        common = test.summary.number(
            f"{test.test}: common part of u(µ)", lambda s: s.mu_u_common_relative, unit="%", factor=100.0, decimals=2
        )
        rows.append([test.test, *_counts(test), ratio, scatter, common, *ripple_cells(test)])
    head = [
        "Test",
        "Stops as run",
        "ok",
        "suspect",
        "rejected",
        "Energy ratio, median",
        "its scatter",
        "Common u of µ (%)",
        *RIPPLE_HEAD,
    ]
    parts: list[Table | Text] = [
        Text(
            "Energy ratio: work of friction and drag over the kinetic energy taken from the shaft; 1 on a healthy "
            "rig. It sees a torque gain, an "
            "inertia or a speed error; it cannot see pressure, piston area or radius. Rejected stops give no µ and "
            "keep their energy and wear; "
            "suspect stops give a number and stay out of the models."
        ),
        Table("Stops, energy balance and torque ripple (median, of the mean torque) by test", head, rows, rank=FRONT),
        cooling_text(inputs),
    ]
    reasons = reason_rows(inputs)
    parts.append(
        Table(
            "Why stops were not used, and what else was found",
            ["Finding", "Severity", "Times", "Tests", "First message"],
            reasons,
            rank=FRONT,
        )
        if reasons
        else Text("No finding above severity info in any test.", rank=FRONT)
    )
    parts += by_hand(inputs)
    events = event_rows(inputs)
    if events:
        head = ["Rig", "Date", "Event", "Step of µ", "Step of the energy ratio", "Shift found"]
        parts.append(
            Table(
                "Dated events of the rigs: what every specimen shares from then on (95 % intervals; µ relative)",
                head,
                events,
            )
        )
    return Section("Data quality", parts)


def _counts(test: OfTest) -> list[Number]:
    """Stops as run and by status, each under words that say how to get it from the table."""
    file, status = f"tests/{test.test}/stops.parquet", test.stops["status"]
    own = [
        Number(f"{test.test}: stops {name}", int((status == name).sum()), "", file, f"/rows where status is {name}")
        for name in ("ok", "suspect", "rejected")
    ]
    return [Number(f"{test.test}: stops as run", len(status), "", file, "/rows"), *own]


def reason_rows(inputs: Inputs, most: int = 18) -> list[list[Cell]]:
    """One row a finding code and severity, worst and most frequent first."""
    counted: Counter[tuple[str, str]] = Counter()
    tests: dict[tuple[str, str], dict[str, int]] = {}
    first: dict[tuple[str, str], str] = {}
    for test in inputs.tests:
        for item in test.findings.result.findings:
            if item.severity in ("unusable", "rejected", "suspect"):
                key = (item.code, str(item.severity))
                counted[key] += 1
                tests.setdefault(key, {}).setdefault(test.test, 0)
                tests[key][test.test] += 1
                first.setdefault(key, item.message)
    rank = {"unusable": 0, "rejected": 1, "suspect": 2}
    rows: list[list[Cell]] = []
    for key in sorted(counted, key=lambda k: (rank[k[1]], -counted[k], k[0]))[:most]:
        names = list(tests[key])
        file = f"tests/{names[0]}/findings.json" if len(names) == 1 else "tests/*/findings.json"
        times = Number(
            f"{key[0]} ({key[1]})",
            counted[key],
            "",
            file,
            f"count of findings with code {key[0]} and severity {key[1]}",
        )
        shown = ", ".join(names[:4]) + (" and others" if len(names) > 4 else "")
        rows.append([key[0].replace("_", " "), key[1], times, shown, first[key]])
    return rows


def by_hand(inputs: Inputs) -> list[Table | Text]:
    """Stops that the cards exclude, with number and reason, and what each test's window would be with them."""
    rows: list[list[Cell]] = []
    said: list[Table | Text] = []
    for test in inputs.usable:
        for entry, one in enumerate(test.card.exclude if test.card else (), start=1):
            file, where = f"tests/{test.test}/findings.json", f"count of findings excluded_by_hand of entry {entry}"
            count = Number(f"{test.test}: stops excluded by hand, entry {entry}", len(one.stops), "", file, where)
            rows.append([test.test, count, by_hand_words.stops_words(one.stops), one.reason, by_hand_words.who(one)])
        if test.friction.result.excluded is not None:
            said.append(_would_be(test))
            said += _drift_would_be(test)
    if not rows:
        return []
    caption = "Stops excluded by hand: shown on the test's page and not used; their energy and wear are counted"
    return [Table(caption, ["Test", "Stops", "Which", "Reason", "By"], rows), *said]


def _would_be(test: OfTest) -> Text:
    """What the test's own window would be without the exclusion, beside it as used."""
    excluded, name = test.friction.result.excluded, test.test
    if excluded is None or excluded.why or excluded.window is None or test.friction.result.window is None:
        return Text("{test}: {said}", {"test": name, "said": by_hand_words.would_be(test.friction.result)}, "open")
    with_them = test.friction.part(lambda f: f.excluded.window if f.excluded else None)
    used = test.friction.part(lambda f: f.window)
    values: dict[str, Cell] = {"test": name}
    for key, window in (("with", with_them), ("used", used)):
        if window is None:
            continue
        label = f"{name}: window {'without the exclusion' if key == 'with' else 'as used'}"
        values |= {
            f"{key}_low": window.number(f"{label}, lower end", lambda w: w.low_c, decimals=0),
            f"{key}_high": window.number(f"{label}, upper end", lambda w: w.high_c, decimals=0),
            f"{key}_mu": window.number(f"{label}, mean µ", lambda w: w.mu_mean, decimals=3),
        }
    return Text(
        "{test}: without the exclusion the friction window of this test would be {with_low} to {with_high} with a mean µ of {with_mu}; as used it "
        "is {used_low} to {used_high} with {used_mu}.", values, "open",
    )  # fmt: skip


def _drift_would_be(test: OfTest) -> list[Text]:
    """The drift verdict without the exclusion beside the one as used, with both losses."""
    with_them = test.drift.part(lambda d: d.excluded)
    if with_them is None:
        return []
    name, used = test.test, test.drift
    values: dict[str, Cell] = {
        "test": name,
        "with": with_them.result.verdict or "not given",
        "used": used.result.verdict or "not given",
        "with_loss": with_them.number(f"{name}: loss of µ without the exclusion", lambda d: d.mu_loss, decimals=3),
        "used_loss": used.number(f"{name}: loss of µ as used", lambda d: d.mu_loss, decimals=3),
    }
    words = "{test}: without the exclusion the drift verdict would be {with} (loss of µ {with_loss}); as used it is {used} ({used_loss})."
    return [Text(words, values, "open")]


def event_rows(inputs: Inputs) -> list[list[Cell]]:
    """The events of this compound's rigs with the steps that were looked for."""
    own = {test.card.rig for test in inputs.tests if test.card}
    rows: list[list[Cell]] = []
    for cited in inputs.rigs.each(lambda r: r.examined):
        one = cited.result
        if one.rig not in own:
            continue
        said = "; ".join(f"{event.what}{f': {event.note}' if event.note else ''}" for event in one.events)
        label = f"{one.rig} {one.date}: step of"
        friction = cited.number(
            f"{label} µ", lambda e: e.friction.step, unit="", ends=lambda e: (e.friction.low, e.friction.high)
        )
        ratio = cited.number(
            f"{label} the energy ratio",
            lambda e: e.energy_ratio.step,
            unit="",
            ends=lambda e: (e.energy_ratio.low, e.energy_ratio.high),
        )
        looked = one.friction.step is not None
        found = "yes" if one.shift_relative is not None else "no" if looked else "not known"
        rows.append([one.rig, one.date, said or "–", friction, ratio, found])
    return rows
