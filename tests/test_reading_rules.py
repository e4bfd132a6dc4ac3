"""What a later word makes of an earlier one, in tables: exceptions, echoes, taking back, answers, doubts.

Each rule has remarks that it decides and remarks that look alike and must be left alone. The shipped pack
gives most rows; the small pack shows that a rule knows nothing of this machine.
"""

from __future__ import annotations

import pytest
from reading_tables import NOTHING, Rule, assert_rule, rows_of_rules, shipped
from small_pack import write_pack

import voicenotes
from voicenotes.vocabulary.schema import Pack

RULES: dict[str, Rule] = {
    "what is excepted is the contrary of the rest": Rule(
        acts=[
            ("everything is fine except the way wipers", "axes.way_wipers defect minor"),
            ("everything on the panel works except the handwheel", "panel.handwheel defect minor"),
            ("everything is dead except the screen", "panel.screen ok"),
            ("everything on the panel except the handwheel works", "panel.handwheel defect minor"),
            ("everything at the back except the encoder belt is fine", "drive.encoder_belt defect major"),
            ("nothing works except the handwheel", "panel.handwheel ok"),
            ("the screen and the keys are fine except for the handwheel",
             "panel.screen ok, panel.keys ok, panel.handwheel defect minor"),
            ("the screen and the keys are worn out except for the handwheel",
             "panel.screen defect major, panel.keys defect minor, panel.handwheel ok"),
            ("the hydraulic gauges all work, bar one", "hydraulics.gauges defect minor"),
        ],
        leaves_alone=[
            ("the way covers are straight except the wipers, which are torn",
             "axes.way_covers ok, axes.way_wipers defect minor"),
            ("the spindle is quiet except for a rumble at the top end", "spindle.noise defect critical"),
            ("the way covers are straight. Apart from the wipers I've seen nothing.", "axes.way_covers ok"),
            ("except the way wipers", NOTHING),
            ("everything works except on Sundays", NOTHING),
        ],
        mark="(exception)",
    ),
    "all the rest settles no check": Rule(
        acts=[
            ("everything about the spindle belts is good", NOTHING),
            ("the rest of the gauges are good", NOTHING),
            ("all the rest of the way wipers are good", NOTHING),
        ],
        leaves_alone=[
            ("all the keys are fine", "panel.keys ok"),
            ("every one of the keys works", "panel.keys ok"),
            ("the turret finds every station", "turret.indexing ok"),
            ("everything is fine but the screen is cracked", "panel.screen defect major"),
        ],
        mark="(sweep)",
    ),
    "what was said last, of something else or denied": Rule(
        acts=[
            ("the servo amplifiers are dead and so is the handwheel",
             "electrical.servo_amplifiers defect major, panel.handwheel defect minor"),
            ("the screen is fine. As is the handwheel.", "panel.screen ok, panel.handwheel ok"),
            ("the screen is fine, the handwheel isn't", "panel.screen ok, panel.handwheel defect minor"),
            ("the way covers are bent. The wipers aren't.", "axes.way_covers defect, axes.way_wipers ok"),
            ("the way covers are bent, ditto the way wipers",
             "axes.way_covers defect, axes.way_wipers defect"),
            ("X is smooth, Z likewise", "axes.x_travel ok, axes.z_travel ok"),
            ("the screen is fine, the handwheel is the same", "panel.screen ok, panel.handwheel ok"),
        ],
        leaves_alone=[
            ("Same with the handwheel.", NOTHING),
            ("So is the handwheel.", NOTHING),
            ("The handwheel isn't.", NOTHING),
            ("the screen is fine. The weather isn't.", "panel.screen ok"),
            ("the screen is fine. So is the coffee.", "panel.screen ok"),
            ("the screen is dead. So I went to the handwheel.", "panel.screen defect major"),
            ("the screen is fine. I like this shop. It's warm here. So is the handwheel.", "panel.screen ok"),
        ],
        mark="(echo of what was said last)",
    ),
    "what another machine is like": Rule(
        acts=[
            ("the way covers are straight, unlike the bent ones on the last lathe", "axes.way_covers ok"),
            ("the hydraulic pump is quiet, nothing like the last one that squealed", "hydraulics.pump ok"),
        ],
        leaves_alone=[
            ("unlike the one next door, the hydraulic pump is quiet", "hydraulics.pump ok"),
            ("the hydraulic pump squeals, unlike the other one", "hydraulics.pump defect major"),
            ("the screen looks like it's cracked", "panel.screen defect major"),
        ],
    ),
    "taken back": Rule(
        acts=[
            ("the screen is cracked. Ignore that.", NOTHING),
            ("the screen is cracked. The keys are fine. Scratch that last one.", "panel.screen defect major"),
            ("the screen is cracked. Ignore that, I had dirty glasses.", NOTHING),
            ("the screen is cracked. My mistake, it's fine.", "panel.screen ok"),
        ],
        leaves_alone=[
            ("Scratch that. The screen is cracked.", "panel.screen defect major"),
            ("the screen is scratched, forget the rest", "panel.screen defect"),
        ],
    ),
    "a correction takes back what was said of the same check": Rule(
        acts=[
            ("the hydraulic pump is noisy. The gauges are fine. Correction, the pump is quiet.",
             "hydraulics.pump ok, hydraulics.gauges ok"),
            ("the screen is cracked. Sorry, I meant the door window is cracked.",
             "enclosure.door_window defect major"),
            ("the screen is cracked. No, wait. Let me look. The door window is cracked.",
             "enclosure.door_window defect major"),
            ("the screen is cracked. No wait, it isn't.", "panel.screen ok"),
            ("X is smooth. No wait, it's jerky.", "axes.x_travel defect major"),
            ("there's no tailstock. No wait, there's a tailstock.", "has tailstock"),
        ],
        leaves_alone=[
            ("the screen is cracked. Correction.", "panel.screen defect major"),
            ("the screen is cracked, I'm sorry to say. The door window is cracked.",
             "panel.screen defect, enclosure.door_window defect"),
        ],
    ),
    "after taking back the last word counts": Rule(
        acts=[
            ("the coolant pump is dead. I take that back, it was dead, it delivers.", "coolant.pump ok"),
            ("the hydraulic pump is dead. I take that back, it was dead, it runs quiet.",
             "hydraulics.pump ok"),
        ],
        leaves_alone=[
            ("the conveyor is dead. Scratch that, it was unplugged, it runs fine.",
             "chips.forward ok, has chip_conveyor"),
            ("the screen is cracked. The keys are dead. Scratch that last one, the keys work.",
             "panel.screen defect, panel.keys ok"),
        ],
        mark="explains what was taken back",
    ),
    "it was, but now": Rule(
        acts=[
            ("the coolant pump was dead but now it delivers", "coolant.pump ok"),
            ("the door was stiff, today it slides freely", "enclosure.door_travel ok"),
            ("the foot switch was sticking, these days it works", "chuck.foot_switch ok"),
            ("the hydraulic pump was quiet but now it squeals", "hydraulics.pump defect major"),
        ],
        leaves_alone=[
            ("the coolant pump is dead but now the hoses are tight", "coolant.pump defect, coolant.hoses ok"),
            ("the way covers are bent. The wipers are fine now.",
             "axes.way_covers defect, axes.way_wipers ok"),
            ("the screen is dead. Now the keys. They're worn out.", "panel.screen defect, panel.keys defect"),
        ],
        mark="before, not now",
    ),
    "put right since": Rule(
        acts=[
            ("the turret was crashed but that got put right", NOTHING),
            ("the turret has been crashed but it was put right years ago", NOTHING),
        ],
        leaves_alone=[
            ("the way covers were bent, they've been replaced", NOTHING),  # told in one remark
            ("the way covers are bent and the wipers were replaced last year",
             "axes.way_covers defect major"),
            ("the way covers are bent. The spindle belts were replaced.", "axes.way_covers defect major"),
        ],
        mark="put right since",
    ),
    "a question and its answer": Rule(
        acts=[
            ("Way covers bent? No.", "axes.way_covers ok"),
            ("Is the screen cracked? Nope.", "panel.screen ok"),
            ("Cracked, the screen? No.", "panel.screen ok"),
            ("Way covers straight? No.", "axes.way_covers defect major"),
            ("Spindle quiet? Not really.", "spindle.noise defect critical"),
        ],
        leaves_alone=[
            ("Way covers bent? Yes.", "axes.way_covers defect major"),
            ("Way covers bent. No.", "axes.way_covers defect major"),
            ("the way covers are bent. More coffee? No.", "axes.way_covers defect major"),
        ],
        mark="answered",
    ),
    "a doubt afterwards": Rule(
        acts=[
            ("the spindle is quiet, but I couldn't swear to it", "spindle.noise unsure"),
            ("the spindle is quiet. Hard to say though.", "spindle.noise unsure"),
            ("the hydraulic oil is milky. Not sure.", "hydraulics.oil_condition unsure"),
        ],
        leaves_alone=[
            ("the spindle is quiet. I'm not sure what time the bus leaves tonight.", "spindle.noise ok"),
            ("the way covers are bent. Maybe I'll have lunch.", "axes.way_covers defect major"),
        ],
        mark="(hedge)",
    ),
    "a class afterwards": Rule(
        acts=[
            ("the screen is cracked. Only cosmetic.", "panel.screen defect minor"),
            ("the way wipers are torn. That's a deal breaker.", "axes.way_wipers defect critical"),
            ("the door is stiff. Expensive.", "enclosure.door_travel defect major"),
        ],
        leaves_alone=[
            ("Only cosmetic. The screen is cracked.", "panel.screen defect major"),
            ("the way wipers are torn. The screen is cracked. Only cosmetic.",
             "axes.way_wipers defect minor, panel.screen defect minor"),
            ("the keys are worn out. The screen is fine. Call it major.",
             "panel.keys defect minor, panel.screen ok"),
        ],
    ),
    "the reason for not testing": Rule(
        acts=[
            ("the conveyor was jammed with chips, so I couldn't test it",
             "chips.forward not_tested, has chip_conveyor"),
            ("the conveyor was jammed, so it couldn't be tested",
             "chips.forward not_tested, has chip_conveyor"),
        ],
        leaves_alone=[
            ("the screen is cracked, so I couldn't read the alarm log",
             "panel.screen defect major, panel.alarm_log not_tested"),
            ("the way covers are bent, so there's work to do", "axes.way_covers defect major"),
            ("the coolant tank was empty, so I couldn't try the coolant pump", "coolant.pump not_tested"),
        ],
        mark="the reason for not testing",
    ),
}  # fmt: skip

# The same of two checks of a machine that is not the shipped pack's.
SMALL_PACK: dict[str, Rule] = {
    "exception": Rule(
        acts=[("everything is quiet except the quill", "tail.quill defect major, has tailstock")],
        leaves_alone=[("except the quill", NOTHING)],
        mark="(exception)",
    ),
    "echo": Rule(
        acts=[
            ("the spindle noise is fine, the quill isn't", "head.noise ok, tail.quill defect, has tailstock"),
            ("the spindle noise is fine and so is the quill", "head.noise ok, tail.quill ok, has tailstock"),
        ],
        leaves_alone=[("So is the quill.", NOTHING)],
        mark="(echo of what was said last)",
    ),
    "taken back": Rule(
        acts=[
            ("the spindle is quiet. Scratch that.", NOTHING),
            ("the sump leaks. Correction, the sump is dry.", "tank.leaks ok"),
        ],
        leaves_alone=[("Scratch that. The spindle is quiet.", "head.noise ok")],
    ),
    "it was, but now": Rule(
        acts=[("the sump was leaking but now it's dry", "tank.leaks ok")],
        leaves_alone=[("the sump leaks but now the spindle is quiet", "tank.leaks defect, head.noise ok")],
        mark="before, not now",
    ),
    "answer": Rule(
        acts=[("the sump leaking? No.", "tank.leaks ok")],
        leaves_alone=[("the sump leaks. No.", "tank.leaks defect minor")],
        mark="answered",
    ),
    "doubt": Rule(
        acts=[("the sump is dry, but I couldn't swear to it", "tank.leaks unsure")],
        leaves_alone=[("I couldn't swear to it. The sump is dry.", "tank.leaks ok")],
        mark="(hedge)",
    ),
    "class": Rule(
        acts=[
            ("the sump leaks. That's a deal breaker.", "tank.leaks defect critical"),
            ("the spindle is hot. Only cosmetic.", "head.heat defect minor"),
        ],
        leaves_alone=[("Only cosmetic. The spindle is hot.", "head.heat defect major")],
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
