"""The keys of docs/contract.md, file by file: `a.b` a key of a part, `a[].b` of each item, `a.*.b` of each value by name.

By the name of the file's schema; a test's and a compound's file of one name share what the contract says of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

INTERVAL = ("value", "low", "high")
ENDS = (
    "low_c",
    "high_c",
    "low_limited_by",
    "high_limited_by",
    "mu_mean",
    "mu_low",
    "mu_high",
    "confidence",
    "coverage",
)
REFERENCE = ("temperature_c", "pressure_bar", "speed_rpm", "energy_density_j_mm2")
POINT = ("temperature_c", "mu", "low", "high", "tolerance_low", "tolerance_high")
SLOPES = ("temperature_per_100c", "pressure_per_10bar", "speed_per_100rpm", "energy_per_j_mm2")
LAW = ("model", "parameters", "fixed", "chi2_per_dof", "aicc", "loo_rmse_um", "identified", "effective", "why")
RATES = ("um_per_stop", "um_per_stop_per_face", "mm3_per_mj", "mm3_per_n_m")
FINDING = ("code", "severity", "stop", "file", "channel", "start_s", "end_s", "message", "evidence", "action")
PAIR = ("mu_difference", "bite_difference", "wear_ratio")


def under(prefix: str, *keys: str) -> tuple[str, ...]:
    return tuple(f"{prefix}{key}" for key in keys)


_FRICTION = (
    "method", "stops_used", "reference", "window", "window_reason", "curve", "sensitivity", "bedding", "fade", "recovery",
    *under("reference.", *REFERENCE), *under("window.", *ENDS), *under("curve[].", *POINT),
    *(f"sensitivity.{slope}.{key}" for slope in SLOPES for key in (*INTERVAL, "why")),
    *under("bedding.", "stops", "low", "high", "mu_start", "mu_end"),
    *under("fade.", "mu_min", "temperature_c", "index"), *under("recovery.", "index", "stops"),
)  # fmt: skip
_WEAR = (
    "method", *under("components.*.", "intervals", "models", "chosen", "mass_to_thickness", "rates"),
    *under("components.*.intervals[].", "from_stop", "to_stop", "wear_um", "wear_u_um", "wear_g"),
    *under("components.*.models[].", *LAW),
    *under("components.*.models[].parameters.*.", *INTERVAL, "unit"),
    *under("components.*.models[].fixed.", "th0_k", "p0_w_mm2"),
    *under("components.*.mass_to_thickness.", *INTERVAL),
    *(f"components.*.rates.{rate}.{key}" for rate in RATES for key in INTERVAL),
)  # fmt: skip
_BY_BATCH = (
    *under("components.*.", "by_batch", "worst"),
    *under("components.*.by_batch[].", "batch"),
    *under("components.*.worst.", "batch", "specimen"),
)
_BATCHES = (
    "compound", "method", "reference", "batches", "pairs", *under("reference.", *REFERENCE),
    *under("batches[].", "batch", "tests", "specimens"),
    *(f"batches[].{name}.{key}" for name in ("mu", "bite", "wear_um_per_stop") for key in INTERVAL),
    *under("pairs[].", "a", "b", "mu_verdict", "bite_verdict", "wear_verdict", "caveat"),
    *(f"pairs[].{name}.{key}" for name in PAIR for key in INTERVAL),
)  # fmt: skip
_DUTY = (
    "compound", "method", "duties",
    *under("duties[].", "duty", "opening", "temperature_low_c", "temperature_high_c", "window_share", "glazing_share",
           "wear_um_per_cycle", "life_cycles", "life_km", "opening_to_run", "extrapolated"),
    *under("duties[].opening_to_run.", "low", "high"),
    *(f"duties[].{life}.{key}" for life in ("life_cycles", "life_km") for key in INTERVAL),
    *under("duties[].", "by_batch", "worst"), *under("duties[].by_batch[].", "batch", "life_cycles", "life_km"),
    *under("duties[].worst.", "batch", "specimen"),
)  # fmt: skip
_DRIFT = (
    "test", "method", "verdict", "onset_stop", "onset_low", "onset_high", "mu_loss", "mu_loss_share", "recovered", "also",
    "evidence",
)  # fmt: skip

KEYS: dict[str, tuple[str, ...]] = {
    "findings": ("test", "method", "findings", *under("findings[].", *FINDING)),
    "archive": ("tests", *under("tests[].", "test", "compound", "status", "why")),
    "friction": ("test", *_FRICTION),
    "compound-friction": ("compound", *_FRICTION),
    "wear": ("test", *_WEAR),
    "compound-wear": ("compound", *_WEAR, *_BY_BATCH),
    "drift": _DRIFT,
    "batches": _BATCHES,
    "duty": _DUTY,
}


def missing_in_schema(keys: tuple[str, ...], schema: dict[str, Any]) -> list[str]:
    """Keys that the JSON Schema does not describe."""
    return [key for key in keys if not any(True for _ in _found([schema], _steps(key), schema))]


def _steps(key: str) -> list[str]:
    """`a[].b.*.c` as a, [], b, *, c."""
    return [step for part in key.split(".") for step in part.replace("[]", ".[]").split(".")]


def _found(nodes: list[Any], steps: list[str], root: dict[str, Any]) -> Iterator[Any]:
    """Schemas at the end of the steps, through references and alternatives."""
    for node in nodes:
        if "$ref" in node:
            yield from _found([root["$defs"][node["$ref"].rsplit("/", 1)[-1]]], steps, root)
        elif "anyOf" in node:
            yield from _found(node["anyOf"], steps, root)
        elif not steps:
            yield node
        elif steps[0] == "[]":
            yield from _found([node["items"]] if "items" in node else [], steps[1:], root)
        elif steps[0] == "*":
            values = node.get("additionalProperties", list(node.get("properties", {}).values()))
            yield from _found(values if isinstance(values, list) else [values], steps[1:], root)
        else:
            yield from _found(
                [one for name, one in node.get("properties", {}).items() if name == steps[0]], steps[1:], root
            )


def missing_in_file(keys: tuple[str, ...], content: Any) -> list[str]:
    """Keys that a file's content lacks: of every item and every value by name; a part that is null has none to lack."""
    return [key for key in keys if not _has(content, _steps(key))]


def _has(node: Any, steps: list[str]) -> bool:
    if not steps or node is None:
        return True
    if steps[0] == "[]":
        return all(_has(one, steps[1:]) for one in node)
    if steps[0] == "*":
        return all(_has(one, steps[1:]) for one in node.values())
    return steps[0] in node and _has(node[steps[0]], steps[1:])
