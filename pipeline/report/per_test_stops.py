"""The stops of a test for its page: one compact block of named columns that plots, filters, table and drawer share, and the
rows of the table as text.

What is drawn of a stop in several plots stands once: the plots' points carry the stop's number, and the page's script looks
the rest up here.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from itertools import groupby
from typing import Any

import plotly.graph_objects as go
import polars as pl

from pipeline.report import frame, numbers, palette, per_test_traces, stop_figures

#: column of stops.parquet, head of the table, decimals
NUMBERS: tuple[tuple[str, str, int], ...] = (
    ("mu", "µ", 3),
    ("mu_u", "u(µ)", 4),
    ("mu_bite", "Bite", 3),
    ("temperature_initial_c", "Start (°C)", 0),
    ("temperature_peak_c", "Peak (°C)", 0),
    ("pressure_bar", "Pressure (bar)", 1),
    ("speed_start_rpm", "Speed from (rpm)", 0),
    ("energy_kj", "Energy (kJ)", 0),
    ("energy_density_j_mm2", "Energy (J/mm²)", 1),
    ("energy_ratio", "Energy ratio", 4),
)
WORDS = ("block", "purpose", "status", "use")
HEADS: tuple[tuple[str, str], ...] = (
    ("stop", "Stop"),
    ("block", "Block"),
    ("purpose", "Purpose"),
    ("use", "Use"),
    *((name, head) for name, head, _ in NUMBERS),
    ("findings", "Findings"),
)


def uses(stops: pl.DataFrame, of_map: stop_figures.MapStops | None) -> list[str]:
    """What became of each stop: in the map, held back in it as a stray, left out of it, of another purpose, suspect, rejected."""
    found = []
    for stop, purpose, status in stops.select("stop", "purpose", "status").iter_rows():
        if status != "ok":
            found.append(status)
        elif of_map is None:
            found.append("ok")
        elif stop in of_map.used:
            found.append("in the map")
        elif stop in of_map.held:
            found.append("held back")
        else:
            found.append("left out" if purpose in stop_figures.OF_THE_MAP else "not of the map")
    return found


def block(stops: pl.DataFrame, of_map: stop_figures.MapStops | None) -> dict[str, Any]:
    """The page's one block of data: `columns` by name, each as long as there are stops; texts as places in `texts`."""
    texts: dict[str, list[str]] = {}
    columns: dict[str, list[Any]] = {"stop": stops["stop"].to_list()}
    for name in WORDS:
        values = uses(stops, of_map) if name == "use" else [v or "none" for v in stops[name].to_list()]
        texts[name] = list(dict.fromkeys(values))
        columns[name] = [texts[name].index(v) for v in values]
    for name, _, _ in NUMBERS:
        columns[name] = frame.trimmed(stops[name].to_list())
    codes = [list(dict.fromkeys(v or [])) for v in stops["findings"].to_list()]
    texts["findings"] = sorted({code for own in codes for code in own})
    columns["findings"] = [[texts["findings"].index(code) for code in own] for own in codes]
    files = [per_test_traces.address(stop) for stop in columns["stop"]]
    texts["file"] = list(dict.fromkeys(files))
    columns["file"] = [texts["file"].index(file) for file in files]
    marks = [palette.purpose(name)[0] for name in texts["purpose"]]
    return {"columns": columns, "texts": texts, "colours": marks}


def rows(stops: pl.DataFrame, of_map: stop_figures.MapStops | None) -> list[tuple[int, list[str]]]:
    """(stop, cells in the order of HEADS) of every stop."""
    found = []
    for row, use in zip(stops.iter_rows(named=True), uses(stops, of_map), strict=True):
        figures = ["–" if row[name] is None else numbers.rounded(row[name], places) for name, _, places in NUMBERS]
        codes = ", ".join(code.replace("_", " ") for code in dict.fromkeys(row["findings"] or []))
        found.append(
            (
                row["stop"],
                [str(row["stop"]), row["block"] or "no block", row["purpose"] or "none", use, *figures, codes],
            )
        )
    return found


def packed(figures: Mapping[str, go.Figure]) -> dict[str, Any]:
    """The figures' data and layout. Points that carry a stop's own row carry its number instead (`meta.stops`), runs of points
    of one stop their number and how many they are (`meta.runs`).
    """
    made = {}
    for name, figure in figures.items():
        spec = json.loads(figure.to_json())
        for trace in spec["data"]:
            if (trace.get("meta") or {}).get("fields") == list(stop_figures.FIELDS):
                trace["meta"]["stops"] = [row[0] for row in trace.pop("customdata")]
            elif (trace.get("meta") or {}).get("fields") == ["stop"] and isinstance(trace.get("customdata"), list):
                runs = [[stop, len(list(own))] for stop, own in groupby(trace["customdata"])]
                if 3 * len(runs) < len(trace["customdata"]):
                    trace["meta"]["runs"] = runs
                    del trace["customdata"]
        spec["layout"].pop("template", None)
        made[name] = spec
    return made
