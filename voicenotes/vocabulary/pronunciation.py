"""How a word sounds, in ARPAbet.

The first source that knows a word decides, with all its variants:

    1  the pack's own pronunciations
    2  vocab/english/pronunciations.yaml, `words`
    3  the dictionary that comes with pocketsphinx (CMUdict)
    4  a known stem with an ending: "chucks", "judders", "clunked"
    5  two known words run together: "tailstock" = tail + stock
    6  letters spelled out: "vdi", "bmt"
    7  spelling rules, the `rules` of the same file

Sources 4 to 7 are guesses; the last one always has an answer for a word with letters in it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import groupby
from typing import TYPE_CHECKING

from voicenotes.errors import EngineError
from voicenotes.vocabulary.homes import SHARED_LANGUAGE, vocab_home

if TYPE_CHECKING:
    from collections.abc import Mapping

LookUp = Callable[[str], tuple[str, ...]]
VOWEL_LETTERS = frozenset("aeiouy")
VOWEL_SOUNDS = frozenset(
    ["AA", "AE", "AH", "AO", "AW", "AY", "EH", "ER", "EY", "IH", "IY", "OW", "OY", "UH", "UW"]
)
HISSING = frozenset(["S", "Z", "SH", "ZH", "CH", "JH"])
UNVOICED = frozenset(["P", "T", "K", "F", "TH", "S", "SH", "CH", "HH"])
MOST_VARIANTS = 4
SHORTEST_PART = 3


@dataclass(frozen=True)
class SpellingRule:
    """`letters` between `left` and `right` (regular expressions) sound like `sounds`."""

    letters: str
    left: re.Pattern[str]
    right: re.Pattern[str]
    sounds: tuple[str, ...]


@dataclass(frozen=True)
class EnglishSounds:
    """The shared pronunciations: whole words, names of letters, spelling rules by first letter.

    `reduced` are forms of small words in the flow of speech, which come beside their others.
    """

    words: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    reduced: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    letters: Mapping[str, str] = field(default_factory=dict)
    rules: Mapping[str, tuple[SpellingRule, ...]] = field(default_factory=dict)


def pronunciations(
    word: str,
    given: Mapping[str, tuple[str, ...]],
    known: LookUp,
    english: EnglishSounds,
) -> tuple[str, ...]:
    """All ARPAbet transcriptions of a lower-case word; empty when it has no letter that can be spoken.

    `given` are the pack's own, word -> transcriptions; `known` looks up the big dictionary.
    """

    def look_up(part: str) -> tuple[str, ...]:
        return given.get(part) or english.words.get(part) or known(part)

    found = (
        look_up(word)
        or _from_pieces(word, given, known, english)
        or _inflected(word, look_up)
        or _compound(word, look_up)
    )
    if found:
        return found[:MOST_VARIANTS]
    spelled, sounded = _spelled(word, english), _by_rules(word, english)
    if not VOWEL_LETTERS & set(word):
        return tuple(filter(None, [spelled]))
    if len(word) <= 4:
        return tuple(dict.fromkeys(filter(None, [spelled, sounded])))
    return tuple(filter(None, [sounded]))


@lru_cache(maxsize=1)
def bundled_dictionary() -> dict[str, tuple[str, ...]]:
    """The pronouncing dictionary that pocketsphinx brings (CMUdict, about 126,000 words), all of it."""
    found: dict[str, list[str]] = {}
    for name, sounds in _dictionary_lines().items():
        found.setdefault(name.partition("(")[0], []).append(sounds.strip())
    return {word: tuple(sounds) for word, sounds in found.items()}


def in_dictionary(word: str) -> tuple[str, ...]:
    """A word's transcriptions in `bundled_dictionary`, without taking the whole of it apart."""
    lines = _dictionary_lines()
    names = (word, *(f"{word}({number})" for number in range(2, MOST_VARIANTS + 1)))
    return tuple(lines[name].strip() for name in names if name in lines)


@lru_cache(maxsize=1)
def _dictionary_lines() -> dict[str, str]:
    """Its lines: "word" or "word(2)" -> sounds. Finds the file without loading pocketsphinx itself."""
    from importlib.util import find_spec
    from pathlib import Path

    spec = find_spec("pocketsphinx")
    if spec is None or not spec.submodule_search_locations:
        raise EngineError("pocketsphinx is not installed: pip install pocketsphinx")
    path = Path(spec.submodule_search_locations[0]) / "model" / "en-us" / "cmudict-en-us.dict"
    if not path.is_file():
        raise EngineError(f"pocketsphinx came without its dictionary {path}: reinstall pocketsphinx")
    lines = (line.split(" ", 1) for line in path.read_text(encoding="utf-8").splitlines())
    return {line[0]: line[1] for line in lines if len(line) == 2}


def english_sounds_text() -> str:
    """vocab/english/pronunciations.yaml as it stands; EngineError when it can't be read."""
    path = vocab_home() / SHARED_LANGUAGE / "pronunciations.yaml"
    try:
        return path.read_text(encoding="utf-8")
    except OSError as error:
        raise EngineError(f"{path} can't be used: {error}; install voicenotes again") from error


@lru_cache(maxsize=1)
def english_sounds() -> EnglishSounds:
    """vocab/english/pronunciations.yaml; EngineError when it is missing or malformed."""
    import yaml

    path = vocab_home() / SHARED_LANGUAGE / "pronunciations.yaml"
    try:
        data = yaml.safe_load(english_sounds_text())
        rules: dict[str, list[SpellingRule]] = {}
        for line in data["rules"]:
            context, _, sounds = line.partition("=")
            left, letters, right = (part.strip() for part in re.split("[<>]", context))
            rule = SpellingRule(letters, re.compile(f"(?:{left})$"), re.compile(right), tuple(sounds.split()))
            rules.setdefault(letters[0], []).append(rule)
        return EnglishSounds(
            words={word: tuple(sounds) for word, sounds in data["words"].items()},
            reduced={word: tuple(sounds) for word, sounds in data.get("reduced", {}).items()},
            letters=dict(data["letters"]),
            rules={letter: tuple(found) for letter, found in rules.items()},
        )
    except (yaml.YAMLError, KeyError, ValueError, TypeError, re.error) as error:
        raise EngineError(f"{path} can't be used: {error}; install voicenotes again") from error


def _from_pieces(
    word: str,
    given: Mapping[str, tuple[str, ...]],
    known: LookUp,
    english: EnglishSounds,
) -> tuple[str, ...]:
    """A hyphenated word as its pieces said one after the other."""
    pieces = [piece for piece in re.split(r"[-_./]", word) if piece]
    if len(pieces) < 2:
        return ()
    sounds = [pronunciations(piece, given, known, english) for piece in pieces]
    return (" ".join(found[0] for found in sounds),) if all(sounds) else ()


def _inflected(word: str, look_up: LookUp) -> tuple[str, ...]:
    for ending, stems in _endings(word):
        for stem in stems:
            found = look_up(stem) if len(stem) >= SHORTEST_PART else ()
            if found:
                return tuple(f"{sounds} {_ending_sounds(ending, sounds)}" for sounds in found)
    return ()


def _endings(word: str) -> list[tuple[str, list[str]]]:
    """Each ending the word may carry, with the stems it may stand on."""
    found = []
    if word.endswith("'s"):
        found.append(("s", [word[:-2]]))
    if word.endswith("s") and not word.endswith("ss"):
        stems = [word[:-1]]
        if word.endswith("ies"):
            stems.append(word[:-3] + "y")
        if word.endswith("es"):
            stems.append(word[:-2])
        found.append(("s", stems))
    for ending in ("ed", "ing", "er", "ers"):
        if word.endswith(ending):
            base = word[: -len(ending)]
            stems = [base, base + "e"]
            if len(base) > 2 and base[-1] == base[-2]:
                stems.append(base[:-1])
            if ending in ("ed", "er", "ers") and base.endswith("i"):
                stems.append(base[:-1] + "y")
            found.append((ending, stems))
    if word.endswith("ly"):
        found.append(("ly", [word[:-2]]))
    if word.endswith("less"):
        found.append(("less", [word[:-4]]))
    return found


def _ending_sounds(ending: str, stem: str) -> str:
    last = stem.split()[-1]
    if ending == "s":
        return "IH Z" if last in HISSING else "S" if last in UNVOICED else "Z"
    if ending == "ed":
        return "IH D" if last in ("T", "D") else "T" if last in UNVOICED else "D"
    return {"ing": "IH NG", "er": "ER", "ers": "ER Z", "ly": "L IY", "less": "L AH S"}[ending]


def _compound(word: str, look_up: LookUp) -> tuple[str, ...]:
    """The most even split into two known words, no plural first: tool|setter, not tools|etter."""
    splits = range(SHORTEST_PART, len(word) - SHORTEST_PART + 1)
    for at in sorted(splits, key=lambda at: (word[at - 1] == "s", abs(2 * at - len(word)))):
        first, second = look_up(word[:at]), look_up(word[at:])
        second = second or _inflected(word[at:], look_up)
        if first and second:
            return tuple(f"{one} {two}" for one in first for two in second)
    return ()


def _spelled(word: str, english: EnglishSounds) -> str:
    plural = word.endswith("'s") or (word.endswith("s") and not VOWEL_LETTERS & set(word))
    names = [english.letters.get(letter, "") for letter in word.removesuffix("s").removesuffix("'")]
    if not plural or len(names) < 2:
        names = [english.letters.get(letter, "") for letter in word]
        plural = False
    spelled = " ".join(filter(None, names))
    return f"{spelled} {_ending_sounds('s', spelled)}" if plural and spelled else spelled


def _by_rules(word: str, english: EnglishSounds) -> str:
    letters = re.sub(r"[^a-z]", "", word)
    sounds: list[str] = []
    at = 0
    while at < len(letters):
        rule = _rule_at(letters, at, english)
        if rule is None:
            at += 1
            continue
        sounds += rule.sounds
        at += len(rule.letters)
    kept = [sound for sound, _ in groupby(sounds)]
    if kept and not VOWEL_SOUNDS & set(kept):
        kept.insert(1, "AH")
    return " ".join(kept)


def _rule_at(letters: str, at: int, english: EnglishSounds) -> SpellingRule | None:
    for rule in english.rules.get(letters[at], ()):
        after = at + len(rule.letters)
        if letters[at:after] != rule.letters:
            continue
        if rule.left.search(letters[:at]) and rule.right.match(letters[after:]):
            return rule
    return None
