"""What a typed results file holds where its stage could not do its work, so that whatever reads the file can read
it.
"""

from __future__ import annotations

from pipeline.results.catalogue import written_by
from pipeline.results.comparison import Comparison
from pipeline.results.delta import Delta
from pipeline.results.model import Result
from pipeline.results.shares import Shares


def unusable(stage: str, name: str, subject: str, why: str) -> Result | None:
    """The file of that name that the stage writes about its subject (a test, a compound), with the reason alone.

    None for a file that has no model. A file under the subject's own name is found by its stage, which has no other.
    """
    for file in written_by(stage):
        if file.file in (name, "<test>.json"):
            heads: dict[str, str] = {key: subject for key in ("test", "compound") if key in file.model.model_fields}
            if file.model in (Delta, Shares):
                heads["a"], _, heads["b"] = subject.partition(" to ")  # as the stage calls its subject
            if file.model is Comparison:
                heads["a"], _, heads["b"] = subject.partition(" and ")
            return file.model.model_validate({**heads, "unusable": why})
    return None
