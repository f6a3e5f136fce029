"""A rig's dated events: rigs/<rig>.yaml."""

from __future__ import annotations

import datetime
from typing import Annotated, Literal

from pydantic import BeforeValidator

from pipeline.inputs.model import Model
from pipeline.inputs.scalars import Text


class RigEvent(Model):
    date: datetime.date
    what: Literal["rebuild", "calibration", "sensor"]
    note: Annotated[str, BeforeValidator(lambda v: "" if v is None else str(v))] = ""


class Rig(Model):
    rig: Text
    reference_compound: Text | None = None
    events: tuple[RigEvent, ...] = ()
