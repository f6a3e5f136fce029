"""What a test's page shows, as plain rows of text: from the stages' files to words, nothing computed that decides."""

from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl

from pipeline.report import numbers, wear_words
from pipeline.report.numbers import interval_text
from pipeline.results.model import Result

STATUSES = ("ok", "suspect", "rejected")
RATE_UNITS = {
    "um_per_stop": "µm per stop", "um_per_stop_per_face": "µm per stop per face", "mm3_per_mj": "mm³/MJ", "mm3_per_n_m": "mm³/(N m)",
    "mg_per_stop": "mg per stop",
}  # fmt: skip


def count_rows(stops: pl.DataFrame, channels: Mapping[str, Any], summary: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Recordings and stops by status, and the energy balance in a line."""
    recordings = channels.get("recordings") or []
    unread = sum(1 for r in recordings if r.get("error"))
    copies = sum(1 for r in recordings if r.get("duplicate_of"))
    by_status = dict(stops["status"].value_counts().iter_rows()) if len(stops) else {}
    loaded = (
        f"{len(recordings)}"
        + (f", {unread} unreadable" if unread else "")
        + (f", {copies} exact copies left out" if copies else "")
    )
    rows = [("Recordings", loaded), ("Brake applications", str(len(stops)))]
    rows += [(f"of them {name}", str(by_status.get(name, 0))) for name in STATUSES]
    missing = summary.get("missing") or []
    if missing:
        rows.append(("Missing recordings (counted from the schedule)", str(len(missing))))
    balance = summary.get("energy_balance") or {}
    ratio = balance.get("ratio_median")
    if numbers.is_number(ratio):
        scatter = balance.get("ratio_scatter")
        rows.append(
            (
                "Energy ratio, median",
                f"{ratio:.4f}" + (f", scatter {scatter:.4f} per stop" if numbers.is_number(scatter) else ""),
            )
        )
    else:
        rows.append(
            (
                "Energy ratio, median",
                f"not given: {numbers.why_missing(balance, 'ratio_median') or 'no stop has an energy ratio'}",
            )
        )
    common = summary.get("mu_u_common_relative")
    rows.append(("Common part of the uncertainty of µ", f"{common * 100:.2f} % (calibration, radius, area)" if numbers.is_number(common)
                 else f"not given: {numbers.why_missing(summary, 'mu_u_common_relative') or 'no sensor limits stated'}"))  # fmt: skip
    return rows


def balance_rows(summary: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Energy balance fit, offsets, drag and lag of the whole test, with twice their standard uncertainties; candidates in words."""
    balance, offsets, drag, lag = (summary.get(key) or {} for key in ("energy_balance", "offsets", "drag", "lag_s"))
    rows = [
        ("Trend of the energy ratio per 100 stops", _with_u(balance, "trend_per_100_stops", "trend_u")),
        ("Slope of the shaft's torque on the measured one (1 = gain and inertia agree)", _gain(balance)),
        ("Its intercept: offset and drag left in the sensor", _with_u(balance, "intercept_nm", "intercept_u_nm", "N m")),
        ("Torque offset taken off", _with_u(offsets, "torque_nm", "torque_u_nm", "N m")),
        ("Pressure at rest taken off", _with_u(offsets, "pressure_bar", "pressure_spread_bar", "bar")),
        ("Drag torque, constant part", _with_u(drag, "a_nm", "", "N m")), ("Drag torque, per shaft speed", _with_u(drag, "b_nm_per_rad_s", "", "N m s/rad")),
        ("Lag between pressure and torque", _with_u(lag, "value", "u", "s") if isinstance(lag, Mapping) else numbers.plain(lag, "s", 4)),
    ]  # fmt: skip
    if isinstance(lag, Mapping) and lag.get("late"):
        rows.append(("The later channel, moved by", f"{lag['late']}, {_with_u(lag, 'applied', '', 's')}"))
    if offsets.get("how"):
        rows.append(("How offset and drag were told apart", str(offsets["how"])))
    for candidate in balance.get("candidates") or []:
        text = (
            f"{candidate.get('cause')}; not told apart: {candidate.get('not_told_apart_from')}"
            if isinstance(candidate, Mapping)
            else str(candidate)
        )
        rows.append(("Candidate for an energy ratio off 1", text))
    return [(name, text) for name, text in rows if text]


def _gain(balance: Mapping[str, Any]) -> str:
    if "gain" not in balance:
        return ""
    why = numbers.why_missing(balance, "gain")
    return interval_text(
        {"value": balance["gain"], "low": balance.get("gain_low"), "high": balance.get("gain_high"), "why": why}
    )


def _with_u(source: Mapping[str, Any], key: str, u_key: str, unit: str = "") -> str:
    """A value with twice its standard uncertainty as ±, or why it is missing; empty where the stage has no such key."""
    if key not in source:
        return ""
    value, u = source[key], source.get(u_key)
    if not numbers.is_number(value):
        return f"{numbers.MISSING}: {numbers.why_missing(source, key) or 'no reason written'}"
    if numbers.is_number(u) and u > 0:
        places = numbers.decimals_for(2 * u)
        return f"{numbers.rounded(value, places)} ± {numbers.rounded(2 * u, places)}{numbers.unit_suffix(unit)}"
    return f"{value:.3g}{numbers.unit_suffix(unit)}"


def excluded_rows(stops: pl.DataFrame, findings: Sequence[Mapping[str, Any]]) -> list[list[str]]:
    """Every stop that is not ok, with the messages of its findings (codes where no message is found)."""
    messages: dict[int, list[str]] = {}
    for item in findings:
        if item.get("stop") is not None and item["severity"] in ("suspect", "rejected"):
            messages.setdefault(item["stop"], []).append(item["message"])
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


def block_mean_rows(summary: Mapping[str, Any]) -> list[list[str]]:
    """Blocks that have stops which are not ok: counts, and the block's mean mu without the suspect ones and with them."""
    return [
        [str(row["block"]), str(row["ok"]), str(row["suspect"]), str(row["rejected"]),
         *(f"{row[key]:.4f}" if numbers.is_number(row.get(key)) else "no stop with a µ" for key in ("mu_without", "mu_with"))]
        for row in summary.get("block_means") or []
    ]  # fmt: skip


def budget_rows(summary: Mapping[str, Any]) -> list[list[str]]:
    """Uncertainty budget of mu: source, relative standard uncertainty in per cent, common or per stop."""
    return [
        [str(row.get("source")).replace("_", " "), f"{row['relative_u'] * 100:.2f}" if numbers.is_number(row.get("relative_u")) else
         f"not given: {numbers.why_missing(row, 'relative_u') or 'not stated'}", str(row.get("part") or "")]
        for row in summary.get("budget") or []
    ]  # fmt: skip


def unit_rows(summary: Mapping[str, Any]) -> list[list[str]]:
    """Each channel with its unit, what bears it out, and what nothing in the test tells it from, with why."""
    return [
        [
            str(row.get("channel")).replace("_", " "), str(row.get("unit")), " and ".join(row.get("vouched_by") or []) or "nothing",
            str(row.get("why") or "\u2013"),
        ]
        for row in summary.get("units") or []
    ]  # fmt: skip


def _rate_name(key: str) -> str:
    return {"um": "thickness", "mm3": "volume", "mg": "mass"}.get(key.split("_")[0], key.replace("_", " "))


def wear_rate_rows(wear: Mapping[str, Any]) -> list[list[str]]:
    """Rates of every component with intervals."""
    rows = []
    for component, found in sorted((wear.get("components") or {}).items()):
        for key, value in (found.get("rates") or {}).items():
            if key in RATE_UNITS:
                unit = RATE_UNITS[key]
                rows.append([wear_words.name_of(component), _rate_name(key), interval_text(value), unit])
    return rows


def parameter_unit(parameter: Mapping[str, Any]) -> str:
    """A law's parameter's unit as printed; nothing for a pure number."""
    unit = str(parameter.get("unit") or "")
    return "" if unit == "1" else numbers.unit_words(unit)


def wear_model_rows(wear: Mapping[str, Any]) -> list[list[str]]:
    """Fitted laws with misfit, AICc, leave-one-out error, parameters and remarks."""
    rows = []
    for component, found in sorted((wear.get("components") or {}).items()):
        for model in found.get("models") or []:
            parameters = "; ".join(
                f"{name} = {interval_text(p, parameter_unit(p))}"
                if numbers.is_number(p.get("value"))
                else f"{name}: not pinned"
                for name, p in (model.get("parameters") or {}).items()
                if isinstance(p, Mapping)
            )
            remarks = [] if model.get("identified") else ["not identified"]
            remarks += ["effective parameters (dwell unknown)"] if model.get("effective") else []
            remarks += [str(model["why"])] if model.get("why") else []
            figures = [
                f"{model[k]:.{d}f}" if numbers.is_number(model.get(k)) else numbers.MISSING
                for k, d in (("chi2_per_dof", 2), ("aicc", 1), ("loo_rmse_um", 2))
            ]
            chosen = "yes" if model.get("model") == found.get("chosen") else ""
            rows.append(
                [
                    wear_words.name_of(component),
                    str(model.get("model")).replace("_", " "),
                    chosen,
                    *figures,
                    parameters or numbers.MISSING,
                    "; ".join(remarks),
                ]
            )
    return rows


def stamp_rows(sources: Mapping[str, Mapping[str, Any] | Result]) -> list[list[str]]:
    """One row a result: software, revision, digests of its inputs."""
    rows = []
    for name, content in sources.items():
        stamp = (content.model_dump(include={"stamp"}) if isinstance(content, Result) else content).get("stamp")
        if isinstance(stamp, Mapping):
            inputs = ", ".join(f"{k} {v}" for k, v in (stamp.get("inputs") or {}).items())
            rows.append([name, str(stamp.get("software") or ""), str(stamp.get("revision") or ""), inputs])
    return rows
