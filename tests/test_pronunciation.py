"""How words sound: each source in its order, each kind of guess by example."""

from __future__ import annotations

from pathlib import Path

import pytest

from voicenotes.errors import EngineError
from voicenotes.speech.dictionary_file import write_dictionary
from voicenotes.vocabulary.pronunciation import (
    bundled_dictionary,
    english_sounds,
    in_dictionary,
    pronunciations,
)

ARPABET = {sound for sounds in bundled_dictionary().values() for line in sounds for sound in line.split()}


def said(word: str, given: dict[str, tuple[str, ...]] | None = None) -> tuple[str, ...]:
    return pronunciations(word, given or {}, in_dictionary, english_sounds())


@pytest.mark.parametrize(
    ("word", "sounds"),
    [
        ("thou", "TH AW"),  # the shared list, before the dictionary's DH AW
        ("psi", "P IY EH S AY"),
        ("chuck", "CH AH K"),  # CMUdict
        ("tailstock", "T EY L S T AA K"),  # compounds
        ("headstock", "HH EH D S T AA K"),
        ("toolsetter", "T UW L S EH T ER"),
        ("sub-spindle", "S AH B S P IH N D AH L"),
        ("tailstocks", "T EY L S T AA K S"),
        ("jumpered", "JH AH M P ER D"),  # stem and ending
        ("collets", "K AA L IH T S"),  # the rules and an ending: see the pack case below for the stem
        ("vdi", "V IY D IY AY"),  # letters
        ("bmt", "B IY EH M T IY"),
        ("mcbs", "EH M S IY B IY Z"),
        ("x", "EH K S"),
        ("swarf", "S W AO R F"),  # spelling rules
        ("zibble", "Z IH B AH L"),
    ],
)
def test_sounds(word: str, sounds: str) -> None:
    given = {"collet": ("K AA L IH T",)}
    assert said(word, given)[0] == sounds


@pytest.mark.parametrize(
    ("ending", "sounds"),
    [("zibs", "Z IH B Z"), ("zips", "Z IH P S"), ("zishes", "Z IH SH IH Z"), ("zishing", "Z IH SH IH NG")],
)
def test_endings_follow_the_last_sound(ending: str, sounds: str) -> None:
    given = {"zib": ("Z IH B",), "zip": ("Z IH P",), "zish": ("Z IH SH",)}
    assert said(ending, given) == (sounds,)


@pytest.mark.parametrize(
    ("past", "sounds"), [("zibbed", "Z IH B D"), ("zished", "Z IH SH T"), ("zatted", "Z AE T IH D")]
)
def test_past_tense_follows_the_last_sound(past: str, sounds: str) -> None:
    given = {"zib": ("Z IH B",), "zish": ("Z IH SH",), "zat": ("Z AE T",)}
    assert said(past, given) == (sounds,)


def test_the_packs_own_go_first() -> None:
    assert said("chuck", {"chuck": ("CH UH K",)}) == ("CH UH K",)


def test_all_variants_of_the_dictionary_are_kept() -> None:
    assert len(said("the")) >= 2


@pytest.mark.parametrize("word", ["the", "read", "tomato", "lathe", "zibble"])
def test_one_look_up_gives_what_the_whole_dictionary_has(word: str) -> None:
    assert in_dictionary(word) == bundled_dictionary().get(word, ())[:4]


def test_spelling_rules_come_near_cmudict() -> None:
    """Rules alone against CMUdict's own transcriptions of 400 common words: under 25 % of sounds wrong.

    Source: the dictionary inside pocketsphinx. Published rule sets do about as well.
    """
    from rapidfuzz.distance import Levenshtein

    known = bundled_dictionary()
    words = [word for word in sorted(known) if word.isalpha() and 5 <= len(word) <= 9][::150]
    wrong = total = 0
    for word in words:
        guess = pronunciations(word, {}, lambda _: (), english_sounds())[0].split()
        wrong += min(Levenshtein.distance(guess, sounds.split()) for sounds in known[word])
        total += len(known[word][0].split())
    assert len(words) > 300
    assert wrong / total < 0.25


def test_every_word_gets_only_sounds_the_acoustic_model_has() -> None:
    for word in ["qwyx", "ghoti", "zzz", "eau", "aeiou", "rhythmless", "bcd", "o'zib", "schnurr"]:
        assert said(word), word
        for sounds in said(word):
            assert set(sounds.split()) <= ARPABET, (word, sounds)


def test_dictionary_file(tmp_path: Path) -> None:
    path = tmp_path / "words.dict"
    silent = write_dictionary(["the", "vdi", "...", "the"], {"vdi": ("V IY",)}, path)
    lines = path.read_text(encoding="utf-8").splitlines()
    assert silent == ["..."]
    assert lines[0].startswith("the ") and lines[1].startswith("the(2) ")
    assert lines[-1] == "vdi V IY"


def test_unwritable_dictionary_is_an_engine_error(tmp_path: Path) -> None:
    with pytest.raises(EngineError, match="can't write the dictionary"):
        write_dictionary(["the"], {}, tmp_path / "absent" / "words.dict")
