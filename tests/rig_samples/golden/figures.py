"""The figures of a run over the samples: a handful of each test and compound, per stage and method."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import polars as pl

from tests.rig_samples.golden.tables import Figures, shown

MEANS = (
    "mu", "mu_u", "mu_u_stop", "mu_u_common", "mu_bite", "mu_start", "mu_end", "mu_min", "mu_max", "mu_time", "mu_distance",
    "mu_energy", "pressure_bar", "torque_nm", "speed_end_rpm", "duration_s", "temperature_initial_c", "temperature_peak_c",
    "temperature_end_c", "energy_kj", "energy_ratio", "power_density_w_mm2", "sliding_distance_m", "deceleration_mps2",
    "window_start_s", "window_end_s", "drag_torque_nm", "lag_s", "angle_rad",
)  # fmt: skip
SENSITIVITIES = ("temperature_per_100c", "pressure_per_10bar", "speed_per_100rpm", "energy_per_j_mm2")
ALL = "all"  # in place of the method, where a figure is of no method
INTERVAL = ("value", "low", "high")
Pairs = Iterator[tuple[str, Any]]


def of_run(root: Path) -> dict[str, Figures]:
    """Figures by stage. root: results folder with channels/, <method>/tests, <method>/compounds."""
    found: dict[str, Figures] = {"channels": {}}
    for record in sorted((root / "channels").glob("*.json")):
        _add(found["channels"], ALL, record.stem, _channels(record))
    for method in sorted(path.parent for path in root.glob("*/archive.json")):
        for stage, subject, pairs in _of_method(method):
            _add(found.setdefault(stage, {}), method.name, subject, pairs)
    return found


def _add(figures: Figures, method: str, subject: str, pairs: Pairs) -> None:
    for name, value in pairs:
        figures[method, subject, name] = shown(value)


def _of_method(method: Path) -> Iterator[tuple[str, str, Pairs]]:
    for folder in _folders(method / "tests"):
        yield "stops", folder.name, _stops(folder)
        yield "friction", folder.name, _friction(_read(folder / "friction.json"))
        yield "wear", folder.name, _wear(folder)
        yield "drift", folder.name, _drift(_read(folder / "drift.json"))
    yield "rigs", "all rigs", _rigs(_read(method / "rigs.json"))
    yield "precision", "all tests", _precision(_read(method / "precision.json"))
    yield "charts", "all tests", _charts(_read(method / "charts.json"))
    for folder in _folders(method / "compounds"):
        yield "compound", folder.name, _friction(_read(folder / "friction.json"))
        yield "compound", folder.name, _laws(_read(folder / "wear.json"))
        yield "batches", folder.name, _batches(_read(folder / "batches.json"))
        yield "duty", folder.name, _duty(_read(folder / "duty.json"))


def _folders(parent: Path) -> list[Path]:
    return sorted(path for path in parent.iterdir() if path.is_dir() and not path.name.startswith("."))


def _read(path: Path) -> dict[str, Any]:
    content: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return content


def _channels(record: Path) -> Pairs:
    content = _read(record)
    yield "recordings", len(content["recordings"])
    yield "unusable recordings", sum(1 for one in content["recordings"] if one["error"])
    yield from _codes(content["findings"])
    table = pl.read_parquet(record.with_suffix(".parquet"))
    yield "rows", table.height
    for name in table.columns:
        if name not in ("recording", "time"):
            yield f"mean {name}", table[name].mean()
            yield f"largest {name}", table[name].max()


def _stops(folder: Path) -> Pairs:
    table = pl.read_parquet(folder / "stops.parquet")
    for status in ("ok", "suspect", "rejected"):
        yield f"stops {status}", table.filter(pl.col("status") == status).height
    for name in MEANS:
        yield f"mean {name}", table[name].mean()
    yield "smallest mu", table["mu"].min()
    yield "largest mu", table["mu"].max()
    yield "scatter of mu", table["mu"].std()
    yield "work MJ", float(table["energy_kj"].sum()) / 1e3
    yield from _codes(_read(folder / "stops_findings.json")["findings"])


def _codes(findings: list[dict[str, Any]]) -> Pairs:
    for code, count in sorted(Counter(f"{one['code']} ({one['severity']})" for one in findings).items()):
        yield f"finding {code}", count


def _parts(content: dict[str, Any] | None, name: str, keys: tuple[str, ...]) -> Pairs:
    """Some values of a part of a result, an interval's in one row; one row `none` where the part is null."""
    if content is None:
        yield name, None
    elif keys == INTERVAL:
        yield name, [content[key] for key in keys]
    else:
        yield from ((f"{name} {key}", content[key]) for key in keys)


def _friction(found: dict[str, Any]) -> Pairs:
    yield "stops used", found["stops_used"]
    ends = ("low_c", "low_limited_by", "high_c", "high_limited_by", "mu_mean", "mu_low", "mu_high")
    yield from _parts(found["window"], "window", ends)
    yield from _parts(found["holds"], "holds", ("answer",))
    yield from _parts(found["sides"], "sides", ("answer",))
    curve = found["curve"]
    yield "curve points", len(curve)
    for name, point in (("first", curve[:1]), ("middle", curve[len(curve) // 2 :][:1]), ("last", curve[-1:])):
        for one in point:
            yield from _parts(one, f"curve {name}", ("temperature_c", "mu", "low", "tolerance_low", "tolerance_high"))
    for name in SENSITIVITIES:
        yield from _parts((found["sensitivity"] or {}).get(name), name, INTERVAL)
    yield from _parts(found["landmarks"], "landmarks", ())
    for name, landmark in (found["landmarks"] or {}).items():
        yield name, landmark["value"]
    yield from _parts(found["bedding"], "bedding", ("stops", "low", "high", "mu_start", "mu_end"))
    yield from _parts(found["fade"], "fade", ("mu_min", "temperature_c", "index"))
    yield from _parts(found["recovery"], "recovery", ("index", "stops"))
    if "between" in found:
        yield from _parts(found["between"], "between", ("specimen_sd", "batch_sd", "stop_sd"))
        yield from _parts(found["further_batch"], "further batch", INTERVAL)
        yield from _parts(found["glaze_limit"], "glaze limit", ("power_density_w_mm2", "temperature_c"))
        for one in found["changed"]:
            yield f"left out from stop, {one['test']}", one["from_stop"]
        for one in found["by_batch"]:
            yield from _parts(one["window"], f"{one['batch']} window", ("low_c", "high_c"))


def _wear(folder: Path) -> Pairs:
    yield from _laws(_read(folder / "wear.json"))
    yield from _codes(_read(folder / "wear_findings.json")["findings"])


def _laws(found: dict[str, Any]) -> Pairs:
    for component, part in (found["components"] or {}).items():
        yield f"{component} intervals", len(part["intervals"])
        yield f"{component} law", part["chosen"]
        yield f"{component} identified", [law["model"] for law in part["models"] if law["identified"]] or "none"
        for law in part["models"]:
            if law["model"] != part["chosen"]:
                continue
            yield f"{component} misfit", law["chi2_per_dof"]
            for name, value in law["parameters"].items():
                yield from _parts(value, f"{component} {name} {value['unit']}", INTERVAL)
        for name in ("um_per_stop", "mm3_per_mj"):
            yield from _parts(part["rates"][name], f"{component} {name}", INTERVAL)
        yield from _parts(part["mass_to_thickness"], f"{component} mass to thickness", INTERVAL)


def _drift(found: dict[str, Any]) -> Pairs:
    for name in ("verdict", "onset_stop", "onset_low", "onset_high", "mu_loss", "mu_loss_share"):
        yield name.replace("_", " "), found[name]
    yield "recovered", shown(found["recovered"]).lower()
    yield "also", ", ".join(found["also"]) or "nothing"


def _rigs(found: dict[str, Any]) -> Pairs:
    yield "shifts", len(found["shifts"])
    for one in found["examined"]:
        for kind in ("friction", "energy_ratio"):
            name = f"{one['rig']} {one['date']} {kind.replace('_', ' ')}"
            yield from _parts(one[kind], name, ("step", "low", "high", "df"))
    yield from _codes(found["findings"])


def _precision(found: dict[str, Any]) -> Pairs:
    for one in found["quantities"]:
        name = f"{one['quantity']} of {one['compound'] or 'all compounds'}"
        yield f"{name} tests", one["tests"]
        for kind, component in one["components"].items():
            yield from _parts(component, f"{name} {kind}", (*INTERVAL, "df"))
        yield from _parts(one["repeatability"], f"{name} repeatability", INTERVAL)
        yield from _parts(one["cochran"], f"{name} Cochran", ("test", "c", "verdict"))
        yield f"{name} odd tests", [test["test"] for test in one["consistency"] if test["odd"]] or "none"
    for one in found["pace"]:
        if one["purpose"] is None:
            yield f"hours per stop, {one['rig']}, {one['compound'] or 'all compounds'}", one["hours_per_stop"]


def _charts(found: dict[str, Any]) -> Pairs:
    for owner in (*found["rigs"], *found["compounds"]):
        name = owner.get("rig") or owner["compound"]
        for one in owner["charts"]:
            yield from _parts(one, f"{name} {one['quantity']}", ("sigma", "df"))
            last = one["points"][-1:] or [None]
            yield from _parts(last[0], f"{name} {one['quantity']} last", ("name", "value", "z", "average"))
            yield f"{name} {one['quantity']} alarms", sum(1 for p in one["points"] if p["alarm"])
    yield from _codes(found["findings"])


def _batches(found: dict[str, Any]) -> Pairs:
    for batch in found["batches"]:
        for name in ("mu", "bite", "wear_um_per_stop"):
            yield from _parts(batch[name], f"{batch['batch']} {name}", INTERVAL)
    for pair in found["pairs"]:
        name = f"{pair['a']} to {pair['b']}"
        for key in ("mu_verdict", "bite_verdict", "wear_verdict"):
            yield f"{name} {key.replace('_', ' ')}", pair[key]
        for key in ("mu_difference", "bite_difference", "wear_ratio"):
            yield from _parts(pair[key], f"{name} {key.replace('_', ' ')}", INTERVAL)


def _duty(found: dict[str, Any]) -> Pairs:
    yield from _parts(found["rig_cooling"], "rig cooling", ("g", "low", "high"))
    for duty in found["duties"]:
        name = duty["duty"]
        keys = ("temperature_low_c", "temperature_high_c", "window_share", "glazing_share", "life_limited_by")
        yield from _parts(duty, name, keys)
        yield from _parts(duty["opening_to_run"], f"{name} opening", ("low", "high"))
        yield from _parts(duty["life_km"], f"{name} life km", INTERVAL)
        for component, value in (duty["wear_um_per_cycle"] or {}).items():
            yield from _parts(value, f"{name} {component} um per cycle", INTERVAL)
        yield f"{name} extrapolated", len(duty["extrapolated"])
