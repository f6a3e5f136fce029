"""Curve, window, verdict and landmarks of a compound by its law, where the law is used."""

from __future__ import annotations

from dataclasses import replace

from pipeline.face.of_compound import Found
from pipeline.friction import result, tested, verdict
from pipeline.friction.curve_window import curve_points, window_found
from pipeline.friction.map import FrictionMap
from pipeline.friction.transition import landmarks
from pipeline.friction.wanted import Wanted
from pipeline.method.friction import Friction
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.model import renewed

BATCHES = "each batch's own curve and window are the map's"


def by_law(
    found: CompoundFriction, law: Found, map_: FrictionMap | None, settings: Friction, wanted: Wanted
) -> CompoundFriction:
    """The compound's friction with its law; what rests on a curve is the law's where the law is used, else stays the map's."""
    if law.curve is None or map_ is None:
        return renewed(found, face_law=law.result)
    curve, drawn = law.curve
    # the law's scatter multiplies mu, whatever the map's effects do
    as_log = replace(map_, link="log")
    own = window_found(as_log, curve, drawn, settings, wanted)
    answers = verdict.by_temperature(
        curve, drawn, "log", own.band, coverage=settings.coverage, confidence=settings.confidence
    )
    at = tested.reference_conditions(map_)
    notes = [*law.result.notes, BATCHES] if found.by_batch else law.result.notes
    changed = renewed(
        found,
        face_law=renewed(law.result, notes=notes),
        window_by="law",
        map_window=found.window,
        window=own.window,
        window_reason=own.reason,
        window_estimate=own.estimate,
        wanted_from=own.source,
        wanted_mu=list(own.band),
        # asked for at conditions of its own, the answer is the map's there
        holds=found.holds if wanted.at is not None else result.holds(curve, answers, wanted),
        curve=curve_points(curve, answers, tested.along(map_, curve.temperature, at)),
        extrapolated=tested.of_curve(map_, curve.temperature, at, own.window),
        landmarks=landmarks(curve, drawn, settings.confidence),
    )
    return renewed(changed, sides=result.of_sides(map_, changed, wanted))
