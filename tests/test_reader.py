"""How spoken remarks are read, in tables: what is said, and what must follow from it.

`reading_tables.py` tells how a row is written. FOLLOWS shows each kind of cue at work; DOES_NOT_FOLLOW has
what looks like the cue, or stands beyond its reach, and must be read as if the cue were not there.
"""

from __future__ import annotations

from typing import get_args

import pytest
from reading_tables import NOTHING, assert_follows, rows, shipped

import voicenotes
from voicenotes.vocabulary.schema import CueKind

FOLLOWS: dict[str, list[tuple[str, str]]] = {
    "negation": [
        ("the way wipers are not torn", "axes.way_wipers ok"),
        ("the way covers aren't bent", "axes.way_covers ok"),
        ("the screen isn't cracked", "panel.screen ok"),
        ("the ball screws aren't bad", "axes.ball_screws ok"),
        ("the spindle doesn't growl", "spindle.noise ok"),
        ("the hydraulic pump never squeals", "hydraulics.pump ok"),
        ("I can't hear any noise from the spindle", "spindle.noise ok"),
        ("I didn't hear any rumble in the spindle", "spindle.noise ok"),
        ("nothing wrong with the ball screws", "axes.ball_screws ok"),
        ("I can't fault the turret indexing", "turret.indexing ok"),
        ("no sign of leaks at the hydraulic unit", "hydraulics.leaks ok"),
        ("the turret is free of crash marks", "turret.crash_marks ok"),
        ("hydraulic leaks none", "hydraulics.leaks ok"),
        ("the screen isn't readable", "panel.screen defect major"),
        ("the turret doesn't index", "turret.indexing defect critical"),
        ("the turret refuses to index", "turret.indexing defect critical"),
        ("the quill won't extend", "tailstock.quill defect major, has tailstock"),
        ("the coolant pump doesn't deliver", "coolant.pump defect"),
        ("no labels on it", "safety.labels defect"),
        ("the work light doesn't work", "enclosure.work_light defect, has work_light"),
        ("the hydraulic pump isn't not quiet", "hydraulics.pump ok"),
        ("no dents, cracks or rust on the way covers", "axes.way_covers ok"),
        ("no scoring or wear on the guideways", "axes.way_wear ok"),
        ("no cracks, fraying or glazing on the spindle belts", "drive.spindle_belts ok"),
        ("the way covers have no dents or cracks", "axes.way_covers ok"),
        ("the turret doesn't clunk or rotate when it clamps", "turret.clamping ok"),
    ],
    "pseudo": [
        ("the spindle is not only noisy but hot",
         "spindle.noise defect critical, spindle.temperature defect major"),
        ("not only is the spindle noisy, it gets hot",
         "spindle.noise defect critical, spindle.temperature defect major"),
        ("not only are the way wipers torn but the way covers are bent",
         "axes.way_wipers defect, axes.way_covers defect major"),
        ("not only is the encoder belt cracked but it's loose", "drive.encoder_belt defect major"),
        ("no wonder the spindle belts squeal", "drive.spindle_belts defect major"),
        ("no doubt the way covers are bent", "axes.way_covers defect major"),
    ],
    "hedge": [
        ("the spindle might be noisy", "spindle.noise unsure"),
        ("maybe the way wipers are torn", "axes.way_wipers unsure"),
        ("could be the encoder belt is worn", "drive.encoder_belt unsure"),
        ("the spindle belts are probably worn", "drive.spindle_belts unsure"),
        ("I'm not sure the turret indexes", "turret.indexing unsure"),
        ("not sure about the draw tube", "chuck.draw_tube unsure"),
        ("the hydraulic pump sounds like it might be worn", "hydraulics.pump unsure"),
        ("the way covers are bent, I think", "axes.way_covers unsure"),
        ("the spindle noise, hard to say", "spindle.noise unsure"),
    ],
    "plan": [
        ("need to look at the chuck", NOTHING),
        ("next I'll run the conveyor", NOTHING),
        ("you'd want to check the belts", NOTHING),
        ("let's check the way covers", NOTHING),
        ("remember to check the battery", NOTHING),
        ("need to check whether the way covers are bent", NOTHING),
        ("make sure the emergency stops work", NOTHING),
        ("check that the emergency stops work", NOTHING),
        ("the parameters still need to be backed up", NOTHING),
    ],
    "general": [
        ("these turrets usually clunk", NOTHING),
        ("turrets like this tend to clunk", NOTHING),
        ("these spindles often growl", NOTHING),
        ("if the belts squeal they need replacing", NOTHING),
    ],
    "hearsay": [
        ("the seller says the spindle is quiet", "spindle.noise ok told"),
        ("I was told the hydraulic pump is quiet", "hydraulics.pump ok told"),
        ("the spindle is quiet according to the owner", "spindle.noise ok told"),
        ("apparently the way covers are bent", "axes.way_covers defect told"),
        ("the way covers are bent, the seller says", "axes.way_covers defect told"),
        ("the seller says the spindle was rebuilt", NOTHING),
        ("the seller says there's no tailstock", NOTHING),
    ],
    "not_tested": [
        ("couldn't measure the end play", "spindle.end_play not_tested"),
        ("couldn't get to the encoder belt", "drive.encoder_belt not_tested"),
        ("I couldn't check the encoder belt because the guard is bolted on", "drive.encoder_belt not_tested"),
        ("no time to measure the backlash in X", "axes.backlash_x not_tested"),
        ("X backlash not measured, no indicator", "axes.backlash_x not_tested"),
        ("haven't tried the emergency stop", "safety.emergency_stop not_tested"),
        ("surface finish was not tested, no material", "test_cut.finish not_tested"),
    ],
    "present": [
        ("the door window has a crack", "enclosure.door_window defect major"),
        ("there's a dent in the left guard", "enclosure.sheet_metal defect"),
        ("I can hear a rumble in the spindle", "spindle.noise defect critical"),
        ("it has a bar feeder", "has bar_feeder"),
    ],
    "absent": [
        ("there's no tailstock", "no tailstock"),
        ("the tailstock isn't fitted", "no tailstock"),
        ("tailstock not fitted", "no tailstock"),
        ("it has not got a tailstock", "no tailstock"),
        ("the machine has no steady rest", "no steady_rest"),
    ],
    "history": [
        ("the belts were replaced last spring", NOTHING),
        ("the hydraulic pump used to leak", NOTHING),
        ("the way covers were bent at one time", NOTHING),
        ("the hydraulic hoses were leaking last year", NOTHING),
        ("the chuck jaws had been replaced", NOTHING),
    ],
    "circumstance": [
        ("the turret clunks when it clamps", "turret.clamping defect major"),
        ("the spindle growls when it's warm", "spindle.noise defect critical"),
        ("when it's warm the spindle growls", "spindle.noise defect critical"),
        ("the turret indexes once it's warm", "turret.indexing ok"),
        ("the screen flickers when it's warm", "panel.screen defect major"),
    ],
    "retract": [
        ("the way covers are bent. scratch that.", NOTHING),
        ("the way covers are bent. Scratch that, the way covers are straight.", "axes.way_covers ok"),
        ("the way wipers are torn. the way covers are bent. scratch that.", "axes.way_wipers defect"),
        ("the way covers are bent. I take that back.", NOTHING),
    ],
    "correct": [
        ("the spindle is noisy, no wait, the spindle is quiet", "spindle.noise ok"),
        ("the hydraulic pump is quiet. no wait, the hydraulic pump is noisy", "hydraulics.pump defect major"),
        ("the screen is cracked. correction, the door window is cracked",
         "enclosure.door_window defect major"),
    ],
    "breaker": [
        ("the way covers are bent but the way wipers are fine",
         "axes.way_covers defect major, axes.way_wipers ok"),
        ("the door is stiff but the door window is clear",
         "enclosure.door_travel defect, enclosure.door_window ok"),
        ("the screen is fine but the keys are worn out", "panel.screen ok, panel.keys defect"),
        ("the spindle is quiet although the spindle belts squeal",
         "spindle.noise ok, drive.spindle_belts defect major"),
        ("the hydraulic oil is milky however the hydraulic pump is quiet",
         "hydraulics.oil_condition defect major, hydraulics.pump ok"),
        ("the way covers are fine except the wipers are torn", "axes.way_covers ok, axes.way_wipers defect"),
        ("no leaks at the hydraulic unit but the hydraulic oil is milky",
         "hydraulics.leaks ok, hydraulics.oil_condition defect major"),
    ],
    "marker": [
        ("Moving on to the hydraulics. No leaks.", "hydraulics.leaks ok"),
        ("Over to the hydraulics. The pump is quiet. No leaks.", "hydraulics.pump ok, hydraulics.leaks ok"),
        ("On to the tailstock. No leaks.", "tailstock.quill ok, has tailstock"),
        ("On to the electrical cabinet. It's clean and dry inside.", "electrical.cleanliness ok"),
    ],
    "softener": [
        ("the way covers are slightly bent", "axes.way_covers defect minor"),
        ("the hydraulic pump is slightly noisy", "hydraulics.pump defect minor"),
    ],
    "strengthener": [
        ("the way covers are badly bent", "axes.way_covers defect major"),
        ("the guideways are badly scored", "axes.way_wear defect critical"),
    ],
    "class_critical": [
        ("the way covers are bent. that's a deal breaker.", "axes.way_covers defect critical"),
        ("the way wipers are torn, that's dangerous", "axes.way_wipers defect critical"),
    ],
    "class_major": [
        ("the way wipers are torn, that's major", "axes.way_wipers defect major"),
        ("the foot switch sticks, call it major", "chuck.foot_switch defect major"),
    ],
    "class_minor": [
        ("the way covers are bent, only cosmetic", "axes.way_covers defect minor"),
        ("the encoder belt is cracked, call it minor", "drive.encoder_belt defect minor"),
        ("the foot switch sticks, a nuisance", "chuck.foot_switch defect minor"),
    ],
    "link": [
        ("dents on the way covers", "axes.way_covers defect"),
        ("scoring on the guideways", "axes.way_wear defect"),
    ],
    "now": [
        ("the hydraulic pump was noisy but now it's quiet", "hydraulics.pump ok"),
        ("the spindle belts were slack, at present they're tight", "drive.spindle_belts ok"),
        ("the screen was fine and now it's dead", "panel.screen defect major"),
    ],
    "comparison": [
        ("the way covers are straight, unlike the bent ones on the last lathe", "axes.way_covers ok"),
        ("the hydraulic oil is clear as opposed to milky", "hydraulics.oil_condition ok"),
        ("the hydraulic pump is quiet, nothing like the last one that squealed", "hydraulics.pump ok"),
    ],
    "exception": [
        ("the axes are all fine except the way covers", "axes.way_covers defect major"),
        ("everything works except for the handwheel", "panel.handwheel defect minor"),
        ("the emergency stops work, all but one", "safety.emergency_stop defect critical"),
    ],
    "sweep": [
        ("everything on the panel is fine", NOTHING),
        ("the hydraulic oil is milky, the rest is fine", "hydraulics.oil_condition defect major"),
        ("all the other checks on the turret are fine", NOTHING),
    ],
}  # fmt: skip

DOES_NOT_FOLLOW: dict[str, list[tuple[str, str]]] = {
    "negation": [
        ("there's no rain today, and the way covers are bent", "axes.way_covers defect major"),
        ("the spindle nose is damaged", "spindle.nose defect major"),
        ("I have no time for tea. The spindle growls.", "spindle.noise defect critical"),
        ("the way wipers are torn, no two ways about it", "axes.way_wipers defect"),
    ],
    "pseudo": [
        ("the way covers are not bent", "axes.way_covers ok"),
        ("there's no play in the quill", "tailstock.quill ok, has tailstock"),
    ],
    "hedge": [
        ("the way covers are bent, definitely", "axes.way_covers defect major"),
        ("I'm sure the turret indexes", "turret.indexing ok"),
        ("I'm not sure about the weather. The spindle is quiet.", "spindle.noise ok"),
        ("in may the days are long, and the way covers are bent", "axes.way_covers defect major"),
    ],
    "plan": [
        ("I checked the way covers and they are straight", "axes.way_covers ok"),
        ("I looked at the way covers, they're bent", "axes.way_covers defect major"),
        ("tested the emergency stop and it works", "safety.emergency_stop ok"),
        ("I'll have a bite to eat. The way wipers are torn.", "axes.way_wipers defect"),
    ],
    "general": [
        ("this turret clunks", "turret.clamping defect major"),
        ("the hydraulic pump sounds normal", "hydraulics.pump ok"),
        ("the spindle growls all the time", "spindle.noise defect critical"),
    ],
    "hearsay": [
        ("the seller made a coffee. The spindle is quiet.", "spindle.noise ok"),
        ("the seller says hello. The way covers are bent.", "axes.way_covers defect major"),
        ("I say the spindle is quiet", "spindle.noise ok"),
    ],
    "not_tested": [
        ("I tried the emergency stop and it works", "safety.emergency_stop ok"),
        ("I couldn't find a chair. The way covers are bent.", "axes.way_covers defect major"),
        ("I had no time for lunch. The quill extends.", "tailstock.quill ok, has tailstock"),
    ],
    "present": [
        ("the way covers", NOTHING),
        ("the turret", NOTHING),
        ("the spindle has a forty horse motor", NOTHING),
        ("there's a cat asleep on the bench", NOTHING),
    ],
    "absent": [
        ("no leaks at the tailstock", "tailstock.quill ok, has tailstock"),
        ("the quill won't extend", "tailstock.quill defect major, has tailstock"),
        ("the steady rest doesn't grip", "steady_rest.grip defect, has steady_rest"),
        ("there's no kettle here", NOTHING),
    ],
    "history": [
        ("the encoder belt needs replacing", "drive.encoder_belt defect major"),
        ("I was here last year. The spindle growls.", "spindle.noise defect critical"),
        ("the way covers have been bent", "axes.way_covers defect major"),
    ],
    "circumstance": [
        ("if it growls when it's warm you have a problem", NOTHING),
        ("the way covers are bent. I had tea while it was warm.", "axes.way_covers defect major"),
    ],
    "retract": [
        ("the door window is scratched", "enclosure.door_window defect"),
        ("the way covers are bent. I'll scratch my head later.", "axes.way_covers defect major"),
        ("the way covers are bent. don't forget the forklift.", "axes.way_covers defect major"),
    ],
    "correct": [
        ("the way covers are bent. can't wait for lunch.", "axes.way_covers defect major"),
        ("the spindle is quiet. the spindle belts are tight.", "spindle.noise ok, drive.spindle_belts ok"),
        ("the hydraulic oil level is correct", "hydraulics.oil_level ok"),
    ],
    "breaker": [
        ("no dents and no rust on the way covers", "axes.way_covers ok"),
        ("the screen and the keys are fine", "panel.screen ok, panel.keys ok"),
    ],
    "marker": [
        ("No leaks.", NOTHING),
        ("right next to the wall the way covers are bent", "axes.way_covers defect major"),
    ],
    "softener": [
        ("There is light rain outside. The way covers are bent.", "axes.way_covers defect major"),
        ("the way covers are bent. The rain is a little lighter.", "axes.way_covers defect major"),
    ],
    "strengthener": [
        ("the way covers are completely straight", "axes.way_covers ok"),
        ("the way wipers are torn", "axes.way_wipers defect minor"),
    ],
    "class_critical": [
        ("The kettle is dangerous. The way covers are bent.", "axes.way_covers defect major"),
        ("the way covers are bent. The kettle is broken. Dangerous.", "axes.way_covers defect major"),
    ],
    "class_major": [
        ("no major dents on the way covers", "axes.way_covers ok"),
        ("Lunch was expensive. The way wipers are torn.", "axes.way_wipers defect minor"),
    ],
    "class_minor": [
        ("no minor dents on the way covers", "axes.way_covers ok"),
        ("It was a minor road. The way covers are bent.", "axes.way_covers defect major"),
    ],
    "link": [
        ("the dents of the van. The way covers are straight.", "axes.way_covers ok"),
    ],
    "now": [
        ("the way covers are bent. Today is Tuesday.", "axes.way_covers defect major"),
        ("the hydraulic pump is noisy, the gauges are fine now",
         "hydraulics.pump defect major, hydraulics.gauges ok"),
        ("right now the screen is dead", "panel.screen defect major"),
    ],
    "comparison": [
        ("I don't like the weather. The way covers are bent.", "axes.way_covers defect major"),
        ("the spindle is noisier than I'd like", "spindle.noise defect critical"),
        ("the spindle growls more than it whines", "spindle.noise defect critical"),
    ],
    "exception": [
        ("the spindle belts are exceptionally loose", "drive.spindle_belts defect major"),
        ("I had nothing to eat bar an apple. The way covers are bent.", "axes.way_covers defect major"),
        ("the gauges agree at forty bar one after the other", "hydraulics.gauges ok"),
    ],
    "sweep": [
        ("every emergency stop works", "safety.emergency_stop ok"),
        ("the steady rest grips", "steady_rest.grip ok, has steady_rest"),
        ("I gave the rest to charity. The spindle is quiet.", "spindle.noise ok"),
    ],
}  # fmt: skip

# What the words are about, when the remark itself does not say.
CARRIED_OVER = [
    ("Look at the spindle belts. It squeals.", "drive.spindle_belts defect major"),
    ("The spindle belts. They squeal.", "drive.spindle_belts defect major"),
    ("The turret indexes. It clunks when it clamps.", "turret.indexing ok, turret.clamping defect major"),
    ("Right, the turret. It clunks when it clamps.", "turret.clamping defect major"),
    ("It squeals.", NOTHING),
    ("it clunks when it clamps", NOTHING),
]

# Read wrongly today; each fails here once it is read right.
KNOWN_WRONG = [
    ("no tailstock and the way covers are bent", "no tailstock, axes.way_covers defect major"),
]


@pytest.mark.parametrize(("say", "expected"), rows(FOLLOWS))
def test_cue_at_work(say: str, expected: str) -> None:
    assert_follows(say, expected, shipped())


@pytest.mark.parametrize(("say", "expected"), rows(DOES_NOT_FOLLOW))
def test_no_cue_or_beyond_its_reach(say: str, expected: str) -> None:
    assert_follows(say, expected, shipped())


@pytest.mark.parametrize(("say", "expected"), CARRIED_OVER)
def test_what_it_refers_to(say: str, expected: str) -> None:
    assert_follows(say, expected, shipped())


@pytest.mark.xfail(reason="known misreading", strict=True)
@pytest.mark.parametrize(("say", "expected"), KNOWN_WRONG)
def test_known_misreading(say: str, expected: str) -> None:
    assert_follows(say, expected, shipped())


def test_every_kind_of_cue_has_rows_on_both_sides() -> None:
    kinds = {cue.kind for cue in shipped().cues}
    assert kinds == set(get_args(CueKind))
    assert set(FOLLOWS) == kinds
    assert set(DOES_NOT_FOLLOW) == kinds


def test_a_check_not_tested_keeps_its_reason() -> None:
    record = voicenotes.read_text("couldn't measure the end play, no bar to push on", shipped())
    quotes = " ".join(evidence.quote for evidence in record.check("spindle.end_play").evidence)
    assert quotes == "couldn't measure the end play, no bar to push on"
    why = {gap.id: gap.why for gap in record.gaps}
    assert why["spindle.end_play"].startswith("not tested")
    assert "no bar to push on" in why["spindle.end_play"]


@pytest.mark.parametrize(
    "say", ["The Way Covers Are BENT!", "the way covers are bent", "  the way covers are\nbent .  "]
)
def test_case_and_punctuation_do_not_decide(say: str) -> None:
    assert_follows(say, "axes.way_covers defect major", shipped())
