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
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

from voicenotes.vocabulary.expand import (
    WORDS_ONLY,
    is_fixed,
    morphology,
    plain_phrases,
    plural_forms,
    verb_forms,
)
from voicenotes.vocabulary.homes import everyday_words
from voicenotes.vocabulary.material_numbers import number_phrases, reading_sentences, unit_words
from voicenotes.vocabulary.material_talk import cue_fillers, plate_fillers, value_phrases
from voicenotes.vocabulary.schema import GENERAL

if TYPE_CHECKING:
    from collections.abc import Iterable

    from voicenotes.vocabulary.schema import Aspect, Check, Condition, ConditionLists, Pack

SEED = 20
SENTENCES_A_CHECK = 160
PHRASES_A_SLOT = 40
CUES_A_KIND = 30
WEIGHT_OF_NATURAL_SENTENCES = 8
WEIGHT_OF_COMMANDS = 9  # or they drown in the dictation, and are misheard in noise
_SLOT = re.compile(r"\{(\w+)\}")


@dataclass(frozen=True)
class SpeechMaterial:
    """What a pack tells an engine about the words to expect.

    `terms` are the pack's phrases in order of importance (most important first).
    `sentences` are whole example utterances in lower case without punctuation, numbers as words.
    `talk` are those of them that somebody composed as people talk, each once.
    `pronunciations` maps a lower-case word to ARPAbet transcriptions ("HH EH D S T AA K").
    `digest` changes whenever any of it changes, so that compiled models can be cached.
    """

    terms: tuple[str, ...] = ()
    sentences: tuple[str, ...] = ()
    talk: tuple[str, ...] = ()
    pronunciations: dict[str, tuple[str, ...]] = field(default_factory=dict)
    digest: str = ""


@dataclass(frozen=True)
class Drawn:
    """What `material_of` puts together: nothing in it stands twice for its weight."""

    terms: tuple[str, ...]
    drawn: tuple[str, ...]
    natural: tuple[str, ...]
    in_full: tuple[str, ...]
    pronunciations: dict[str, tuple[str, ...]]


def speech_material(pack: Pack) -> SpeechMaterial:
    """The terms, sentences and pronunciations of a pack, for biasing or compiling an engine."""
    return material_of(drawn_from(pack))


def drawn_from(pack: Pack) -> Drawn:
    """Draws the pack's sentences and spells all words one way."""
    commands = [*pack.commands.sentences()] * WEIGHT_OF_COMMANDS
    natural = [*_pack_sentences(pack), *_dictation(pack), *commands]
    full = _in_full(natural)
    respelt = _one_spelling([*natural, *full, *_drawn_sentences(pack)])
    return Drawn(
        terms=tuple(dict.fromkeys(_one_spelling(_terms_by_importance(pack)))),
        drawn=tuple(respelt[len(natural) + len(full) :]),
        natural=tuple(respelt[: len(natural)]),
        in_full=tuple(respelt[len(natural) : len(natural) + len(full)]),
        pronunciations=dict(pack.pronunciations),
    )


def material_of(parts: Drawn) -> SpeechMaterial:
    """The material with each part as often as it weighs."""
    often = (*parts.natural, *parts.in_full) * WEIGHT_OF_NATURAL_SENTENCES
    digest = hashlib.sha256(f"{WEIGHT_OF_NATURAL_SENTENCES}\n".encode())
    for lines in (parts.terms, parts.drawn, parts.natural, parts.in_full):
        digest.update("\n".join((*lines, "\n")).encode())
    digest.update(json.dumps(sorted(parts.pronunciations.items())).encode())
    return SpeechMaterial(
        terms=parts.terms,
        sentences=(*parts.drawn, *often),
        talk=parts.natural,
        pronunciations=parts.pronunciations,
        digest=digest.hexdigest()[:16],
    )


def _terms_by_importance(pack: Pack) -> tuple[str, ...]:
    """The first term of each critical or must-do check, then parts, fittings, the rest."""
    grave = sorted(
        pack.checks,
        key=lambda c: ({"critical": 0, "major": 1, "minor": 2}[c.severity], not c.must_before_leaving),
    )
    first = [phrase for check in grave for phrase in plain_phrases(check.terms[:1])[:1]]
    parts = [phrase for part in pack.parts for phrase in plain_phrases(part.terms[:1])[:1]]
    fittings = [phrase for fitting in pack.head.fittings for phrase in plain_phrases(fitting.terms[:1])[:1]]
    rest = [phrase for check in grave for phrase in plain_phrases(check.terms)]
    return tuple(dict.fromkeys([*parts, *fittings, *first, *rest]))


def _spoken_forms(conditions: Iterable[Condition]) -> list[str]:
    """Condition phrases as they stand, and single verbs also in such -s and -ing forms as people use."""
    known = frozenset(everyday_words())
    forms: list[str] = []
    for condition in conditions:
        phrases = plain_phrases([condition.say])
        forms += phrases
        if not is_fixed(condition.say):
            for phrase in phrases:
                forms += [f for f in verb_forms(phrase) if f.endswith(("s", "ing")) and f in known]
    return list(dict.fromkeys(forms))


def _drawn_sentences(pack: Pack) -> list[str]:
    draw = random.Random(SEED)
    numbers, units = number_phrases(draw), unit_words()
    general = next(aspect for aspect in pack.aspects if aspect.id == GENERAL)
    common = {"good": _spoken_forms(general.good), "bad": _spoken_forms(general.bad)}
    parts = {part.id: part.terms for part in pack.parts}
    parts |= {fitting.id: fitting.terms for fitting in pack.head.fittings}
    shared = {
        **cue_fillers(pack),
        **plate_fillers(draw),
        "value": value_phrases(draw, numbers),
        "number": numbers,
        "unit": units,
        "station": [phrase for station in pack.head.stations for phrase in plain_phrases(station.terms)],
        "fact": [p for fact in pack.facts for p in plain_phrases((*fact.lead[:4], *fact.tail[:4]))],
        "fitting": [phrase for fitting in pack.head.fittings for phrase in plain_phrases(fitting.terms)],
    }
    sentences: list[str] = []
    for check in pack.checks:
        aspects = [aspect for aspect in pack.aspects if aspect.id in check.aspects]
        fillers = _fillers(draw, check, aspects, parts, common) | shared
        for carrier in draw.choices(pack.carriers or ("{check} {good}",), k=SENTENCES_A_CHECK):
            filled = _fill(draw, carrier, fillers)
            if filled:
                sentences.append(filled)
        sentences += _each_once(draw, fillers)
    sentences += reading_sentences(pack, draw, numbers)
    for carrier in pack.carriers:
        sentences += [filled for _ in range(8) if (filled := _fill(draw, carrier, shared))]
    names = {name for aspect in pack.aspects for name in aspect.names}
    sentences += [f"the {name} is fine" for name in sorted(names) if WORDS_ONLY.match(name)]
    sentences += [p for fact in pack.facts for said in fact.choices.values() for p in plain_phrases(said)]
    for cue in pack.cues:
        phrases = plain_phrases(cue.phrases)
        sentences += phrases if len(phrases) <= CUES_A_KIND else draw.sample(phrases, CUES_A_KIND)
        sentences.append(cue.example)
    return [_as_words(sentence) for sentence in sentences]


def _fillers(
    draw: random.Random,
    check: Check,
    aspects: list[Aspect],
    parts: dict[str, tuple[str, ...]],
    common: dict[str, list[str]],
) -> dict[str, list[str]]:
    """What can stand in each slot for one check: its own phrases, and some that suit everything."""
    lists: list[ConditionLists] = [check, *aspects]
    terms = _few(draw, plain_phrases(check.terms), PHRASES_A_SLOT)
    named = [phrase for part in check.parts for phrase in plain_phrases(parts[part])[:6]]
    good = [form for one in lists for form in _spoken_forms(one.good)] + plain_phrases(check.noted)
    bad = [form for one in lists for form in _spoken_forms(one.bad)]
    return {
        "check": terms,
        "part": _few(draw, named, PHRASES_A_SLOT) or terms,
        "good": _few(draw, good, PHRASES_A_SLOT) + draw.sample(common["good"], 12),
        "bad": _few(draw, bad, PHRASES_A_SLOT) + draw.sample(common["bad"], 12),
        "unwanted": _few(draw, plain_phrases(c.say for one in lists for c in one.unwanted), PHRASES_A_SLOT),
        "wanted": plain_phrases(c.say for one in lists for c in one.wanted)[:10],
    }


def _few(draw: random.Random, phrases: list[str], most: int) -> list[str]:
    """The first quarter of what may be had, the commonest, and some of the rest."""
    phrases = list(dict.fromkeys(phrases))
    if len(phrases) <= most:
        return phrases
    first = most // 4
    return phrases[:first] + draw.sample(phrases[first:], most - first)


def _fill(draw: random.Random, carrier: str, fillers: dict[str, list[str]]) -> str | None:
    """The carrier with every slot filled; None when a slot has no fillers here."""
    if any(not fillers.get(slot) for slot in _SLOT.findall(carrier)):
        return None
    return _SLOT.sub(lambda match: draw.choice(fillers[match.group(1)]), carrier)


def _each_once(draw: random.Random, fillers: dict[str, list[str]]) -> list[str]:
    """Every term and every condition drawn for a check in at least one plain sentence."""
    sentences = []
    for term in fillers["check"]:
        sentences.append(f"the {term} {draw.choice(['is', 'are'])} {draw.choice(fillers['good'])}")
        sentences += [f"{plural} {draw.choice(fillers['bad'])}" for plural in plural_forms(term)]
    for kind in ("good", "bad"):
        for phrase in fillers[kind] + [word for word in fillers[kind] if " " not in word] * 2:
            part = draw.choice(fillers["part"] or fillers["check"] or ["it"])
            link = "" if phrase.partition(" ")[0].endswith("s") else draw.choice(["is ", "are ", "'s "])
            sentences.append(f"the {part} {link}{phrase}")
    for phrase in (*fillers["unwanted"], *fillers["wanted"]):
        sentences.append(f"no {phrase}")
        sentences.append(f"there's {phrase} on the {draw.choice(fillers['part'] or ['machine'])}")
    return sentences


def _as_words(sentence: str) -> str:
    return " ".join(re.sub(r"[^a-z' ]", " ", sentence.lower()).split()).replace(" 's ", "'s ")


def _dictation(pack: Pack) -> list[str]:
    """The pack's example dictation: `dictation/*.txt`, one utterance a line."""
    lines: list[str] = []
    for path in sorted((Path(pack.home) / "dictation").glob("*.txt")) if pack.home else []:
        lines += [_as_words(line) for line in path.read_text(encoding="utf-8").splitlines()]
    return [line for line in lines if line]


def _in_full(sentences: Iterable[str]) -> list[str]:
    """Those sentences that have contractions, with them taken apart: "could not", "it is"."""
    apart = morphology().contractions
    taken = [" ".join(apart.get(word, word) for word in sentence.split()) for sentence in sentences]
    return [full for full, sentence in zip(taken, sentences, strict=True) if full != sentence]


def _one_spelling(sentences: Iterable[str]) -> list[str]:
    """The same words spelt one way: apart where the pack knows both ("draw tube", "drawtube"), or as
    `morphology.yaml` prefers. A recogniser can't hear the difference, and splits its bets over both."""
    lines = [sentence.split() for sentence in sentences]
    prefer = morphology().spelling
    words = {word for line in lines for word in line}
    apart = {
        first + second: f"{first} {second}"
        for line in lines
        for first, second in pairwise(line)
        if first + second in words and min(len(first), len(second)) > 2 and first + second not in prefer
    }
    respelt = []
    for line in lines:
        spelt: list[str] = []
        for word in line:
            bare, mark, ending = word.partition("'")
            word = prefer.get(bare, apart.get(bare, bare)) + mark + ending
            bare = word.partition("'")[0]
            if spelt and prefer.get(spelt[-1] + bare) == spelt[-1] + bare:
                word = spelt.pop() + word  # "hand wheel's" is "handwheel's"
            spelt.append(word)
        respelt.append(" ".join(spelt))
    return respelt


def _pack_sentences(pack: Pack) -> list[str]:
    """The pack's own labelled sentences as plain words; those written with digits are left out."""
    from voicenotes.vocabulary.load import load_sentences

    if not pack.home:
        return []
    said = []
    for _, _, sentence in load_sentences(Path(pack.home)):
        for part in re.split(r"[.!?;]", ". ".join(sentence.texts).lower()):
            words = " ".join(re.sub(r"[^a-z0-9' ]", " ", part).split())
            if words and WORDS_ONLY.match(words):
                said.append(words)
    return said
