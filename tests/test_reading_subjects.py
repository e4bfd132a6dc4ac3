"""What a judgement is about, in tables: whose thing, who does it, lists, "it", the station, what is fitted.

Each rule has remarks that it decides and remarks that look alike and must be left alone. The shipped pack
gives most rows; the small pack shows that a rule knows nothing of this machine.
"""

from __future__ import annotations

import pytest
from reading_tables import NOTHING, Rule, assert_follows, assert_rule, rows_of_rules, shipped
from small_pack import write_pack

import voicenotes
from voicenotes.model import Transcript, Word
from voicenotes.vocabulary.schema import Pack

RULES: dict[str, Rule] = {
    "a thing of his own or of something else": Rule(
        acts=[
            ("my light is dead, the work light is fine", "enclosure.work_light ok, has work_light"),
            ("our coolant pump is blocked", NOTHING),
            ("the meter's battery is flat", NOTHING),
            ("the van's door is stiff", NOTHING),
            ("the coolant pump on the grinder is blocked", NOTHING),
        ],
        leaves_alone=[
            ("the spindle's quiet", "spindle.noise ok"),
            ("the machine's screen is cracked", "panel.screen defect major"),
            ("their coolant pump is blocked", "coolant.pump defect minor"),
            ("the coolant pump on the machine is blocked", "coolant.pump defect minor"),
            ("the coolant pump is blocked, the grinder is next door", "coolant.pump defect minor"),
            ("in my opinion the way covers are bent", "axes.way_covers defect major"),
            ("my word, the spindle growls", "spindle.noise defect critical"),
        ],
    ),
    "what a person does judges nothing": Rule(
        acts=[
            ("I indexed the turret", NOTHING),
            ("we jogged the tailstock back", NOTHING),
            ("I've just run the chip conveyor", NOTHING),
            ("shut the door behind you", NOTHING),
            ("run the conveyor for two minutes", NOTHING),
            ("ran the conveyor for ten minutes", NOTHING),
        ],
        leaves_alone=[
            ("the turret indexes", "turret.indexing ok"),
            ("the chuck clamped", "chuck.clamping ok"),
            ("the conveyor ran for ten minutes", "chips.forward ok, has chip_conveyor"),
            ("I indexed the turret and it indexes fine", "turret.indexing ok"),
            ("I indexed the turret and it clunked", "turret.clamping defect major"),
            ("I ran the conveyor and it jammed", "chips.forward defect major, has chip_conveyor"),
            ("close it and the door drags", "enclosure.door_travel defect minor"),
        ],
    ),
    "what a person could not do is not tested": Rule(
        acts=[
            ("the quill I couldn't extend", "tailstock.quill not_tested"),
            ("the live tools I couldn't run", "live_tools.running not_tested"),
            ("we couldn't extend the quill", "tailstock.quill not_tested"),
        ],
        leaves_alone=[
            ("the door I couldn't budge", "enclosure.door_travel defect minor"),
            ("the quill couldn't extend", "tailstock.quill defect major, has tailstock"),
        ],
    ),
    "the thing named after the judgement": Rule(
        acts=[
            ("it's smooth, that X axis", "axes.x_travel ok"),
            ("not bad, the turret indexing", "turret.indexing ok"),
            ("they're cracked, those spindle belts", "drive.spindle_belts defect major"),
            ("it growls, the spindle", "spindle.noise defect critical"),
        ],
        leaves_alone=[
            ("it's lovely weather, the door is stiff", "enclosure.door_travel defect minor"),
            ("the screen is cracked, the door window is fine",
             "panel.screen defect, enclosure.door_window ok"),
            ("it's cracked, the screen, and the keys are fine", "panel.screen defect, panel.keys ok"),
        ],
    ),
    "a pronoun with its own verb starts a remark": Rule(
        acts=[
            ("the spindle has no rumble it stops smoothly", "spindle.noise ok, spindle.stopping ok"),
            ("the turret indexes fine it clunks when it clamps",
             "turret.indexing ok, turret.clamping defect major"),
            ("the hydraulic pump is quiet it holds pressure", "hydraulics.pump ok, hydraulics.pressure ok"),
        ],
        leaves_alone=[
            ("the spindle is as quiet as it should be", "spindle.noise ok"),
            ("the door window is cracked where it was hit", "enclosure.door_window defect major"),
            ("the door is stiff when it closes", "enclosure.door_travel defect minor"),
        ],
    ),
    "a list closed by all or both": Rule(
        acts=[
            ("overrides, handwheel, keys: all work", "panel.overrides ok, panel.handwheel ok, panel.keys ok"),
            ("way covers, way wipers: both fine", "axes.way_covers ok, axes.way_wipers ok"),
            ("screen, keys, handwheel, all fine", "panel.screen ok, panel.keys ok, panel.handwheel ok"),
            ("screen keys handwheel all fine", "panel.screen ok, panel.keys ok, panel.handwheel ok"),
            ("spindle belts encoder belt both cracked",
             "drive.spindle_belts defect, drive.encoder_belt defect"),
            ("x travel z travel and homing all fine", "axes.x_travel ok, axes.z_travel ok, axes.homing ok"),
        ],
        leaves_alone=[
            ("screen fine keys worn out", "panel.screen ok, panel.keys defect minor"),
            ("door window screen", NOTHING),
        ],
    ),
    "a part at the station where he stands": Rule(
        acts=[
            ("Over to the hydraulics. The hoses weep.", "hydraulics.leaks defect major"),
            ("Over to the coolant. The hoses weep.", "coolant.hoses defect minor"),
            ("Over to the hydraulics. The hoses are knackered.", "hydraulics.leaks defect major"),
            ("Over to the enclosure. The guards are fine.", "enclosure.sheet_metal ok"),
            ("Over to the hydraulics. The tank is full.", "hydraulics.oil_level ok"),
            ("Over to the electrical cabinet. Clean and dry.", "electrical.cleanliness ok"),
        ],
        leaves_alone=[
            ("Clean and dry.", NOTHING),
            ("The hoses are knackered.", NOTHING),
            ("Over to the hydraulics. The coolant hoses weep.", "coolant.hoses defect minor"),
            ("Over to the hydraulics. The screen is cracked.", "panel.screen defect major"),
        ],
    ),
    "the station of what the sentence names": Rule(
        acts=[
            ("the pump is dead, the hydraulic gauges work", "hydraulics.pump defect, hydraulics.gauges ok"),
            ("the tank is fine and the coolant hoses are tight", "coolant.tank ok, coolant.hoses ok"),
            ("the motor is fine and the encoder belt is cracked",
             "drive.spindle_motor ok, drive.encoder_belt defect major"),
        ],
        leaves_alone=[
            ("Over to the coolant. The pump is dead and the hydraulic oil is milky.",
             "coolant.pump defect minor, hydraulics.oil_condition defect major"),
            ("The motor is fine. The encoder belt is cracked.", "drive.encoder_belt defect major"),
        ],
    ),
    "a check spoken of just before": Rule(
        acts=[
            ("The screen is readable. The panel is fine.", "panel.screen ok"),
            ("The quill extends. The tailstock is fine.", "tailstock.quill ok, has tailstock"),
            ("The turret indexes. The turret is fine.", "turret.indexing ok"),
        ],
        leaves_alone=[
            ("The tailstock is fine.", NOTHING),
        ],
    ),
    "it, of something named up to three remarks before": Rule(
        acts=[
            ("The spindle belts are cracked. The screen is fine. They squeal.",
             "drive.spindle_belts defect major, panel.screen ok"),
            ("The chuck clamps. The foot switch sticks. It grips well.",
             "chuck.clamping ok, chuck.foot_switch defect minor"),
            ("The quill extends. The door is stiff. It retracts too.",
             "tailstock.quill ok, enclosure.door_travel defect minor, has tailstock"),
        ],
        leaves_alone=[
            ("There's no tailstock. It's stiff.", "no tailstock"),
            ("It retracts.", NOTHING),
        ],
    ),
    "yes or no behind a fitting": Rule(
        acts=[
            ("live tools yes, y axis no", "has live_tools, no y_axis"),
            ("c axis and y axis no", "no c_axis, no y_axis"),
            ("steady rest, nope", "no steady_rest"),
        ],
        leaves_alone=[
            ("tailstock no idea", NOTHING),
            ("tailstock no leaks", "tailstock.quill ok, has tailstock"),
            ("bar feeder no alarms", "bar_feeder.interface ok, has bar_feeder"),
            ("the tailstock", NOTHING),
        ],
        mark="(answer)",
    ),
    "a judgement of a fitting says that it is there": Rule(
        acts=[
            ("no leaks at the tailstock", "tailstock.quill ok, has tailstock"),
            ("the tailstock is stiff", "tailstock.travel defect major, has tailstock"),
            ("neither the work light nor the door interlock works",
             "enclosure.work_light defect, safety.door_interlock defect, has work_light"),
        ],
        leaves_alone=[
            ("couldn't test the tailstock", NOTHING),
            ("next to the tailstock there's a bench", NOTHING),
        ],
    ),
    "neither, none of, nothing": Rule(
        acts=[
            ("neither the screen nor the keys work", "panel.screen defect major, panel.keys defect minor"),
            ("neither the way covers nor the way wipers are torn", "axes.way_covers ok, axes.way_wipers ok"),
            ("none of the emergency stops work", "safety.emergency_stop defect critical"),
            ("not one of the keys works", "panel.keys defect minor"),
            ("no coolant leaking onto the floor", "enclosure.coolant_leaks ok"),
            ("nothing wrong with the door", "enclosure.door_travel ok"),
            ("the hydraulic pump doesn't squeal or growl", "hydraulics.pump ok"),
        ],
        leaves_alone=[
            ("no, the screen is fine", "panel.screen ok"),
            ("no, it's fine, the screen", "panel.screen ok"),
            ("nothing structural door slides well", "enclosure.door_travel ok"),
        ],
    ),
}  # fmt: skip

# The same of a machine that is not the shipped pack's.
SMALL_PACK: dict[str, Rule] = {
    "owner": Rule(
        acts=[("my spindle growls", NOTHING), ("the neighbour's spindle growls", NOTHING)],
        leaves_alone=[("the spindle's quiet", "head.noise ok")],
    ),
    "thing after the judgement": Rule(
        acts=[("it growls, the spindle", "head.noise defect critical")],
        leaves_alone=[("the spindle growls, the sump is dry", "head.noise defect, tank.leaks ok")],
    ),
    "closed list": Rule(
        acts=[
            ("spindle noise, coolant leak: both fine", "head.noise ok, tank.leaks ok"),
            ("spindle noise coolant leak both fine", "head.noise ok, tank.leaks ok"),
        ],
        leaves_alone=[("spindle noise, coolant leak.", NOTHING)],
    ),
    "station": Rule(
        acts=[("coolant side. It leaks.", "tank.leaks defect minor")],
        leaves_alone=[("It leaks.", NOTHING)],
    ),
    "it": Rule(
        acts=[("the spindle is quiet. It is hot.", "head.noise ok, head.heat defect major")],
        leaves_alone=[("It is hot.", NOTHING)],
    ),
    "answer": Rule(
        acts=[("tailstock no", "no tailstock"), ("tailstock yes.", "has tailstock")],
        leaves_alone=[("tailstock no rumble", NOTHING), ("the tailstock", NOTHING)],
        mark="(answer)",
    ),
    "neither": Rule(
        acts=[("neither the spindle nor the sump leaks", "tank.leaks ok")],
        leaves_alone=[("the spindle and the sump leak", "tank.leaks defect minor")],
    ),
}  # fmt: skip


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Pack:
    return voicenotes.load_pack(write_pack(tmp_path_factory.mktemp("small")))


@pytest.mark.parametrize(("mark", "acts", "say", "expected"), rows_of_rules(RULES))
def test_rule(mark: str, acts: bool, say: str, expected: str) -> None:
    assert_rule(mark, acts, say, expected, shipped())


@pytest.mark.parametrize(("mark", "acts", "say", "expected"), rows_of_rules(SMALL_PACK))
def test_rule_knows_no_machine(small: Pack, mark: str, acts: bool, say: str, expected: str) -> None:
    assert_rule(mark, acts, say, expected, small)


@pytest.mark.parametrize("rule", RULES.values(), ids=RULES)
def test_rule_has_rows_on_both_sides(rule: Rule) -> None:
    assert len(rule.acts) >= 2
    assert rule.leaves_alone


def spoken(first: str, pause_s: float, then: str) -> Transcript:
    """Two stretches of speech, half a second a word, with a pause between them."""
    words: list[Word] = []
    at = 0.0
    for text, silence in ((first, pause_s), (then, 0.0)):
        for word in text.split():
            words.append(Word(text=word, start=at, end=at + 0.5))
            at += 0.5
        at += silence
    return Transcript(words=tuple(words), seconds=at)


@pytest.mark.parametrize(
    ("pause_s", "expected"), [(2.0, "drive.spindle_belts defect major"), (45.0, NOTHING)]
)
def test_a_long_pause_ends_what_it_means(pause_s: float, expected: str) -> None:
    assert_follows(spoken("Look at the spindle belts.", pause_s, "They squeal."), expected, shipped())


@pytest.mark.parametrize("pause_s", [2.0, 45.0])
def test_a_long_pause_leaves_him_where_he_stands(pause_s: float) -> None:
    said = spoken("Over to the coolant.", pause_s, "The hoses weep.")
    assert_follows(said, "coolant.hoses defect minor", shipped())


def test_a_fitting_only_implied_is_told_from_one_that_was_said() -> None:
    implied = voicenotes.read_text("no rumble at the tailstock", shipped()).fittings["tailstock"]
    said = voicenotes.read_text("there's a tailstock", shipped()).fittings["tailstock"]
    assert implied.fitted is said.fitted is True
    assert "(present)" in said.evidence[0].why
    assert "judged" in implied.evidence[0].why


def test_an_implied_fitting_gives_way_to_what_was_said_outright() -> None:
    record = voicenotes.read_text("There's no tailstock. No leaks at the tailstock end.", shipped())
    assert record.fittings["tailstock"].fitted is False
