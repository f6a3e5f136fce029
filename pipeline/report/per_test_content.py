"""What a test's page shows, as plain rows of text: from the stages' files to words, nothing computed that decides."""

from collections.abc import Callable, Mapping, Sequence

import polars as pl

from pipeline.report import numbers, wear_words
from pipeline.report.numbers import interval_text
from pipeline.results.findings import Found
from pipeline.results.model import Interval, Stamp
from pipeline.results.record import Record
from pipeline.results.summary import EnergyBalance, TestSummary
from pipeline.results.wear import FittedLaw, Parameter, Rates, TestWear
from pipeline.wording import counted

STATUSES = ("ok", "suspect", "rejected")
RATES: tuple[tuple[Callable[[Rates], Interval | None], str, str], ...] = (
    (lambda r: r.um_per_stop, "thickness (disc: both faces together)", "µm per stop"),
    (lambda r: r.um_per_stop_per_face, "thickness", "µm per stop per face"),
    (lambda r: r.mm3_per_mj, "volume", "mm³/MJ"),
    (lambda r: r.mm3_per_n_m, "volume", "mm³/(N m)"),
    (lambda r: r.mg_per_stop, "mass", "mg per stop"),
)


def count_rows(stops: pl.DataFrame, record: Record, summary: TestSummary) -> list[tuple[str, str]]:
    """Recordings and stops by status, and the energy balance in a line."""
    recordings = record.recordings
    unread = sum(1 for r in recordings if r.error)
    copies = sum(1 for r in recordings if r.duplicate_of)
    by_status = dict(stops["status"].value_counts().iter_rows()) if len(stops) else {}
    loaded = (
        f"{len(recordings)}"
        + (f", {unread} unreadable" if unread else "")
        + (f", {counted(copies, 'exact copy')} left out" if copies else "")
    )
    rows = [("Recordings", loaded), ("Brake applications", str(len(stops)))]
    rows += [(f"of them {name}", str(by_status.get(name, 0))) for name in STATUSES]
    if summary.missing:
        rows.append(("Missing recordings (counted from the schedule)", str(len(summary.missing))))
    balance = summary.energy_balance
    if balance is not None and balance.ratio_median is not None:
        scatter = "" if balance.ratio_scatter is None else f", scatter {balance.ratio_scatter:.4f} per stop"
        rows.append(("Energy ratio, median", f"{balance.ratio_median:.4f}{scatter}"))
    else:
        why = (balance and balance.why) or "no stop has an energy ratio"
        rows.append(("Energy ratio, median", f"not given: {why}"))
    common = summary.mu_u_common_relative
    why = summary.why_null("mu_u_common_relative") or summary.unusable or "no sensor limits stated"
    rows.append(
        (
            "Common part of the uncertainty of µ",
            f"not given: {why}" if common is None else f"{common * 100:.2f} % (calibration, radius, area)",
        )
    )
    return rows


def balance_rows(summary: TestSummary) -> list[tuple[str, str]]:
    """Energy balance fit, offsets, drag and lag of the whole test, with twice their standard uncertainties;
    candidates in words.
    """
    balance, offsets, drag, lag = summary.energy_balance, summary.offsets, summary.drag, summary.lag_s
    rows = []
    if balance is not None:
        intercept = _with_u(balance.intercept_nm, balance.intercept_u_nm, "N m", balance.gain_why or balance.why)
        rows += [
            (
                "Trend of the energy ratio per 100 stops",
                _with_u(balance.trend_per_100_stops, balance.trend_u, "", balance.trend_why or balance.why),
            ),
            ("Slope of the shaft's torque on the measured one (1 = gain and inertia agree)", _gain(balance)),
            ("Its intercept: offset and drag left in the sensor", intercept),
        ]
    if offsets is not None:
        rows += [
            ("Torque offset subtracted", _with_u(offsets.torque_nm, offsets.torque_u_nm, "N m", offsets.torque_u_why)),
            ("Pressure at rest subtracted", _with_u(offsets.pressure_bar, offsets.pressure_spread_bar, "bar")),
        ]
    if drag is not None:
        rows += [
            ("Drag torque, constant part", _with_u(drag.a_nm, None, "N m", drag.why)),
            ("Drag torque, per shaft speed", _with_u(drag.b_nm_per_rad_s, None, "N m s/rad", drag.why)),
        ]
    if lag is not None:
        rows.append(("Lag between pressure and torque", _with_u(lag.value, lag.u, "s", lag.why)))
        if lag.late:
            moved = _with_u(lag.applied, None, "s", lag.why)
            rows.append(("The later channel, moved by", f"{lag.late}, {moved}"))
    if offsets is not None:
        rows.append(("How offset and drag were separated", offsets.how))
    for one in balance.candidates if balance is not None else []:
        text = f"{one.cause}; not separated: {one.not_told_apart_from}"
        rows.append(("Candidate for an energy ratio off 1", text))
    return rows


def _gain(balance: EnergyBalance) -> str:
    why = balance.gain_why or balance.why
    return interval_text(Interval(value=balance.gain, low=balance.gain_low, high=balance.gain_high, why=why))


def _with_u(value: float | None, u: float | None, unit: str = "", why: str | None = None) -> str:
    """A value with twice its standard uncertainty as ±, or why it is missing."""
    if value is None:
        return f"{numbers.MISSING}: {why or 'no reason written'}"
    if u is not None and u > 0:
        places = numbers.decimals_for(2 * u)
        return f"{numbers.rounded(value, places)} ± {numbers.rounded(2 * u, places)}{numbers.unit_suffix(unit)}"
    return f"{value:.3g}{numbers.unit_suffix(unit)}"


def excluded_rows(stops: pl.DataFrame, findings: Sequence[Found]) -> list[list[str]]:
    """Every stop that is not ok, with the messages of its findings (codes where no message is found)."""
    messages: dict[int, list[str]] = {}
    for item in findings:
        if item.stop is not None and item.severity in ("suspect", "rejected"):
            messages.setdefault(item.stop, []).append(numbers.worded(item.message))
    rows = []
    for row in stops.filter(pl.col("status") != "ok").iter_rows(named=True):
        reasons = (
            messages.get(row["stop"])
            or [code.replace("_", " ") for code in row["findings"] or []]
            or ["no reason is written"]
        )
        energy = numbers.plain(row["energy_kj"], "kJ") if row["energy_kj"] is not None else numbers.MISSING
        rows.append([str(row["stop"]), row["block"] or "no block", row["status"], "; ".join(reasons), energy])
    return rows


def block_mean_rows(summary: TestSummary) -> list[list[str]]:
    """Blocks that have stops which are not ok: counts, and the block's mean mu without the suspect ones and with
    them.
    """
    return [
        [
            row.block,
            str(row.ok),
            str(row.suspect),
            str(row.rejected),
            *("no stop with a µ" if mean is None else f"{mean:.4f}" for mean in (row.mu_without, row.mu_with)),
        ]
        for row in summary.block_means
    ]


def budget_rows(summary: TestSummary) -> list[list[str]]:
    """Uncertainty budget of mu: source, relative standard uncertainty in per cent, common or per stop."""
    return [
        [
            row.source.replace("_", " "),
            f"not given: {row.why or 'not stated'}" if row.relative_u is None else f"{row.relative_u * 100:.2f}",
            row.part,
        ]
        for row in summary.budget
    ]


def unit_rows(summary: TestSummary) -> list[list[str]]:
    """Each channel with its unit, what bears it out, and what nothing in the test tells it from, with why."""
    return [
        [row.channel.replace("_", " "), row.unit, " and ".join(row.vouched_by) or "nothing", row.why or "\u2013"]
        for row in summary.units
    ]


def channel_rows(summary: TestSummary) -> list[list[str]]:
    """Each channel of the card, what it was used for, and what it says of others."""
    return [[row.channel.replace("_", " "), row.used_for, row.found or "\u2013"] for row in summary.channels]


def wear_rate_rows(wear: TestWear) -> list[list[str]]:
    """Rates of every component with intervals."""
    return [
        [wear_words.name_of(component), name, interval_text(rate), unit]
        for component, found in sorted((wear.components or {}).items())
        for pick, name, unit in RATES
        if found.rates is not None and (rate := pick(found.rates)) is not None
    ]


def parameter_unit(parameter: Parameter) -> str:
    """A law's parameter's unit as printed; nothing for a pure number."""
    return numbers.unit_words(parameter.unit)


def wear_model_rows(wear: TestWear) -> list[list[str]]:
    """Fitted laws with misfit, AICc, leave-one-out error, parameters and remarks."""
    return [
        [
            wear_words.name_of(component),
            wear_words.spoken(law.model),
            "yes" if law.model == found.chosen else "",
            numbers.fixed(law.chi2_per_dof, 2),
            numbers.fixed(law.aicc, 1),
            numbers.fixed(law.loo_rmse_um, 2),
            _parameters(law) or numbers.MISSING,
            "; ".join(_remarks(law)),
        ]
        for component, found in sorted((wear.components or {}).items())
        for law in found.models
    ]


def _parameters(law: FittedLaw) -> str:
    return "; ".join(
        f"{name}: not determined" if one.value is None else f"{name} = {interval_text(one, parameter_unit(one))}"
        for name, one in law.parameters.items()
    )


def _remarks(law: FittedLaw) -> list[str]:
    said = [] if law.identified else ["not identified"]
    said += ["effective parameters (dwell unknown)"] if law.effective else []
    return said + ([law.why] if law.why else [])


def stamp_rows(stamps: Mapping[str, Stamp | None]) -> list[list[str]]:
    """One row a result: software, revision, digests of its inputs."""
    return [
        [name, stamp.software, str(stamp.revision), ", ".join(f"{k} {v}" for k, v in stamp.inputs.items())]
        for name, stamp in stamps.items()
        if stamp is not None
    ]
