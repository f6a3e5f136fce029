"""Hand-made contents of the stages' files, to docs/contract.md: invented numbers with a known answer."""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl

from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.friction import TestFriction
from pipeline.results.wear import TestWear

PROGRAMME = (
    ("bed-in", "bedding", 20), ("check 1", "check", 6), ("map low", "map", 24), ("map high", "map", 24), ("check 2", "check", 6),
    ("fade", "fade", 10), ("recovery", "recovery", 8), ("valley duty", "duty", 24), ("check 3", "check", 6),
)  # fmt: skip


def curve_mu(temperature_c: np.ndarray | float) -> Any:
    """An invented carbon curve: low when cold, a steep rise near 170 degC, easing when hot."""
    t = np.asarray(temperature_c, dtype=float)
    return 0.15 + 0.31 / (1 + np.exp(-(t - 170) / 18)) - 0.00012 * np.maximum(t - 420, 0)


def curve_points(low: float = 70, high: float = 610) -> list[dict[str, Any]]:
    """The friction curve with bands, as in friction.json."""
    further = {"stretch": 1, "stops_near": 12, "thin": False, "u_curve": 0.004, "u_common": 0.005, "scatter": 0.012, "dof_mean": 30.0,
               "dof_scatter": 40.0, "tolerance_factor": 2.4, "inside_wanted": "yes"}  # fmt: skip
    return [
        {"temperature_c": t, "mu": m, "low": m - 0.008, "high": m + 0.008, "tolerance_low": m - 0.03, "tolerance_high": m + 0.03, **further}
        for t in np.linspace(low, high, 55).round(1).tolist() for m in [round(float(curve_mu(t)), 5)]
    ]  # fmt: skip


def window(**changes: Any) -> dict[str, Any]:
    """A window that ends at 231.4 degC by the band and at 604 degC with the data."""
    base = {"low_c": 231.4, "high_c": 604.0, "low_limited_by": "band", "high_limited_by": "data", "mu_mean": 0.4432, "mu_low": 0.436,
            "mu_high": 0.451, "confidence": 0.95, "coverage": 0.9, "low_why": "the tolerance band leaves the target band",
            "high_why": "the data end", "low_interval_c": {"why": "one test"}, "high_interval_c": {"why": "the data end"},
            "mu_class": {"class": "F", "over": 0.35, "to": 0.45}}  # fmt: skip
    return {**base, **changes}


def window_estimate(**changes: Any) -> dict[str, Any]:
    """The ends of that window by best estimate."""
    kept = {"low_limited_by", "high_limited_by", "confidence", "coverage", "high_c", "high_interval_c"}
    base = {name: value for name, value in window().items() if name in kept}
    return {**base, "low_c": 226.2, "low_interval_c": {"low": 221.0, "high": 232.0}, **changes}


def _of(subject: str, base: dict[str, Any], changes: dict[str, Any]) -> dict[str, Any]:
    """The content with the head of a test, or of the compound that `changes` name."""
    head = {} if "compound" in changes else {"test": subject}
    return {**head, "method": "first", **base, **changes}


def friction_json(**changes: Any) -> dict[str, Any]:
    """friction.json of a test, or, where `compound` is among the changes, of a compound."""
    together = {"why": "speed and energy change together in this programme"}
    base = {
        "stops_used": 61,
        "reference": {"temperature_c": 300.2, "pressure_bar": 40.0, "speed_rpm": 1500.0, "energy_density_j_mm2": 23.3},
        "window": window(),
        "curve": curve_points(),
        "sensitivity": {"temperature_per_100c": {"value": -0.0102, "low": -0.014, "high": -0.006},
                        "pressure_per_10bar": {"value": -0.0021, "low": -0.0035, "high": -0.0007},
                        "speed_per_100rpm": together, "energy_per_j_mm2": together},
        "bedding": {"stops": 12.3, "low": 8.0, "high": 19.0, "mu_start": 0.38, "mu_end": 0.446},
        "fade": {"block": "fade", "stop": 84, "mu_min": 0.401, "temperature_c": 540.0, "index": 0.902}, "recovery": {"index": 0.991, "stops": 3},
        "surfaces": [{"x": "temperature_c", "y": "energy_density_j_mm2", "x_values": [100, 200, 300, 400], "y_values": [10, 20, 30],
                      "mu": [[0.2, 0.38, 0.45, None], [0.19, 0.37, 0.45, 0.46], [None, 0.36, 0.44, 0.45]],
                      "u": [[0.01, 0.01, 0.01, None], [0.01, 0.01, 0.01, 0.01], [None, 0.01, 0.01, 0.01]]}],
    }  # fmt: skip
    return _of("m4-a", base, changes)


def wear_json(**changes: Any) -> dict[str, Any]:
    """wear.json of a test, or of the compound that the changes name, with disc and one pad."""
    intervals = [
        {"from_stop": a, "to_stop": b, "wear_um": w, "wear_u_um": 0.8, "wear_g": 0.05 * w, "in_models": True, "predicted_um": w + d}
        for a, b, w, d in ((0, 20, 14.2, -0.4), (20, 50, 11.9, 0.6), (50, 80, 21.0, -0.2), (80, 128, 13.1, 0.3))
    ]  # fmt: skip
    per_stop = {"value": 0.426, "low": 0.40, "high": 0.452}
    per_face = {"value": 0.213, "low": 0.2, "high": 0.226}
    rates = {"um_per_stop": per_stop, "um_per_stop_per_face": per_face,
             "mm3_per_mj": {"value": 68.2, "low": 63.0, "high": 73.5}, "mm3_per_n_m": {"value": 3.1e-5, "low": 2.9e-5, "high": 3.3e-5}}  # fmt: skip
    energy = {"model": "energy", "parameters": {"a": {"value": 1.81, "low": 1.7, "high": 1.92, "unit": "um/MJ"}}, "fixed": {}, "chi2_per_dof": 1.2,
              "aicc": 14.1, "loo_rmse_um": 1.3, "identified": True, "effective": False, "why": ""}  # fmt: skip
    oxidation = {"model": "oxidation", "parameters": {"a": {"value": 1.6, "low": 1.2, "high": 2.0, "unit": "um/MJ"}}, "fixed": {"th0_k": 773.15},
                 "chi2_per_dof": None, "aicc": None, "loo_rmse_um": None, "identified": False, "effective": True,
                 "why": "all blocks lie below 450 degC, where oxidation is too small to see"}  # fmt: skip
    component: dict[str, Any] = {
        "intervals": intervals, "models": [energy, oxidation], "chosen": "energy", "rates": rates, "map_and_duty": {"um_per_stop_per_face": per_face, "stops": 72},
        "law": {"unit": "um/s by oxidation, surface temperature", "points": [
            {"temperature_c": t, "value": v, "low": 0.8 * v, "high": 1.2 * v} for t, v in ((450.0, 0.001), (600.0, 0.04), (700.0, 0.4))]},
        "mass_to_thickness": {"value": 1.04, "low": 0.97, "high": 1.11},
    }  # fmt: skip
    if "compound" not in changes:
        component["blocks"] = [
            {"block": b, "purpose": p, "stops": n, "energy_mj": 0.24 * n, "um_per_stop": per_stop, "um_per_stop_per_face": per_face,
             "um_per_100_stops": {"value": 42.6, "low": 40.0, "high": 45.2}}
            for b, p, n in PROGRAMME
        ]  # fmt: skip
        component["shares"] = [
            {"block": b, "wear_um": {"mechanical": 0.4 * n, "oxidation_braking": 0.1 * n}} for b, _, n in PROGRAMME
        ]
    if "compound" in changes:
        component |= by_batch(energy, per_face)
    return _of(
        "m4-a", {"components": {"disc": component, "pad_inner": {**component, "intervals": intervals[:2]}}}, changes
    )


def by_batch(law: dict[str, Any], per_face: dict[str, Any]) -> dict[str, Any]:
    """The batches' part of a compound's component: the second wears more, and does not tell its mechanisms apart."""
    rows = [
        {"batch": name, "specimens": n, "tests": [f"t-{name}"], "law": law, "parted": parted,
         "parted_why": None if parted else "its readings tell the difference of its mechanical and its oxidative factor not at all",
         "factors": {"mechanical": {"value": f, "low": 0.93 * f, "high": 1.07 * f}, "oxidative": {"value": 1.0, "low": 0.9, "high": 1.1}},
         "map_and_duty": {"um_per_stop_per_face": {key: f * value for key, value in per_face.items()}, "stops": 72}}
        for name, n, f, parted in (("M4-2406", 2, 0.92, True), ("M4-2409", 1, 1.21, False))
    ]  # fmt: skip
    worst = {"batch": "M4-2409", "specimen": "A", "specimen_factor": 1.03, "um_per_stop_per_face": rows[1]["map_and_duty"]["um_per_stop_per_face"]}  # fmt: skip
    return {"by_batch": rows, "worst": worst}


def drift_json(stops: pl.DataFrame, verdict: str = "none", **changes: Any) -> dict[str, Any]:
    """drift.json with evidence and the charts' arrays; a found change starts at stop 104 (100 to 109)."""
    ok = stops.filter(pl.col("mu").is_not_null())
    share = (ok["mu"].to_numpy() / curve_mu(ok["temperature_initial_c"].to_numpy()) - 1).round(5)
    checks, use = ((ok["purpose"] == purpose).fill_null(False).to_numpy().astype(bool) for purpose in ("check", "duty"))
    numbers, blocks = ok["stop"].to_numpy(), np.array(ok["block"].to_list())
    found = verdict != "none"
    fall = np.maximum(-share[checks] / 0.015, 0).cumsum()
    charts = {
        "residual": {"stop": numbers[checks].tolist(), "share": share[checks].tolist(), "block": blocks[checks].tolist(),
                     "purpose": ["check"] * int(checks.sum()), "baseline": [True] * int(checks.sum()), "scaled": (share[checks] / 0.015).tolist()},
        "use": {"stop": numbers[use].tolist(), "share": share[use].tolist(), "block": blocks[use].tolist()},
        "cusum": {"stop": numbers[checks].tolist(), "fall": fall.tolist(), "rise": [0.0] * int(checks.sum()), "limit": 6.1, "allowance": 0.5},
        "ewma": {"stop": numbers[checks].tolist(), "value": (share[checks] / 0.02).tolist(), "limit": 1.7, "weight": 0.2},
        "energy_ratio": {"stop": numbers.tolist(), "value": ok["energy_ratio"].to_list()},
        "exposure": {"stop": numbers.tolist(), "power_density_w_mm2": ok["power_density_w_mm2"].to_list(),
                     "temperature_initial_c": ok["temperature_initial_c"].to_list(), "low_energy": use.tolist(),
                     "high_energy": [False] * len(ok), "block": blocks.tolist(), "purpose": ok["purpose"].fill_null("").to_list()},
    }  # fmt: skip
    items = {"energy_ratio": {"answer": "steady", "value": 0.0004, "low": -0.001, "high": 0.0018, "threshold": 0.02, "unit": "share",
                              "words": "energy ratio changed by +0.0 %: steady, so the torque chain is not the cause"}}  # fmt: skip
    base = {
        "test": "m4-a", "method": "first", "verdict": verdict, "onset_stop": 104 if found else None, "onset_low": 100 if found else None,
        "onset_high": 109 if found else None, "mu_loss": 0.041 if found else None, "mu_loss_share": 0.091 if found else None,
        "recovered": None, "recovered_reason": "no high-energy stops follow", "onset_reason": "no statistic passed its limit", "also": [],
        "mu_loss_reason": "no statistic passed its limit",
        "evidence": {"why": "friction fell with low-energy use" if found else "no statistic passed its limit",
                     "words": ["friction at the check fell 0.041 (0.035 to 0.047) from stop 104"] if found else [],
                     "items": {verdict: items} if found else {}, "not_excluded": ["a gain of the pressure sensor"] if found else [], "record_next": [],
                     "matched_stops": int(checks.sum())},
        "charts": charts,
    }  # fmt: skip
    return {**base, **changes}


def summary_json(stops: pl.DataFrame, **own: Any) -> dict[str, Any]:
    """summary.json with an energy balance and a budget."""
    counts = dict(stops["status"].value_counts().iter_rows()) if len(stops) else {}
    return {
        **own, "stops": counts,
        "offsets": {"torque_nm": 4.8, "pressure_bar": 0.02, "told_apart": True, "how": "readings at standstill", "torque_turned": False},
        "drag": {"a_nm": 3.1, "b_nm_per_rad_s": 0.012, "includes_drag": True},
        "lag_s": {"value": 0.004, "u": 0.001, "stops": 120, "significant": True, "applied": 0.004, "late": "torque"},
        "energy_balance": {"ratio_median": 1.0004, "ratio_scatter": 0.0031, "gain": 1.0003, "gain_low": 0.9991, "gain_high": 1.0016,
                           "intercept_nm": 0.4, "trend_per_100_stops": 0.0001, "candidates": []} if len(stops) else None,
        "mu_u_common_relative": 0.0112, "budget": [{"source": "torque", "relative_u": 0.0031, "part": "common"},
                                                   {"source": "effective radius", "relative_u": 0.0022, "part": "common"},
                                                   {"source": "piston_area", "part": "common", "why": "no accuracy stated: counted as 0"},
                                                   {"source": "scatter in the window", "relative_u": 0.006, "part": "stop"}],
        "missing": [],
        "units": [{"channel": "pressure", "unit": "bar", "vouched_by": ["the schedule's pressure"], "not_verifiable": ["kgf/cm^2"],
                   "why": "kgf/cm^2: within 5 % of it"},
                  {"channel": "pad_temperature", "unit": "degC", "vouched_by": [], "not_verifiable": ["degF", "K"],
                   "why": "degF, K: too few values to compare"}],
    }  # fmt: skip


def batches_json() -> dict[str, Any]:
    """batches.json with three batches: a pair equivalent, a pair different, a pair undecided."""
    names, mus = ("M4-2406", "M4-2407", "M4-2409"), (0.452, 0.449, 0.401)
    listed = [
        {"batch": n, "tests": [f"m4-{n[-1]}"], "specimens": 2, "mu": {"value": m, "low": m - 0.011, "high": m + 0.011},
         "bite": {"value": 0.14, "low": 0.12, "high": 0.16}, "wear_um_per_stop": {"value": 0.43, "low": 0.39, "high": 0.47}}
        for n, m in zip(names, mus, strict=True)
    ]  # fmt: skip
    pairs = [
        {"a": a, "b": b, "mu_difference": {"value": d, "low": d - 0.016, "high": d + 0.016}, "mu_verdict": v, "mu_why": w,
         "bite_difference": {"value": 0.001, "low": -0.02, "high": 0.022}, "bite_verdict": "equivalent",
         "wear_ratio": {"value": 1.02, "low": 0.88, "high": 1.19}, "wear_verdict": "equivalent", "caveat": None}
        | {"wear": [{"component": "disc", "part": "mechanical", "share": 0.7, "matters": True, "ratio": {"value": 1.02, "low": 0.9, "high": 1.15},
                     "verdict": "equivalent"},
                    {"component": "disc", "part": "mix", "mix": {"mechanical": 0.7, "oxidative": 0.3}, "duty": "ridge route", "matters": True,
                     "ratio": {"value": 1.01, "low": 0.9, "high": 1.14}, "verdict": "equivalent"},
                    {"component": "disc", "part": "oxidative", "share": 0.04, "matters": False, "ratio": {"value": None, "why": "not told"},
                     "verdict": "undecided", "why": "M4-2409: no specimen has a usable value"}]}
        for a, b, d, v, w in (
            ("M4-2406", "M4-2407", 0.003, "equivalent", None), ("M4-2406", "M4-2409", 0.051, "different", None),
            ("M4-2407", "M4-2409", 0.048, "undecided", "2 more specimens of each batch would decide it"),
        )
    ]  # fmt: skip
    reference = {"temperature_c": 300.2, "pressure_bar": 40.0, "speed_rpm": 1500.0, "energy_density_j_mm2": 23.3}
    specimens = [
        {"batch": n, "specimen": s, "value": m + d}
        for n, m in zip(names, mus, strict=True)
        for s, d in (("A", 0.002), ("B", -0.002))
    ]
    return {
        "compound": "Marram 4",
        "method": "first",
        "reference": reference,
        "batches": listed,
        "pairs": pairs,
        "margins": {
            "mu": {"low": -0.03, "high": 0.03, "source": "mu_batch_margin of the target"},
            "bite": {
                "low": -0.04,
                "high": 0.04,
                "relative": 0.286,
                "level": 0.14,
                "source": "no bite_margin is stated",
            },
            "wear": {"low": 0.8, "high": 1.25, "source": "wear_batch_ratio of the target"},
        },
        "conditions": {"bite": {"temperature_c": 92.1, "pressure_bar": 24.9, "speed_rpm": 1449.6, "stops": 25}},
        "specimen_values": {"mu": specimens},
    }


def duty_json() -> dict[str, Any]:
    """duty.json with one duty that has an opening to run and one that has none."""
    sweep = [{"opening": o, "temperature_low_c": 700 - 500 * o, "temperature_high_c": 800 - 480 * o, "window_share": s, "life_km": 4.6 * n}
             for o, s, n in ((0.0, 0.2, 900.0), (0.25, 0.7, 1500.0), (0.5, 0.95, 2100.0), (0.75, 0.9, 2300.0), (1.0, 0.6, 2350.0))]  # fmt: skip
    base = {"opening": 0.5, "temperature_low_c": 341.2, "temperature_high_c": 498.7, "window_share": 0.953, "glazing_share": 0.0,
            "wear_um_per_cycle": {"disc": {"value": 1.9, "low": 1.7, "high": 2.1}, "pad": {"value": 2.6, "low": 2.2, "high": 3.0}},
            "life_cycles": {"value": 2105.0, "low": 1900.0, "high": 2350.0}, "life_km": {"value": 9683.0, "low": 8740.0, "high": 10810.0},
            "opening_to_run": {"low": 0.42, "high": 0.66}, "extrapolated": [], "sweep": sweep, "life_limited_by": "disc",
            "history": {"time_s": [0.0, 10.0, 20.0], "temperature_c": [341.2, 498.7, 345.0]}}  # fmt: skip
    base |= lives_by_batch(base)
    loss = {"value": None, "low": 0.0, "high": 0.164, "why": "more is open than the target accepts"}
    base |= {
        "glazing_loss": loss, "glazing_loss_three_uses": {**loss, "high": None, "high_why": "nothing as cold was tested"},
        "glazing_loss_wanted": 0.05, "reserved": True,
        "opening_to_run_sure_why": "one use may lose more of friction to a film than the target accepts",
        "limits": [{"cause": "window", "at": 0.42, "side": "low", "why": "too little of the energy lies in the window"},
                   {"cause": "life", "at": 0.44, "side": "low", "why": "life is shorter than the duty asks for"}],
        "not_excluded": [{"cause": "glazing", "low": 0.42, "high": 0.66, "why": "one use may lose more of friction to a film than the target accepts"}],
        "settling_test": {
            "opening": 0.45, "power_density_w_mm2": 1.1, "temperature_c": 255.0, "energy_density_j_mm2": 3.4, "gentle_stops": 272,
            "second_power_density_w_mm2": 2.3, "second_temperature_c": 276.0, "second_stops": 123, "check_stops": 12, "hard_stops": 32,
            "least_loss": 0.03, "u": 0.009, "hours": 2.3, "hours_why": "by the rig's cool-downs", "blocks": "blocks:\n- name: check 1\n  stops: 12\n",
            "text": "on a bedded specimen: checks, gentle stops, checks",
        },
        "glazing_area": {
            "rate_per_j_mm2": 8e-5, "rate_per_stop": 3.4e-4, "opening": 0.5, "temperature_c": [20.0, 150.0, 300.0],
            "power_density_w_mm2": [0.8, 3.0, 12.0],
            "answers": [["glazes", "untested", "untested"], ["untested", "untested", "harmless"], ["untested", "harmless", "harmless"]],
            "duty_stops": [{"temperature_c": 260.0, "power_density_w_mm2": 1.1, "energy_density_j_mm2": 3.4, "answer": "untested"}],
        },
    }  # fmt: skip
    valley = {**base, "duty": "valley route", "opening_to_run": None, "opening_to_run_why": "no opening keeps the disc inside the window",
              "window_share": 0.12, "extrapolated": ["power density under the lowest tested"]}  # fmt: skip
    beyond = {"of": "friction", "direction": "energy density", "unit": "J/mm2", "value": 32.4, "low": 10.0, "high": 28.9, "events": [3],
              "share": 0.42, "words": "energy density up to 32.4 J/mm2, run from 10.0 to 28.9 J/mm2"}  # fmt: skip
    support = {"friction_share": 0.58, "window_share_tested": 0.55, "window_share_extrapolated": 0.403,
               "window_basis": "partly extrapolated", "wear_share": {"disc": 1.0}, "extrapolations": [beyond]}  # fmt: skip
    both = {"answer": "serves neither at one opening", "why": "no opening serves all: ridge route 0.42 to 0.66; valley route none",
            "duties": [{"duty": "ridge route", "use": "hard", "marked": True, "by": "its file", "power_density_w_mm2": 9.7,
                        "openings": {"low": 0.42, "high": 0.66}, "shown": {"low": 0.45, "high": 0.66}},
                       {"duty": "valley route", "use": "gentle", "marked": True, "by": "its file", "power_density_w_mm2": 1.8,
                        "why": "no opening keeps the disc inside the window"}],
            "changes": [{"kind": "a margin of mu", "shown": False, "mu_margin": 0.1, "mu_limit": 0.28,
                         "words": "lower mu of single stops accepted: one opening would then serve all"}]}  # fmt: skip
    return {"compound": "Marram 4", "method": "first", "duties": [{"duty": "ridge route", **base, "support": support}, valley],
            "common_opening_why": "no opening to run on valley route", "both_duties": both}  # fmt: skip


def lives_by_batch(base: dict[str, Any]) -> dict[str, Any]:
    """Life of two batches: the worst one's is told, of all together beside it."""
    own = {key: base[key] for key in ("life_cycles", "life_km")}
    other = {
        "life_cycles": {"value": 2700.0, "low": 2400.0, "high": 3000.0},
        "life_km": {"value": 12420.0, "low": 11000.0, "high": 13800.0},
    }
    return {
        "life_of": {"batch": "M4-2409", "why": "the shortest of two batches: no law of the pad to hold batches against"},
        "pooled_life_cycles": {"value": 2350.0}, "pooled_life_km": {"value": 10810.0, "low": 9900.0, "high": 11700.0},
        "by_batch": [{"batch": "M4-2406", "specimens": 2, "life_limited_by": "disc", **other},
                     {"batch": "M4-2409", "specimens": 1, "life_limited_by": "disc", "not_parted": ["disc"], **own}],
        "worst": {"batch": "M4-2409", "component": "disc", "specimen": "A", "specimen_factor": 1.03, "specimen_life_km": 9401.0, **own},
    }  # fmt: skip


def full_friction_json(**changes: Any) -> dict[str, Any]:
    """friction.json of a test or a compound with all that its stage gives."""
    side = {"side": "low-energy side", "answer": "not shown", "text": "low-energy side: not shown; no fade",
            "questions": [{"question": "mu in the fade", "answer": "not shown", "value": None, "text": "no fade block was run"}]}  # fmt: skip
    mark = {"value": 0.157, "low": 0.14, "high": 0.18, "temperature_c": 57.0}
    bite = {"temperature_c": 98.5, "mu_bite": 0.146, "mu": 0.239, "ratio": 0.65, "stops": 40}
    residuals = [
        {"stop": s, "block": "check 1", "standardised": 0.3, "influence": 0.1, "held_back": s == 22}
        for s in range(21, 27)
    ]
    shared = {
        "wanted_mu": [0.38, 0.56], "wanted_from": "target",
        "holds": {"answer": "no", "from_c": 280.0, "to_c": 580.0, "fails": [], "not_shown": [], "why": "fails from 560 to 580 C"},
        "sides": {"answer": "not shown", "low_energy": side, "high_energy": side, "text": "both"},
        "landmarks": {"cold_friction": mark, "transition": {"value": 168.0, "low": 160.0, "high": 177.0, "note": None, "slope_per_100c": 0.3},
                      "plateau": {**mark, "from_c": 255.0, "to_c": 355.0}, "high_temperature_change": {**mark, "sign": "falls"}},
        "bite": {"reference": bite, "coldest": bite, "why": None},
        "diagnostics": {"stops": residuals, "most_influential": residuals[:2], "beyond_two_sd_share": 0.05, "skewness": 0.1,
                        "neighbour_correlation": 0.1, "trend_sd_over_test": 0.2, "trend_u_sd": 0.3},
        "gaps": [{"from_c": 400.0, "to_c": 480.0}], "left_out": [{"block": "check 3", "stops": [123], "shift": -0.09, "u": 0.01, "why": "check 3 lies -9 % off"}],
        "model": {"effects": "multiply mu", "energy_form": "straight", "kept": ["pressure"], "dropped": {"speed": "not told apart"}, "moved_together": [],
                  "compared": [], "chosen_because": "it predicts best", "effective_parameters": 6.2, "autocorrelation": 0.1, "strays_held_back": 1,
                  "interacts": True, "shifts": [{"condition": "pressure", "kelvin": 80.0, "u": 6.0}],
                  "lack_of_fit": {"f": 2.1, "p": 0.01, "dof_missed": 12.0, "dof_pure": 40, "missed_sd": 0.004, "missed_sd_most": 0.011,
                                  "stop_sd": 0.015, "where": [{"temperature_c": 180.0, "pressure_bar": 20.0, "speed_rpm": 1500.0,
                                                               "energy_density_j_mm2": 20.0, "stops": 3, "share": -0.03}]}},
        "windows_at": [{"pressure_bar": 20.0, "speed_rpm": 1500.0, "energy_density_j_mm2": 20.0, "asked": True, "window_reason": "outside what was run"}],
    }  # fmt: skip
    in_order = {
        "pauses": [{"stop": 21, "block": "check 1", "pause_h": 5.0, "temperature_c": 298.0, "mu": 0.44, "ratio": 0.97, "against": "map",
                    "bite_ratio": 0.9, "stops_to_normal": None}],
        "in_stop": {"classes": [{"from_c": 0, "to_c": 150, "stops": 8, "in_stop_per_100k": 0.2, "in_stop_u": 0.02, "between_stops_per_100k": 0.1,
                                 "between_stops_u": 0.02, "rise_k": 80.0, "surface_rise_k": 200.0, "agrees": False, "text": "they disagree"}],
                    "rise": [{"energy_from_j_mm2": 8.7, "energy_to_j_mm2": 20.0, "state": "cold", "stops": 6, "rise": 1.6, "rise_low": 1.4, "rise_high": 1.9}],
                    "disagreements": ["they disagree"], "surface": {"assumed": ["conductivity"], "valid_s": 1.6, "valid_why": None}, "why": None},
    }  # fmt: skip
    over_tests = {
        "by_batch": [
            {"batch": name, "window": window(), "window_reason": None,
             "holds": {"answer": "yes", "from_c": 280.0, "to_c": 580.0, "why": "inside the band"}, "curve": curve_points(), "curve_reason": None}
            for name in ("M4-2406", "M4-2409")
        ],
        "further_batch": {"value": 0.434, "low": 0.35, "high": 0.52, "batches": 3, "why": None},
        "between": {"unit": "relative", "specimen_sd": 0.02, "batch_sd": None, "batch_why": "one batch", "stop_sd": 0.01, "prior": "1 % between specimens",
                    "autocorrelation": 0.1},
    }  # fmt: skip
    return friction_json(**{**shared, **(over_tests if "compound" in changes else in_order), **changes})


def of_test(**changes: Any) -> TestFriction:
    """`friction_json` as it is read."""
    return TestFriction.model_validate(friction_json(**changes))


def of_compound(**changes: Any) -> CompoundFriction:
    """`full_friction_json` of a compound as it is read."""
    return CompoundFriction.model_validate(full_friction_json(compound="Marram 4", **changes))


def wear_of_test(**changes: Any) -> TestWear:
    """`wear_json` as it is read."""
    return TestWear.model_validate(wear_json(**changes))
