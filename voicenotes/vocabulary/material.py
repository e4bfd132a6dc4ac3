"""What a pack tells a speech engine: its terms by importance, and example sentences made of them.

The sentences are drawn with a fixed seed from the pack's carriers, terms, conditions, numbers and
units, so that the same pack always gives the same material. Every term and every condition of the
pack appears in some of them.
"""

from __future__ import annotations

import hashlib
import json
import random
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from voicenotes.vocabulary.expand import expand, is_fixed, plural_forms, verb_forms
from voicenotes.vocabulary.homes import SHARED_LANGUAGE, vocab_home
from voicenotes.vocabulary.schema import GENERAL
from voicenotes.vocabulary.yaml_files import read_yaml

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from voicenotes.vocabulary.schema import Check, Condition, ConditionLists, Pack

SEED = 20
SENTENCES_A_CHECK = 160
_SLOT = re.compile(r"\{(\w+)\}")
_WORDS_ONLY = re.compile(r"[a-z' ]+$")


@dataclass(frozen=True)
class SpeechMaterial:
    """What a pack tells an engine about the words to expect.

    `terms` are the pack's phrases in order of importance (most important first).
    `sentences` are whole example utterances in lower case without punctuation, numbers as words.
    `pronunciations` maps a lower-case word to ARPAbet transcriptions ("HH EH D S T AA K").
    `digest` changes whenever any of it changes, so that compiled models can be cached.
    """

    terms: tuple[str, ...] = ()
    sentences: tuple[str, ...] = ()
    pronunciations: dict[str, tuple[str, ...]] = field(default_factory=dict)
    digest: str = ""


def speech_material(pack: Pack) -> SpeechMaterial:
    """The terms, sentences and pronunciations of a pack, for biasing or compiling an engine."""
    terms = _terms_by_importance(pack)
    sentences = tuple(dict.fromkeys([*_drawn_sentences(pack), *_pack_sentences(pack)]))
    pronunciations = dict(pack.pronunciations)
    content = json.dumps([terms, sentences, sorted(pronunciations.items())])
    return SpeechMaterial(terms, sentences, pronunciations, hashlib.sha256(content.encode()).hexdigest()[:16])


def _plain(phrases: Iterable[str]) -> list[str]:
    return [phrase for template in phrases for phrase in expand(template) if _WORDS_ONLY.match(phrase)]


def _terms_by_importance(pack: Pack) -> tuple[str, ...]:
    """The first term of each critical or must-do check, then parts, fittings, the rest."""
    grave = sorted(
        pack.checks, key=lambda c: ({"critical": 0, "major": 1, "minor": 2}[c.severity], not c.must_before_leaving)
    )
    first = [phrase for check in grave for phrase in _plain(check.terms[:1])[:1]]
    parts = [phrase for part in pack.parts for phrase in _plain(part.terms[:1])[:1]]
    fittings = [phrase for fitting in pack.head.fittings for phrase in _plain(fitting.terms[:1])[:1]]
    rest = [phrase for check in grave for phrase in _plain(check.terms)]
    return tuple(dict.fromkeys([*parts, *fittings, *first, *rest]))


@dataclass
class _Slots:
    """The fillers of each slot for one check."""

    fillers: dict[str, list[str]]
    draw: random.Random

    def fill(self, carrier: str) -> str | None:
        """The carrier with every slot filled; None when a slot has no fillers here."""
        missing = [slot for slot in _SLOT.findall(carrier) if not self.fillers.get(slot)]
        if missing:
            return None
        return _SLOT.sub(lambda match: self.draw.choice(self.fillers[match.group(1)]), carrier)


def _spoken_forms(draw: random.Random, conditions: Sequence[Condition]) -> list[str]:
    """Condition phrases with some of their inflections."""
    forms: list[str] = []
    for condition in conditions:
        for phrase in _plain([condition.say]):
            forms.append(phrase)
            head, _, tail = phrase.partition(" ")
            if not is_fixed(condition.say):
                others = verb_forms(head)
                forms += [f"{other} {tail}".strip() for other in draw.sample(others, min(2, len(others)))]
    return forms


def _lists(check: Check, pack: Pack) -> list[ConditionLists]:
    return [check, *(aspect for aspect in pack.aspects if aspect.id in check.aspects)]


def _drawn_sentences(pack: Pack) -> list[str]:
    draw = random.Random(SEED)
    numbers = _number_phrases(draw)
    units = _unit_words()
    general = [aspect for aspect in pack.aspects if aspect.id == GENERAL]
    parts = {part.id: part.terms for part in (*pack.parts, *pack.head.fittings)}
    names = {name for aspect in pack.aspects for name in aspect.names}
    stations = [phrase for station in pack.head.stations for phrase in _plain(station.terms)]
    facts = [phrase for fact in pack.facts for phrase in _plain((*fact.lead, *fact.tail))]
    choices = [p for fact in pack.facts for phrases in fact.choices.values() for p in _plain(phrases)]
    fittings = [phrase for fitting in pack.head.fittings for phrase in _plain(fitting.terms)]
    usual = _Slots({}, draw)
    common = {
        "good": _spoken_forms(draw, general[0].good), "bad": _spoken_forms(draw, general[0].bad),
        "unwanted": _plain(c.say for c in general[0].unwanted),
    }  # fmt: skip
    sentences: list[str] = []
    for check in pack.checks:
        lists = _lists(check, pack)
        terms = _plain(check.terms)
        own_parts = [phrase for part in check.parts for phrase in _plain(parts[part])] or terms
        good = [form for one in lists for form in _spoken_forms(draw, one.good)] + _plain(check.noted)
        bad = [form for one in lists for form in _spoken_forms(draw, one.bad)]
        fillers = {
            "check": terms, "part": own_parts + terms, "good": good + draw.sample(common["good"], 20),
            "bad": bad + draw.sample(common["bad"], 20),
            "unwanted": _plain(c.say for one in lists for c in one.unwanted) or common["unwanted"],
            "wanted": _plain(c.say for one in lists for c in one.wanted),
            "number": numbers, "unit": units, "station": stations, "fact": facts, "fitting": fittings,
        }  # fmt: skip
        slots = _Slots(fillers, draw)
        for _ in range(SENTENCES_A_CHECK):
            filled = slots.fill(draw.choice(pack.carriers))
            if filled:
                sentences.append(filled)
        sentences += _each_once(draw, fillers)
    usual.fillers = {"number": numbers, "unit": units, "fitting": fittings, "station": stations, "fact": facts}
    for carrier in pack.carriers:
        for _ in range(12):
            filled = usual.fill(carrier)
            if filled:
                sentences.append(filled)
    sentences += [f"the {name} is fine" for name in sorted(names) if _WORDS_ONLY.match(name)]
    sentences += choices + facts
    sentences += [phrase for cue in pack.cues for phrase in _sampled(draw, _plain(cue.phrases), 60)]
    sentences += [cue.example for cue in pack.cues]
    return [" ".join(re.sub(r"[^a-z' ]", " ", sentence).split()) for sentence in sentences]


def _sampled(draw: random.Random, phrases: list[str], most: int) -> list[str]:
    return phrases if len(phrases) <= most else draw.sample(phrases, most)


def _each_once(draw: random.Random, fillers: dict[str, list[str]]) -> list[str]:
    """Every term and every condition of a check in at least one plain sentence."""
    sentences = []
    for term in fillers["check"]:
        sentences.append(f"{term} {draw.choice(fillers['good'])}")
        sentences += [f"the {term} {draw.choice(['is', 'are'])} {draw.choice(fillers['good'])}"]
        sentences += [f"{plural} {draw.choice(fillers['bad'])}" for plural in plural_forms(term)]
    for kind in ("good", "bad"):
        for phrase in fillers[kind]:
            sentences.append(f"{draw.choice(fillers['part'])} {phrase}")
    for phrase in (*fillers["unwanted"], *fillers["wanted"]):
        sentences.append(f"no {phrase}")
        sentences.append(f"{phrase} at the {draw.choice(fillers['part'])}")
    return sentences


def _pack_sentences(pack: Pack) -> list[str]:
    """The pack's own labelled sentences as plain words; those written with digits are left out."""
    from voicenotes.vocabulary.load import load_sentences

    if not pack.home:
        return []
    said = []
    for _, _, sentence in load_sentences(Path(pack.home)):
        for part in re.split(r"[.!?;]", sentence.say.lower()):
            words = " ".join(re.sub(r"[^a-z0-9' ]", " ", part).split())
            if words and _WORDS_ONLY.match(words):
                said.append(words)
    return said


_ONES = (
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen "
    "seventeen eighteen nineteen"
).split()
_TENS = "twenty thirty forty fifty sixty seventy eighty ninety".split()


def _small(number: int) -> str:
    if number < 20:
        return _ONES[number]
    tens, ones = divmod(number, 10)
    return _TENS[tens - 2] + (f" {_ONES[ones]}" if ones else "")


def _number_phrases(draw: random.Random) -> list[str]:
    """Numbers as technicians say them: small, hundreds, thousands, decimals, halves, digits."""
    phrases = [_small(number) for number in range(1, 100)] * 2
    for _ in range(250):
        hundred, rest = draw.randint(1, 9), draw.randint(1, 99)
        phrases.append(draw.choice([
            f"{_small(hundred)} hundred", f"{_small(hundred)} hundred and {_small(rest)}",
            f"{_small(hundred)} {_small(max(10, rest))}", f"a hundred and {_small(rest)}",
            f"{_small(rest)} thousand", f"{_small(rest)} thousand {_small(hundred)} hundred",
            f"{_small(hundred)} thousand", f"{_small(draw.randint(11, 49))} hundred",
            f"point {_small(hundred)}", f"point oh {_small(hundred)}", f"point oh oh {_small(hundred)}",
            f"{_small(rest)} point {_small(hundred)}", f"{_small(hundred)} and a half", "half a", "a couple of",
            f"zero point {_small(hundred)}", f"two thousand and {_small(draw.randint(1, 24))}",
            f"twenty {_small(draw.randint(10, 24))}", f"nineteen ninety {_small(hundred)}",
            " ".join(draw.choice([*_ONES[1:10], "oh"]) for _ in range(draw.randint(4, 7))),
        ]))  # fmt: skip
    return phrases


def _unit_words() -> list[str]:
    """All spoken forms of the shared units that are plain words."""
    data = read_yaml(vocab_home() / SHARED_LANGUAGE / "units.yaml").value
    found: set[str] = set()

    def collect(value: object) -> None:
        if isinstance(value, dict):
            for key, item in value.items():
                if key in ("forms", "said", "spoken", "words", "say"):
                    found.update(_strings(item))
                collect(item)
        elif isinstance(value, list):
            for item in value:
                collect(item)

    collect(data)
    return sorted(word for word in found if _WORDS_ONLY.match(word))


def _strings(value: object) -> list[str]:
    if isinstance(value, str):
        return [value]
    if isinstance(value, list):
        return [item for item in value if isinstance(item, str)]
    return []
