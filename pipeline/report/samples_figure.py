"""One stop at the recording's own rate: what was recorded, what became of it, and where mu is averaged."""

import plotly.graph_objects as go
import polars as pl

from pipeline.report import frame, palette

#: title, unit, conditioned column, recorded column
PANELS = (
    ("Friction coefficient µ", "", "mu", None),
    ("Torque", "N m", "torque_nm", "torque_recorded_nm"),
    ("Pressure", "bar", "pressure_bar", "pressure_recorded_bar"),
    ("Speed", "rpm", "speed_rpm", None),
    ("Disc temperature", "°C", "disc_temperature_c", None),
)
SHARE, GAP = 0.17, 0.205  # of the height: a panel, and from one to the next


def stop_figure(samples: pl.DataFrame) -> go.Figure:
    """Five panels over the time from brake start; the evaluation window shaded.

    samples: (n,) columns time_s and those of PANELS in their units, in_window.
    """
    fig = frame.figure(
        frame.axis("Time from brake start", "s", anchor=f"y{len(PANELS)}"),
        frame.axis("µ"),
        height=720,
        margin={"l": 90, "r": 48, "t": 40, "b": 56},
    )
    time = frame.trimmed(samples["time_s"])
    for index, (title, unit, conditioned, recorded) in enumerate(PANELS):
        axis, top = f"y{index + 1}" if index else "y", 1 - index * GAP
        words = {"text": f"{title}<br>({unit})" if unit else "µ", "font": {"size": 11.5}}
        panel = {**frame.axis(title), "domain": [max(top - SHARE, 0), top], "anchor": "x", "title": words}
        fig.update_layout({f"yaxis{axis[1:]}": panel})
        for column, name, line in (
            (recorded, "as recorded", {"color": palette.MUTED, "width": 0.8}),
            (conditioned, title if recorded is None else "conditioned", {"color": palette.ACCENT, "width": 1.8}),
        ):
            if column is not None:
                fig.add_scatter(
                    x=time,
                    y=frame.trimmed(samples[column]),
                    yaxis=axis,
                    mode="lines",
                    name=name,
                    line=line,
                    showlegend=title == "Torque",
                    hovertemplate="%{x:.3f} s: %{y:.4g}" + (f" {unit}" if unit else "") + "<extra></extra>",
                )
    inside = samples.filter(pl.col("in_window"))["time_s"]
    if inside.len():
        fig.add_vrect(x0=inside[0], x1=inside[-1], fillcolor=palette.BAND, line_width=0, layer="below")
    return fig
