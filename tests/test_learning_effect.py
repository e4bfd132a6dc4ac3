"""The effect of a suggestion: told right, and the same whether all is read again or what it can touch."""

from __future__ import annotations

import random
import shutil
from pathlib import Path

import pytest
from taught import put_right, tagged, visit

from voicenotes.findings.read import read_texts, transcript_of_text
from voicenotes.language.compile_lexicon import _compile, lexicon_of
from voicenotes.language.lexicon_reach import _one_apart, difference_of, text_index, touched
from voicenotes.language.sound_index import sound_index
from voicenotes.language.spelling_index import near_index
from voicenotes.learning.additions import with_suggestions
from voicenotes.learning.effect import Ground, effect_of, ground_of
from voicenotes.learning.learn import suggestions
from voicenotes.learning.past import past_visits
from voicenotes.outputs.suggestion_values import Kind, Suggestion
from voicenotes.vocabulary.homes import vocab_home
from voicenotes.vocabulary.load import load_shipped_pack
from voicenotes.vocabulary.overlay import Overlay, with_overlay
from voicenotes.vocabulary.schema import Pack

SENTENCES = """
- {say: the drain cock leaks, expect: {tank.leaks: defect}}
- {say: spindle growls, expect: {head.noise: defect}}
- {say: the quill is stuck, expect: {tail.quill: defect}}
- {say: the quilt is stuck, expect: {}}
- {say: tales talk quill is stuck, expect: {tail.quill: defect}}
- {say: spindle noise is there, expect: {}}
- {say: the sump is dry, expect: {tank.leaks: ok}}
- {say: the bump is dry, expect: {}}
- {say: coolant tank leaks and the sight glass is hot, expect: {tank.leaks: defect}}
- {say: the drained clock leaks badly, expect: {}}
- {say: the coolant tonk leaks, expect: {tank.leaks: defect}}
- {say: swindle runabout is two thou, expect: {head.runout: ok}}
- {say: my wife called about dinner and the train clock, expect: {}}
"""


def made(kind: Kind, phrase: str, *means: str, said: str = "x", sounds: tuple[str, ...] = ()) -> Suggestion:
    """A suggestion, as if corrections had made it."""
    return Suggestion(
        id="x", key=f"{kind}: {phrase}", pack="small", kind=kind, phrase=phrase, said=said, means=means,
        sounds=sounds, occasions=(),
    )  # fmt: skip


@pytest.fixture
def ground(pack: Path, tmp_path: Path) -> Ground:
    (pack / "sentences" / "more.yaml").write_text(SENTENCES.lstrip())
    folders = [
        visit(tmp_path / "unit-1", "Spindle is quiet. The drain cock leaks. Tales talk quill is stuck.", pack,
              tagged("drain cock", "tank.leaks")),
        visit(tmp_path / "unit-2", "The sump is dry. Swindle runabout is two thou.", pack,
              put_right(0, "Swindle runabout", "Spindle runout")),
        visit(tmp_path / "unit-3", "Nothing at all. Weather is fine."  , pack),
    ]  # fmt: skip
    return ground_of(load_shipped_pack(pack), Overlay(pack="small"), past_visits(folders))


@pytest.mark.parametrize(
    ("suggestion", "changes", "regressions", "gains"),
    [
        # unit-1: a leak; and the first sentence is read right at last
        (made("term", "drain cock", "tank.leaks"),
         {"tank.leaks": ("not_mentioned", "defect", "defect")}, 0, 1),
        # unit-2: the person put it right: two thou are outside; the label says ok, so no sentence is won
        (made("misheard", "swindle runabout", "head.runout"),
         {"head.runout": ("not_mentioned", "defect", "defect")}, 0, 0),
        # harm: another check's own words
        (made("misheard", "spindle growls", "tail.quill"), {}, 2, 0),
        (made("term", "sump is dry", "head.heat"), {"tank.leaks": ("ok", "not_mentioned", None)}, 1, 0),
        # nobody says it
        (made("term", "gizmo", "tank.leaks"), {}, 0, 0),
    ],
)  # fmt: skip
def test_effect(
    ground: Ground, suggestion: Suggestion, changes: dict[str, tuple[str, ...]], regressions: int, gains: int
) -> None:
    effect = effect_of(ground, [suggestion])
    found = {c.check: (c.before, c.after, c.reviewed) for c in effect.changes}
    assert {check: found.get(check) for check in changes} == changes
    assert (len(effect.regressions), effect.gains) == (regressions, gains)
    assert (effect.visits, effect.sentences) == (3, 14)
    reviews = [c.reviewed for c in effect.changes]
    assert effect.agree + effect.against + reviews.count(None) == len(reviews)


def test_changes_against_what_a_person_said_are_counted_apart(pack: Path, tmp_path: Path) -> None:
    import correcting as c

    one = visit(
        tmp_path / "unit-1", "The drain cock leaks.", pack,
        tagged("drain cock", "tank.leaks"), lambda record: c.outcome(record, "tank.leaks", "ok"),
    )  # fmt: skip
    [suggestion] = suggestions([one], [pack]).suggestions
    assert suggestion.effect
    assert (suggestion.effect.agree, suggestion.effect.against) == (0, 1)


def test_its_own_remarks_that_are_understood_then_are_counted(ground: Ground, pack: Path) -> None:
    folders = [visit.folder for visit in ground.visits]
    found = {one.phrase: one.effect for one in suggestions(folders, [pack]).suggestions}
    told = {phrase: (effect.understood, effect.remarks) for phrase, effect in found.items() if effect}
    assert told == {"drain cock": (1, 1), "swindle runabout": (1, 1)}


SAID = [line.partition(",")[0].split() for line in SENTENCES.split("say: ")[1:]]


def candidates(pack: Pack) -> list[Suggestion]:
    """One to three words in a row of the sentences, and such as sound nearly like them; all means, kinds."""
    draw = random.Random(7)
    near = [
        "quell",
        "spindel",
        "coolant tang",
        "sumps",
        "drein cock",
        "tailstalk",
        "grows",
        "runout",
        "tankard",
    ]
    means = [check.id for check in pack.checks] + ["spindle", "tank", "tailstock"]
    found = []
    for _ in range(64):
        said = draw.choice(SAID)
        first = draw.randrange(len(said))
        phrase = (
            draw.choice(near) if draw.random() < 0.3 else " ".join(said[first : first + draw.randint(1, 3)])
        )
        kind: Kind = draw.choice(("term", "misheard"))
        mean = draw.choice(means[:5] if kind == "term" else means)
        found.append(made(kind, phrase, mean))
    sounds: dict[str, tuple[str, ...]] = {
        "quill": ("K W IH L", "K W EH L"), "tailstock": ("T EY L Z T AO K",), "runout": ("R AH N AW T",),
        "spindle": ("S W IH N D AH L",), "gizmo": ("G IH Z M OW",), "tank": ("B AH M P", "T AE NG K"),
    }  # fmt: skip
    return [*found, *(made("sounds", word, said="x", sounds=said) for word, said in sounds.items())]


def test_reading_only_what_is_touched_gives_the_same(ground: Ground) -> None:
    changed = 0
    for suggestion in candidates(ground.pack):
        quick = effect_of(ground, [suggestion])
        assert quick == effect_of(ground, [suggestion], everything=True), suggestion
        changed += bool(quick.changes or quick.regressions or quick.gains)
    assert changed > 20  # the comparison sees something


def test_what_is_not_touched_is_read_to_the_letter_as_before(ground: Ground) -> None:
    """Not only outcomes: whole records, with quotes, reasons and confidences."""
    texts = [case.label.say for case in ground.cases]  # type: ignore[attr-defined]
    index = text_index([[transcript_of_text(text)] for text in texts], ground.pack)
    before = [read_texts([text], ground.pack) for text in texts]
    kept = 0
    for suggestion in candidates(ground.pack)[::3]:
        pack = with_overlay(ground.shipped, with_suggestions(ground.overlay, [suggestion]))
        numbers = touched(index, difference_of(ground.pack, pack, index.by_word))
        for number in set(range(len(texts))) - numbers:
            again = read_texts([texts[number]], pack)
            assert again.model_copy(update={"pack": before[number].pack}) == before[number], suggestion
            kept += 1
    assert kept > 150  # most need not be read again


def test_a_grown_lexicon_is_the_compiled_one(ground: Ground) -> None:
    for suggestion in candidates(ground.pack)[-8::2]:
        pack = with_overlay(ground.shipped, with_suggestions(ground.overlay, [suggestion]))
        grown, whole = lexicon_of(pack, without=ground.pack), _compile(pack)
        for name in whole.__dataclass_fields__:
            assert getattr(grown, name) == getattr(whole, name), (suggestion, name)
        assert near_index(grown).__dict__ == near_index(whole).__dict__
        assert sound_index(grown).__dict__ == sound_index(whole).__dict__


def test_on_the_shipped_pack_the_shortcut_is_exact_too(tmp_path: Path) -> None:
    """Three suggestions, one of them harmful, on the sentences of two stations."""
    folder = shutil.copytree(vocab_home() / "cnc_lathe", tmp_path / "lathe")
    for path in (folder / "sentences").iterdir():
        if path.name not in ("axes.yaml", "coolant.yaml"):
            path.unlink()
    one = visit(
        tmp_path / "unit-1", "The drain cock is cracked. The whey wife is torn.", "cnc_lathe",
        tagged("drain cock", "coolant.hoses"), put_right(1, "whey wife", "way wiper"),
    )  # fmt: skip
    shipped = load_shipped_pack(folder)
    ground = ground_of(shipped, Overlay(pack=shipped.id), past_visits([one]))
    harm = made("term", "way covers are", "spindle.runout")
    several = [
        made("term", "drain cock", "coolant.hoses"),
        made("misheard", "whey wife", "axes.way_wipers"),
        harm,
    ]
    together = effect_of(ground, several)
    assert together == effect_of(ground, several, everything=True)
    assert len(together.regressions) == 2
    alone = effect_of(ground, several[:2])
    assert (len(alone.changes), alone.regressions) == (2, ())


@pytest.mark.parametrize(
    ("one", "other", "near"),
    [("", "", True), ("a", "", True), ("abc", "abc", True), ("abc", "abd", True), ("abc", "ab", True),
     ("abc", "bc", True), ("abc", "axbc", True), ("abc", "cab", False), ("abc", "abcde", False),
     ("abc", "axxc", False), ("ab", "ba", False), ("aab", "ab", True)],
)  # fmt: skip
def test_one_apart_is_an_edit_distance_of_one(one: str, other: str, near: bool) -> None:
    from rapidfuzz.distance import Levenshtein

    assert _one_apart(one, other) is _one_apart(other, one) is near
    assert (Levenshtein.distance(one, other) <= 1) is near


def test_rapidfuzz_says_the_same_of_any_strings() -> None:
    from rapidfuzz.distance import Levenshtein

    draw = random.Random(3)
    for _ in range(3_000):
        one, other = ("".join(draw.choices("ab", k=draw.randint(0, 6))) for _ in range(2))
        assert _one_apart(one, other) is (Levenshtein.distance(one, other) <= 1), (one, other)
