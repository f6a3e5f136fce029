"""`stopsheet design`: what a planned test's wear readings could tell, before the rig runs."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path


def design(*, test: Path, read_after: list[str] | None, reading_u_um: float, mu: float, as_json: bool) -> None:
    from pipeline.archive.card import load_card
    from pipeline.results import plain
    from pipeline.wear.planned import check_design, words
    from pipeline.wear.planned_stops import Assumed

    found = check_design(load_card(test), read_after=read_after, reading_u_um=reading_u_um, assumed=Assumed(mu=mu))
    print(json.dumps(plain(asdict(found)), indent=1) if as_json else words(found))
