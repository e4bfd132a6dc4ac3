"""How a reading is shown: which words are marked as what, how far cues are drawn, and the sheet itself."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from small_pack import write_pack
from typer.testing import CliRunner

from voicenotes.cli import main as cli
from voicenotes.language.scope import negations_of
from voicenotes.language.trace import trace_of
from voicenotes.outputs import terminal
from voicenotes.outputs.canvas import DRAWN, PLAIN, Canvas, columns, plain, signs_for
from voicenotes.outputs.explanation import Explanation, explain
from voicenotes.outputs.explanation_sheet import explanation_lines
from voicenotes.outputs.schemas import schema_of
from voicenotes.vocabulary.load import load_pack, load_sentences
from voicenotes.vocabulary.schema import Pack

ANSI = re.compile(r"\x1b\[[0-9;]*m")
PACK = load_pack("cnc_lathe")
SAYINGS = [sentence.say for _, _, sentence in load_sentences("cnc_lathe")]


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Pack:
    return load_pack(write_pack(tmp_path_factory.mktemp("small") / "pack"))


def shown(text: str, pack: Pack, width: int = 80) -> list[str]:
    return [plain(line) for line in explanation_lines(explain(text, pack), width)]


# --- marks ----------------------------------------------------------------------------------------

# Each sentence with the words that decided, and what they were taken for.
DECIDED: list[tuple[str, list[str]]] = [
    ("spindle growls", ["spindle: subject exact", "growls: condition bad"]),
    ("spindle growled", ["spindle: subject exact", "growled: condition bad"]),
    ("no leaks at the coolant tank",
     ["no: cue negation", "leaks: condition bad", "coolant tank: subject exact"]),
    ("the spindle isn't quiet", ["spindle: subject exact", "isn't: cue negation", "quiet: condition good"]),
    ("might be a rumble in the spindle",
     ["might be: cue hedge", "a: cue present", "rumble: condition unwanted", "spindle: subject exact"]),
    ("the spindle's temperature is fine",
     ["spindle: subject exact", "temperature: aspect name", "fine: condition good"]),
    ("spindle runout two tenths", ["spindle runout: subject exact", "two tenths: quantity length"]),
    ("didn't get to the quill", ["didn't get to: cue not_tested", "quill: subject exact"]),
    ("there's no tailstock", ["there's no: cue absent", "tailstock: subject exact"]),
    ("serial number four seven alpha two", ["serial number four seven alpha two: fact serial"]),
    ("next the headstock", ["the headstock: station head"]),
    ("the spindle used to be hot", ["spindle: subject exact", "used to: cue history", "hot: condition bad"]),
    ("seller says the spindle is quiet",
     ["seller says: cue hearsay", "spindle: subject exact", "quiet: condition good"]),
    ("spindle growls but the sump is dry",
     ["spindle: subject exact", "growls: condition bad", "but: cue breaker", "sump: subject exact",
      "dry: condition good"]),
    ("the quill is stuck, that's a deal breaker",
     ["quill: subject exact", "stuck: condition bad", "deal breaker: condition bad",
      "deal breaker: cue class_critical"]),
    ("spindle growls. scratch that.",
     ["spindle: subject exact", "growls: condition bad", "scratch that: cue retract"]),
    ("the spindle is quiet, it's cool",
     ["spindle: subject exact", "quiet: condition good", "cool: condition good"]),
    ("the coffee is hot", []),
    ("no, it's quiet", []),
    ("hello there", []),
]  # fmt: skip


@pytest.mark.parametrize(("said", "expected"), DECIDED, ids=[said for said, _ in DECIDED])
def test_the_words_that_decided(said: str, expected: list[str], small: Pack) -> None:
    seen = explain(said, small)
    assert [f"{seen.say(m.words)}: {m.role} {m.kind}" for m in seen.marks if m.decided] == expected


@pytest.mark.parametrize(
    ("said", "found"),
    [
        ("the coffee is hot", ["hot: condition bad"]),
        ("no, it's quiet", ["no: cue negation", "no: cue absent", "quiet: condition good"]),
        ("the spindle and the sump", ["spindle: subject exact", "sump: subject exact"]),
    ],
)
def test_what_was_found_and_decided_nothing(said: str, found: list[str], small: Pack) -> None:
    seen = explain(said, small)
    assert [f"{seen.say(m.words)}: {m.role} {m.kind}" for m in seen.marks] == found
    assert {word.roles for word in seen.words} == {()}


# --- reach ----------------------------------------------------------------------------------------

# Each sentence with a cue, the words that its reach takes in, those it changed, and what stopped it.
# The numbers of words are those of vocab/english/cues.yaml.
REACHES: list[tuple[str, str, str, list[str], str]] = [
    ("no leaks at the sump", "negation", "no leaks at the sump", ["leaks"], "the remark's end"),
    ("the spindle isn't quiet but hot", "negation", "isn't quiet", ["quiet"], "the remark's end"),
    ("no rumble, quiet and hot at the spindle", "negation", "no rumble", ["rumble"], "the remark's end"),
    ("no rumble hot at the spindle", "negation", "no rumble", ["rumble"], '"hot"'),
    ("no, it's quiet", "negation", "no", [], "its being an answer"),
    ("the spindle is not one that on any of the days here growls", "negation",
     "is not one that on any of the days here", [], "8 words"),
    ("the sump leaks none", "negation", "leaks none", ["leaks"], "the nearest judging word"),
    ("might be a rumble in the spindle", "hedge", "might be a rumble in the spindle",
     ["might be a rumble in the spindle"], "the remark's edges"),
    ("it growls when it leaks", "circumstance", "when it leaks", ["leaks"], "the first judging word"),
    ("there's no tailstock", "absent", "there's no tailstock", ["tailstock"], "the thing it is said of"),
    ("he says the spindle is quiet but the tank leaks", "hearsay", "he says the spindle is quiet",
     ["he says the spindle is quiet"], '"but"'),
    ("he says the spindle is quiet, the sump is dry", "hearsay",
     "he says the spindle is quiet, the sump is dry",
     ["he says the spindle is quiet", "the sump is dry"], "the sentence's end"),
    ("spindle growls. scratch that.", "retract", "spindle growls. scratch that", ["spindle growls"],
     "the remark taken back"),
    ("scratch that", "retract", "scratch that", [], "nothing said before"),
    ("the spindle growls slightly", "softener", "the spindle growls slightly", ["growls"],
     "the remark's edges"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("said", "kind", "reach", "took_in", "stopped"), REACHES, ids=[f"{row[1]}: {row[0]}" for row in REACHES]
)
def test_how_far_a_cue_reached(
    said: str, kind: str, reach: str, took_in: list[str], stopped: str, small: Pack
) -> None:
    seen = explain(said, small)
    cue = max((cue for cue in seen.cues if cue.kind == kind), key=lambda cue: cue.acted)
    assert seen.say(cue.reach) == reach
    assert [seen.say(words) for words in cue.took_in] == took_in
    assert cue.stopped == stopped
    assert cue.acted is bool(took_in)


@pytest.mark.parametrize("said", SAYINGS[::7])
def test_a_negation_is_drawn_over_what_the_reader_turned(said: str) -> None:
    """The reach holds every condition that `negations_of` says is turned, and only these are taken in."""
    from voicenotes.findings.read import transcript_of_text
    from voicenotes.language.compile_lexicon import lexicon_of
    from voicenotes.language.reader import views_of

    trace = trace_of(transcript_of_text(said), PACK)
    turned: dict[tuple[int, int], set[tuple[int, int]]] = {}
    for view, *_ in views_of(trace.words, lexicon_of(PACK), None):
        for index, cues in negations_of(view.words, view.reach, view.conditions, view.terms).items():
            for cue in cues:
                condition = view.conditions[index]
                turned.setdefault((cue.start, cue.end), set()).add((condition.start, condition.end))
    for drawn in trace.reaches:
        if drawn.cue.kind == "negation" and drawn.reach is not None:
            assert set(drawn.took_in) == turned.get((drawn.cue.start, drawn.cue.end), set())
            assert all(drawn.reach[0] <= start and end <= drawn.reach[1] for start, end in drawn.took_in)


# --- mentions -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("said", "severity", "source"),
    [
        ("the spindle growls", "critical", "check"),
        ("the spindle growls slightly", "major", "check"),
        ("the spindle growls, cosmetic only", "minor", "stated"),
        ("spindle runout is five thou", "major", "check"),
        ("the quill is stuck, that's a deal breaker", "critical", "stated"),
    ],
)
def test_where_a_severity_came_from(said: str, severity: str, source: str, small: Pack) -> None:
    check = explain(said, small).remarks[-1].checks or explain(said, small).remarks[0].checks
    assert (check[0].severity, check[0].severity_from) == (severity, source)


@pytest.mark.parametrize("said", SAYINGS[::3])
def test_every_judgement_names_words_that_decided(said: str) -> None:
    """What `why` cites stands among the words of `because`, and these are marked as deciding."""
    seen = explain(said, PACK)
    for remark in seen.remarks:
        for mention in (*remark.checks, *remark.fittings, *remark.facts):
            assert mention.because
            words = {word for because in mention.because for word in because.words}
            assert all(seen.words[word].roles for word in words)
            named = {seen.say(because.words) for because in mention.because if because.words}
            for cited in re.findall(r'"([^"]+)" \(', mention.why):
                assert any(cited in name or name in cited for name in named), (cited, named)


def test_words_and_remarks_cover_the_text(small: Pack) -> None:
    seen = explain("Spindle isn't  quiet, (I think) but the tank's dry!", small)
    assert [seen.text[word.start : word.end] for word in seen.words] == [word.text for word in seen.words]
    assert [place for remark in seen.remarks for place in remark.words] == list(range(len(seen.words)))
    assert [seen.remarks[word.remark].words.count(place) for place, word in enumerate(seen.words)] == [
        1
    ] * len(seen.words)
    assert seen.remarks[0].start == 0 and seen.remarks[-1].end == len(seen.text)


@pytest.mark.parametrize("said", ["", "hello", *(row[0] for row in DECIDED), "Ärger \x07 \u4e2d\u6587"])
def test_json_is_valid_against_its_schema(said: str, small: Pack) -> None:
    schema = schema_of("explanation")
    Draft202012Validator.check_schema(schema)
    data = json.loads(json.dumps(explain(said, small).model_dump(mode="json")))
    assert list(Draft202012Validator(schema).iter_errors(data)) == []
    assert Explanation.model_validate_json(json.dumps(data)) == explain(said, small)


# --- the sheet ------------------------------------------------------------------------------------

NEGATED = """\
 ┃1┃ Spindle growls ┃2┃ but no leaks at the coolant tank.
     ━━━━━━━ ━━━━━━     ━━━ ━━ ━━━━━        ━━━━━━━━━━━━
     subject bad        cuts   bad          subject
                            ╰──●●●●●───────────────────┤
                            negation, stopped by the remark's end
 ┃1┃ DEFECT critical  head.noise  bearing noise            seen, confidence 0.94
       subject    "Spindle"
       condition  "growls": bad, list of the aspect noise
       severity   critical: the check's usual one
 ┃2┃ OK  tank.leaks  coolant leaks                         seen, confidence 0.94
       subject    "coolant tank"
       condition  "leaks": bad, list of the aspect leak
       cue        "no": negation, turns it round
"""

TOLD = """\
 ┃1┃ Seller says the spindle is quiet and the tank is dry, ┃2┃ runout at the
     ━━━━━━━━━━━     ━━━━━━━    ━━━━━                 ┄┄┄
                     subject    good                  (good)
     ╰─────────────────────────────────────────────────────────────────────→
 spindle is two tenths
 ━━━━━━━    ━━━━━━━━━━
 subject    = 0.0002 in
 ←───────────────────┤ hearsay, stopped by the sentence's end
 ┃1┃ OK  head.noise  bearing noise                         told, confidence 0.94
       subject    "spindle"
       condition  "quiet": good, list of the aspect noise
       cue        "Seller says": hearsay, only told: still a gap
 ┃2┃ OK  head.runout  runout at the nose                   told, confidence 0.92
       subject    "spindle"
       quantity   "two tenths"
       cue        "Seller says": hearsay, only told: still a gap
       reading    runout 0.0002 in: within the limit (at most 0.0004 in); common
                  practice, no source
"""

NARROW = """\
 Might be a rumble in the spindle
 ━━━━━━━━ ━ ━━━━━━        ━━━━━━━
            unwanted      subject
 ╰──────────────────────────────┤
   hedge, over the whole remark
          ╰─●●●●●┤
   present, stopped by the thing it is
   said of
 UNSURE
   head.noise
   seen, confidence 0.94
   bearing noise
   subject    "spindle"
   condition  "rumble": unwanted, list
     of the aspect noise
   cue        "a": present, says that it
     is there
   cue        "Might be": hedge, makes
     it unsure
"""


@pytest.mark.parametrize(
    ("said", "width", "sheet"),
    [
        ("Spindle growls but no leaks at the coolant tank.", 80, NEGATED),
        (
            "Seller says the spindle is quiet and the tank is dry, runout at the spindle is two tenths",
            80,
            TOLD,
        ),
        ("Might be a rumble in the spindle", 40, NARROW),
    ],
)
def test_the_sheet(said: str, width: int, sheet: str, small: Pack) -> None:
    assert "\n".join(shown(said, small, width)) + "\n" == sheet


def test_a_sentence_with_nothing_in_it(small: Pack) -> None:
    assert shown("", small) == ["There are no words in this."]
    assert shown("hm well", small)[0] == " hm well"
    assert shown("hm well", small)[1].startswith(" NOTHING  taken by no check")


def test_what_is_taken_back_says_so_on_both_sides(small: Pack) -> None:
    lines = shown("Spindle growls. Scratch that.", small)
    assert any(line.startswith(" ┃1┃ TAKEN BACK  head.noise") for line in lines)
    assert '       taken back "Scratch that"' in lines
    assert any(line.endswith("takes back 1") for line in lines)


@pytest.mark.parametrize("width", [80, 40])
@pytest.mark.parametrize("said", SAYINGS[::11])
def test_no_line_is_too_wide_and_no_word_lost(said: str, width: int) -> None:
    seen = explain(said, PACK)
    lines = [plain(line) for line in explanation_lines(seen, width)]
    assert max(map(columns, lines)) <= width
    together = " ".join(lines)
    assert all(word in together for word in said.split())


@given(st.text(max_size=120), st.sampled_from([30, 40, 80]))
@settings(max_examples=80, deadline=None)
def test_any_text_fits(text: str, width: int) -> None:
    seen = explain(text, PACK)
    lines = [plain(line) for line in explanation_lines(seen, width)]
    assert max(map(columns, lines)) <= width
    assert all(line.isprintable() for line in lines)


def test_signs_for_an_output_that_cannot_draw() -> None:
    assert signs_for("utf-8") is DRAWN
    assert signs_for("cp1252") is signs_for("ascii") is signs_for(None) is signs_for("nonsense") is PLAIN


def test_wide_signs_take_two_columns() -> None:
    canvas = Canvas()
    canvas.put(0, 1, "\u4e2dx", "a")
    canvas.put(1, 3, "^", "b")
    assert [plain(line) for line in canvas.lines()] == [" \u4e2dx", "   ^"]
    assert (columns("\u4e2dx"), columns("e\u0301")) == (3, 1)
    assert canvas.is_free(1, 0, 3) and not canvas.is_free(1, 0, 4) and canvas.is_free(7, 0, 9)


def test_the_example_of_the_readme() -> None:
    readme = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")
    example = re.search(r'`voicenotes explain "([^"]+)"` shows.*?```text\n(.*?)```', readme, re.DOTALL)
    assert example
    assert "\n".join(shown(example[1], PACK)) + "\n" == example[2]


# --- the command ----------------------------------------------------------------------------------


def run(env: dict[str, str], *words: str | Path) -> str:
    result = CliRunner().invoke(cli.app, ["explain", *map(str, words)], env=env)
    assert result.exit_code == 0, result.output
    return result.stdout


SAID = "Spindle growls but no leaks at the coolant tank."
COLOUR = {"FORCE_COLOR": "1", "TERM": "xterm-256color", "NO_COLOR": "", "COLUMNS": "80"}


def test_piped_it_is_plain(pack: Path) -> None:
    assert run({"COLUMNS": "80"}, SAID, "--pack", pack) == NEGATED


def test_colour_adds_nothing_that_the_plain_text_lacks(pack: Path) -> None:
    coloured = run(COLOUR, SAID, "--pack", pack)
    assert len(ANSI.findall(coloured)) > 20
    assert "\n".join(line.rstrip() for line in ANSI.sub("", coloured).splitlines()) + "\n" == NEGATED


@pytest.mark.parametrize("off", [{"NO_COLOR": "1"}, {"TERM": "dumb"}])
def test_no_colour_where_it_is_not_wanted(off: dict[str, str], pack: Path) -> None:
    assert run({**COLOUR, **off}, SAID, "--pack", pack) == NEGATED


def test_a_wide_terminal_is_not_filled(pack: Path) -> None:
    lines = run({"COLUMNS": "300"}, f"{SAID} " * 4, "--pack", pack).splitlines()
    assert 80 < max(map(len, lines)) <= terminal.WIDEST


def test_json_for_programs(pack: Path) -> None:
    data = json.loads(run(COLOUR, "Spindle isn't quiet", "--pack", pack, "--json"))
    assert [word["roles"] for word in data["words"]] == [["subject"], ["cue"], ["cue"], ["condition"]]
    (check,) = data["remarks"][0]["checks"]
    assert (check["check"], check["polarity"]) == ("head.noise", "bad")
    assert [(b["role"], b["words"]) for b in check["because"]] == [
        ("subject", [0]), ("condition", [3]), ("cue", [1, 2]),
    ]  # fmt: skip
