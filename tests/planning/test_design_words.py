"""What a design's words say where the card does not carry an answer."""

from types import SimpleNamespace

from pipeline.archive.card import load_card
from pipeline.cli import plan
from pipeline.planning.archive import Archive
from tests.conftest import REPO


def test_wear_that_a_card_does_not_carry_is_undetermined_and_ends_no_plan():
    card = load_card(REPO / "rig_samples" / "archive" / "m4-2403-a")
    bare = card.model_copy(update={"brake": card.brake.model_copy(update={"friction_ring": None})})
    given = SimpleNamespace(read_after=None, reading_u_um=3.0, mu=0.4)
    assert "undetermined, because" not in plan._laws_or_why(card, given).splitlines()[0]
    assert plan._laws_or_why(bare, given).startswith(
        "wear laws that the readings could tell apart: undetermined, because test.yaml: the planned wear cannot be worked out"
    )


def test_one_specimen_of_one_batch_is_counted_in_words():
    archive = SimpleNamespace(
        specimens=lambda quantity: {"M4-1": 1},
        precision=None,
        batches=SimpleNamespace(specimen_scatter={}),
    )
    assert str(Archive.scatter(archive, "mu")).startswith("1 specimen in 1 batch, none of which has two")
