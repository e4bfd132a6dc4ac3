"""From a phrase as the pack writes it to every word sequence that it stands for."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from voicenotes.vocabulary.homes import SHARED_LANGUAGE, vocab_home
from voicenotes.vocabulary.yaml_files import read_yaml

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

_PIECE = re.compile(r"\(([^()<>]*)\)|<([^()<>]*)>|([^()<>]+)")
_GLUED = re.compile(r"[^ (][(<]|[)>][^ )<(]")
_SIBILANT = ("s", "x", "z", "ch", "sh")
WORDS_ONLY = re.compile(r"[a-z' ]+$")


@dataclass(frozen=True)
class Morphology:
    """What `english/morphology.yaml` holds."""

    clitics: dict[str, str]
    is_after: frozenset[str]
    fixed: frozenset[str]
    compared: dict[str, str]
    irregular: dict[str, tuple[str, ...]]
    function: frozenset[str]
    spelling: dict[str, str]
    contractions: dict[str, str]


@lru_cache(maxsize=1)
def morphology() -> Morphology:
    """The shared word-change data, read once."""
    data = read_yaml(vocab_home() / SHARED_LANGUAGE / "morphology.yaml").value
    return Morphology(
        clitics=data["clitics"],
        is_after=frozenset(data["is_after"]),
        fixed=frozenset(str(word) for word in data["fixed"]),
        compared=data["compared"],
        irregular={verb: tuple(forms) for verb, forms in data["irregular"].items()},
        function=frozenset(str(word) for word in data["function"]),
        spelling=data["spelling"],
        contractions=data["contractions"],
    )


def expand(phrase: str) -> list[str]:
    """All plain phrases that a template stands for; "(a|b) c <d>" gives four.

    The leading "=" is dropped; `is_fixed` tells whether it was there.
    """
    choices: list[list[str]] = []
    for choice, option, plain in _PIECE.findall(phrase.removeprefix("=")):
        if choice:
            choices.append(choice.split("|"))
        elif option:
            choices.append(["", *option.split("|")])
        else:
            choices.append([plain])
    results = [""]
    for options in choices:
        results = [head + option for head in results for option in options]
    unique = dict.fromkeys(" ".join(result.split()) for result in results)
    return [result for result in unique if result]


def expand_words(phrase: str, words_of: Callable[[str], tuple[str, ...]]) -> list[tuple[str, ...]]:
    """All word sequences that a template stands for, as `words_of` takes plain text apart.

    Choices that come to the same words ("didn't", "did not") are merged, which keeps templates with
    long choices small.
    """
    bare = phrase.removeprefix("=")
    if _GLUED.search(bare):
        return list(dict.fromkeys(words_of(plain) for plain in expand(bare)))
    results: list[tuple[str, ...]] = [()]
    for choice, option, plain in _PIECE.findall(bare):
        options = choice.split("|") if choice else ["", *option.split("|")] if option else [plain]
        pieces = dict.fromkeys(words_of(piece) for piece in options)
        results = [head + piece for head in results for piece in pieces]
    return [result for result in dict.fromkeys(results) if result]


def is_fixed(phrase: str) -> bool:
    """Whether the pack asked for this phrase to be taken as it stands."""
    return phrase.startswith("=")


@lru_cache(maxsize=20_000)
def plural_forms(word: str, as_noun: bool = False) -> tuple[str, ...]:
    """The other number of a noun: "jaw" gives "jaws", "batteries" gives "battery".

    Words that `morphology.yaml` calls fixed have none, unless they are known to be nouns here ("oils").
    """
    if len(word) < 3 or not word.isalpha() or (word in morphology().fixed and not as_noun):
        return ()
    if word in morphology().fixed and word in morphology().function:
        return ()
    if word.endswith("ies") and len(word) > 4:
        return (word[:-3] + "y",)
    if word.endswith(("xes", "ches", "shes", "sses", "zzes")):
        return (word[:-2],)
    if word.endswith("s") and not word.endswith(("ss", "us", "is")):
        return (word[:-1],)
    if word.endswith(("us", "is")):
        return (word + "es",)
    if word.endswith("y") and word[-2] not in "aeiou":
        return (word[:-1] + "ies",)
    if word.endswith(_SIBILANT):
        return (word + "es",)
    return (word + "s",)


@lru_cache(maxsize=20_000)
def verb_forms(word: str) -> tuple[str, ...]:
    """The other forms of a verb given as base or -s form: "growls" gives growl, growled, growling.

    Words in -ed and -ing, short words and those that `morphology.yaml` calls fixed have none.
    """
    data = morphology()
    if len(word) < 3 or not word.isalpha() or word in data.fixed or word.endswith(("ed", "ing", "ly")):
        return ()
    base = word
    if word.endswith("s") and not word.endswith(("ss", "us")):
        base = plural_forms(word)[0] if plural_forms(word) else word[:-1]
    forms = {base, *(plural_forms(base) if not base.endswith("s") or base.endswith("ss") else ())}
    if base in data.irregular:
        forms |= set(data.irregular[base])
    if base.endswith("e"):
        forms |= {base + "d", base[:-1] + "ing"}
    elif base.endswith("y") and base[-2] not in "aeiou":
        forms |= {base[:-1] + "ied", base + "ing"}
    elif base not in data.irregular or not any(form.endswith("ing") for form in data.irregular[base]):
        forms |= {base + "ing"}
        if base not in data.irregular:
            forms |= {base + "ed"}
    return tuple(sorted(forms - {word}))


def joined_forms(words: tuple[str, ...]) -> list[tuple[str, ...]]:
    """A phrase with two neighbouring words written as one: ("draw", "tube") gives ("drawtube",)."""
    return [
        (*words[:at], words[at] + words[at + 1], *words[at + 2 :])
        for at in range(len(words) - 1)
        if len(words[at]) > 2 and len(words[at + 1]) > 2
        and words[at] not in morphology().function and words[at + 1] not in morphology().function
    ]  # fmt: skip


def plain_phrases(phrases: Iterable[str]) -> list[str]:
    """The phrases that templates stand for, those that are nothing but words."""
    return [phrase for template in phrases for phrase in expand(template) if WORDS_ONLY.match(phrase)]
