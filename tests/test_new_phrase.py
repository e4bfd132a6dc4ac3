"""The name of a thing that the pack doesn't know, found in a remark. Labelled by hand, no source."""

from __future__ import annotations

import pytest

from voicenotes.findings.read import transcript_of_text
from voicenotes.language.new_phrase import naming_words, new_phrase
from voicenotes.vocabulary.load import load_pack
from voicenotes.vocabulary.schema import Pack

CHECK = "coolant.hoses"


@pytest.fixture(scope="module")
def lathe() -> Pack:
    return load_pack("cnc_lathe")


@pytest.mark.parametrize(
    ("said", "name"),
    [
        ("The drain cock weeps.", "drain cock"),
        ("the drain cocks are cracked", "drain cocks"),
        ("quill clamp lever is snapped off", "quill clamp lever"),  # a term, and what the term lacks
        ("the footwell grating is bent", "footwell grating"),  # "grates" judges, but not here
        ("the sludge trap is full", "sludge trap"),  # sludge is unwanted, but not here
        ("catch pan has a hole in it", "catch pan"),
        ("the knurled collar on the cross slide is cracked", "knurled collar"),  # not where it is
        ("the gaiter on the cable tray is torn right through", "gaiter"),
        ("in the footwell the grommet is gone", "grommet"),  # a place goes last
        ("by the window the big old drain cock dribbles onto the floor", "drain cock"),  # no big, no dribbles
        ("gaiter's split", "gaiter"),
        ("spindle widget is cracked", "spindle widget"),
        ("no cracks in the trunnion blocks", "trunnion blocks"),
        ("didn't check the trunnion", "trunnion"),
        ("might be the shear pin", "shear pin"),
        ("he says the trunnion is new", "trunnion"),
        ("I saw the trunnion and the frobnitz are both cracked", "trunnion"),  # the first of two
        ("the drain cock is at forty degrees", "drain cock"),
        ("THE DRAIN COCK. WEEPS", "drain cock"),
        # all words known, together no term
        ("lube pump motor is burnt out", "lube pump motor"),
        ("the turret door is cracked", "turret door"),
        ("the door spindle has scorch marks on its circuit board", "door spindle"),
    ],
)
def test_name(lathe: Pack, said: str, name: str) -> None:
    assert new_phrase(transcript_of_text(said), lathe, CHECK).phrase == name


@pytest.mark.parametrize(
    ("said", "check", "why"),
    [
        ("my wife called about dinner", CHECK, "everyday English"),
        ("the dinner is fine", CHECK, "everyday English"),
        ("weird bit there", CHECK, "everyday English"),
        ("the spindle growls", CHECK, "the pack knows all its words"),  # of another check, but known
        ("the coolant tank and the chuck are fine", CHECK, "the pack knows all its words"),
        ("the thing is broken", CHECK, "the pack knows all its words"),
        ("coolant hose is perished", CHECK, 'name the check already: "coolant hose"'),
        ("the frobnitz on the coolant hose is cracked", CHECK, 'name the check already: "coolant hose"'),
        ("frobnitz wobbulator gribble sprocket flange thing is loose", CHECK, "no few words"),
        ("", CHECK, "nothing is said"),
        ("four seven nine", CHECK, "the pack knows all its words"),
    ],
)
def test_no_name(lathe: Pack, said: str, check: str, why: str) -> None:
    found = new_phrase(transcript_of_text(said), lathe, check)
    assert found.phrase is None
    assert why in found.why_not


@pytest.mark.parametrize(
    ("said", "judged"),
    [
        ("the drain cock is cracked", True),
        ("the drain cock weeps", True),
        ("the drain cock wobbulates", False),
        ("drain cock", False),
        ("no cracks in the drain cock", True),
        ("drain cock is two thou out", True),
    ],
)  # fmt: skip
def test_whether_it_is_judged_by_words_that_the_pack_knows(lathe: Pack, said: str, judged: bool) -> None:
    assert new_phrase(transcript_of_text(said), lathe, CHECK).judged is judged


def test_words_beside_names_stand_in_one_list_alone() -> None:
    """A word that leads to a name is no describing word, and what makes a place doesn't only lead."""
    naming = naming_words()
    assert not naming.describing & (naming.leading | naming.placing)
    assert not naming.leading & naming.placing
