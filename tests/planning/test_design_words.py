"""What a design's words say where the card does not carry an answer."""

from types import SimpleNamespace

from pipeline.archive.card import load_card
from pipeline.cli import plan
from pipeline.planning.archive import Archive
from pipeline.planning.plan import Plan, Run
from pipeline.planning.words import words
from tests.conftest import REPO


def test_wear_that_a_card_does_not_carry_is_undetermined_and_ends_no_plan():
    card = load_card(REPO / "rig_samples" / "archive" / "m4-2403-a")
    bare = card.model_copy(update={"brake": card.brake.model_copy(update={"friction_ring": None})})
    given = SimpleNamespace(read_after=None, reading_u_um=3.0, mu=0.4)
    assert "undetermined, because" not in plan._laws_or_why(card, given).splitlines()[0]
    assert plan._laws_or_why(bare, given).startswith(
        "wear laws that the readings could tell apart: undetermined, because test.yaml: the planned wear cannot be worked out"
    )


def test_blocks_are_offered_only_where_a_run_of_them_answers():
    def said(specimens: int | None) -> str:
        run = Run(specimens, specimens and 60, None, "nothing of it can be answered")
        return words(Plan("Marram 4", None, "is it?", "own", {"as found": run}, (), (), blocks="- {}"))

    assert "ready for test.yaml" in said(2)
    assert "undetermined, because nothing of it can be answered" in said(None) and "test.yaml" not in said(None)


def test_one_specimen_of_one_batch_is_counted_in_words():
    archive = SimpleNamespace(
        specimens=lambda quantity: {"M4-1": 1},
        precision=None,
        batches=SimpleNamespace(specimen_scatter={}),
    )
    assert str(Archive.scatter(archive, "mu")).startswith("1 specimen in 1 batch, none of which has two")
