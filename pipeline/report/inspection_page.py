"""The page of a look at recordings, on demand: columns, guesses with reason and doubt, brakings, one braking drawn."""

import base64
import io
import math
from pathlib import Path
from typing import Any

import matplotlib

from pipeline.inspection.brakings import Braking, celsius, holds_of
from pipeline.inspection.card import recordings_lines
from pipeline.inspection.look import Look
from pipeline.inspection.words import RPM, panels
from pipeline.report import palette, render
from pipeline.report.plot_style import SETTINGS, panel
from pipeline.results import version, write_text
from pipeline.wording import counted


def write(look: Look, path: Path) -> None:
    """Write the page to `path`, whole or not at all."""
    write_text(path, render.page("inspection.html", **context(look)))


def context(look: Look) -> dict[str, Any]:
    """Everything the template prints."""
    factor, unit = (3.6, "km/h") if look.linear else (RPM, "rpm")
    return {
        "title": f"What {look.files[0]} is",
        "under": f"{look.table.form}; {counted(look.table.rows, 'row')}; stopsheet {version()}",
        "columns": [
            [one.name, one.unit, _figure(one.low), _figure(one.high), _figure(one.rate)] for one in look.ranges
        ],
        "guesses": [
            [g.channel.replace("_", " "), g.column, g.unit, "; ".join(g.reasons), "; ".join(g.doubts), g.second or ""]
            for g in look.guesses
        ],
        "unit": unit,
        "brakings": [[b.file, b.kind, *map(_figure, _numbers(b, factor))] for b in look.brakings[:200]],
        "notes": look.notes,
        "picture": drawn(look),
        "card": "\n".join(recordings_lines(look, "recordings/*", holds_of(look.brakings))),
    }


def _numbers(one: Braking, factor: float) -> tuple[float, ...]:
    """As the table's columns stand."""
    before, most = celsius(one.temperature_initial), celsius(one.temperature_peak)
    speeds = one.speed_start * factor, one.speed_end * factor
    return one.start_s, one.duration_s, *speeds, one.pressure / 1e5, one.torque, before, most


def _figure(value: float) -> str:
    return f"{value:.4g}" if math.isfinite(value) else ""


def drawn(look: Look) -> str | None:
    """One braking as an image's address with the image in it; None where there is none."""
    time, shown = panels(look)
    if not shown:
        return None
    with matplotlib.rc_context(SETTINGS):
        figure, axes = panel(2.1, len(shown))
        for at, (title, values) in enumerate(shown):
            place = axes[at] if len(shown) > 1 else axes
            place.plot(time, values, color=palette.plain(0).colour, linewidth=1.1)
            place.set_title(title, fontsize=8, color=palette.INK)
            place.set_xlabel("s")
        buffer = io.BytesIO()
        figure.savefig(buffer, format="svg", metadata={"Date": None})
    return "data:image/svg+xml;base64," + base64.b64encode(buffer.getvalue()).decode("ascii")
