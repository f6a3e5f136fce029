"""All that the samples of one braking show of faults: in the order in which they are looked for."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pipeline.archive.block import Block
from pipeline.conditioning.corrections import Conditioned
from pipeline.conditioning.faults.against_torque import coarse_values, pressure_jumps, pressure_losses, torque_losses
from pipeline.conditioning.faults.cut_short import speed_jumps, torque_without_pressure
from pipeline.conditioning.faults.samples import braking_faults, reversed_torque
from pipeline.conditioning.faults.spikes import spikes, without_spikes
from pipeline.conditioning.segments import END_MARGIN
from pipeline.conditioning.survey import Braking
from pipeline.findings import Finding, finding

ONSET_PA = 1.0e5  # about where braking is taken to begin


def faults_within(
    b: Braking,
    c: Mapping[str, np.ndarray],
    span: slice,
    lead: int,
    block: Block | None,
    *,
    gap_periods: float,
    full_scales: Mapping[str, float],
) -> list[Finding]:
    """Time base, missing, held and cut values, ends and thermocouple of the braking `span` of a stretch.

    c: channel -> (n,) as recorded, SI; lead: row where its zero window begins; full_scales: of torque (N m), pressure
    (Pa).
    """
    kind = block.kind if block is not None else b.kind
    power = np.abs(c["torque"][span]) * c["speed"][span]
    done = power.sum()
    energy = float((np.nansum(power) if np.isnan(done) else done) * (b.step if np.isfinite(b.step) else 0.0))
    return braking_faults(
        c,
        span,
        lead,
        gap_periods=gap_periods,
        step=b.step,
        full_scales=full_scales,
        energy=energy,
        begins_inside=b.begins_inside,
        ends_inside=ends_short(b, block),
        moving=kind != "drag",
    )


def ends_short(b: Braking, block: Block | None) -> bool:
    """Whether a recording that ends with the brake applied ends before the braking had done what the schedule wants."""
    if not b.ends_inside or block is None:
        return b.ends_inside
    if block.kind == "drag":
        return block.duration is None or b.end_s - b.start_s < 0.95 * block.duration
    return b.speed_end > block.speed_end + END_MARGIN * block.speed_start


def unspiked(c: Mapping[str, np.ndarray], wide: slice, span: slice) -> tuple[np.ndarray, np.ndarray, list[Finding]]:
    """Torque and pressure of the rows `wide` with single wild samples bridged, each channel bridged within `span` a
    finding.

    c: channel -> (n,) of the stretch as recorded, SI; both arrays returned are as long as `wide`.
    """
    found, result = [], []
    for name in ("torque", "pressure"):
        values = c[name][wide]
        at = spikes(values)
        result.append(without_spikes(values, at))
        inside = at[(at + wide.start >= span.start) & (at + wide.start < span.stop)]
        if inside.size:
            time, worst = c["time"][wide], values[inside][np.argmax(np.abs(values[inside]))]
            found.append(
                finding(
                    "spike",
                    f"{inside.size} wild samples of {name} are left out",
                    channel=name,
                    start_s=float(time[inside[0]]),
                    end_s=float(time[inside[-1]]),
                    evidence={"samples": int(inside.size), "worst_si": float(worst)},
                )
            )
    return result[0], result[1], found


def faults_beside(
    b: Braking,
    c: Mapping[str, np.ndarray],
    span: slice,
    before: int,
    after: int,
    *,
    sign: float,
    lag: float | None,
    samples: Conditioned,
) -> list[Finding]:
    """Channels that contradict each other within the braking and beside it, up to its neighbours' rows `before` and
    `after`.

    c: channel -> (n,) as recorded, SI; sign: -1 where torque is negative in braking; lag: s, None where it is not
    known.
    """
    whole, all_rows = slice(before, after), c["time"].size
    # An array each, whose median step is kept: that of the whole stretch is known already.
    beside, time = c["time"] if (before, after) == (0, all_rows) else c["time"][whole], c["time"][span]
    found = torque_without_pressure(
        beside,
        sign * c["torque"][whole],
        start=b.start_s,
        end=b.end_s,
        plateau=sign * b.torque_plateau,
        lag=lag,
        threshold=min(ONSET_PA / b.plateau, 1.0) if b.plateau > 0 else 1.0,
        after=not b.ends_by_speed,
    )
    for seen in (pressure_jumps, pressure_losses):
        found += seen(time, c["pressure"][span], c["torque"][span], plateau=b.plateau)
    at_rest = sign * b.torque_rest.value if b.torque_rest else 0.0
    found += torque_losses(
        time,
        sign * c["torque"][span] - at_rest,
        c["pressure"][span] - (b.rest.value if b.rest else 0.0),
        plateau=b.plateau,
        full=sign * b.torque_plateau - at_rest,
    )
    found += coarse_values(c["pressure"][span], c["torque"][span])
    found += speed_jumps(beside, c["speed"][whole], start=b.start_s, end=b.end_s, first=b.speed_start, last=b.speed_end)
    return found + reversed_torque(samples.time, samples.unfiltered, start=b.start_s, end=b.end_s)
