"""The air about a disc on the rig, as far as a test recorded it."""

import polars as pl

PLAUSIBLE_C = (-30.0, 60.0)  # of air in a test cell
WARMER_K = 5.0  # than the coldest start: what two sensors may differ by


def recorded_ambient(stops: pl.DataFrame) -> float | None:
    """Median recorded ambient of a test's stops in degC; None where none was recorded or it cannot be air.

    The air is no warmer than the disc's coldest start: a sensor that says so reads something else.
    """
    if "ambient_c" not in stops.columns:
        return None
    middle, coldest = stops["ambient_c"].median(), stops["temperature_initial_c"].min()
    if not isinstance(middle, int | float) or not PLAUSIBLE_C[0] <= middle <= PLAUSIBLE_C[1]:
        return None
    return None if isinstance(coldest, int | float) and middle > coldest + WARMER_K else float(middle)
