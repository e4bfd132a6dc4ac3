"""Names of makers, models and controls: the words after "the model is", where they can be a name at all."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.language.everyday import ordinary_words
from voicenotes.language.numbers import parse_number
from voicenotes.language.spans import words_of_all
from voicenotes.language.spelled_codes import code_at, spelling

if TYPE_CHECKING:
    from voicenotes.language.clause_view import ClauseView

STRONG = 2
MOST_WORDS = 4
MOST_SIGNS = 12
_GLUE = ("-", "/")
_ENDS = frozenset(
    {"and", "with", "it", "is", "but", "from", "which", "on", "in", "at", "of", "by", "the", "a"}
)


def view_code(view: ClauseView, at: int, end: int) -> tuple[str, int] | None:
    """The code spelled at `at`; the hyphens and slashes that are written inside a word count: "B70-4"."""
    words = view.words
    norms, breaks, places = list[str](), list[int](), list[int]()
    for place in range(at, end):
        norms.append(words.norms[place])
        breaks.append(words.breaks[place])
        places.append(place)
        glue = words.text[words.ends[place] : words.starts[place + 1]] if place + 1 < len(words) else ""
        one_letter = place + 1 < end and words.norms[place] + words.norms[place + 1] in spelling().letters
        if place + 1 < end and glue in _GLUE and not one_letter:
            norms.append(glue)
            breaks.append(0)
            places.append(place)
    found = code_at(norms, breaks, 0, len(norms))
    if found is None:
        return None
    return found[0], places[found[1]] if found[1] < len(places) else end


def name_at(view: ClauseView, at: int, end: int) -> tuple[str, int] | None:
    """The name that starts at `at`, at most up to `end` -> (the name, where it ends); None when none does.

    A name has a capital, a digit, or a word that everyday English and the pack lack: "control is dead" names
    no control. Numbers in it become digits, and one spelled out becomes a code: "R W thirty eight" is RW38.
    """
    code = view_code(view, at, end)
    if code is not None and any(sign.isalpha() for sign in code[0]) and len(code[0]) <= MOST_SIGNS:
        return code
    pieces: list[str] = []
    place, named = at, False
    while place < end and len(pieces) < MOST_WORDS:
        norm = view.words.norms[place]
        if pieces and (view.words.breaks[place] or norm in _ENDS):
            break
        number = parse_number(view.words.norms[:end], place, ordinals=False)
        if number is not None and not number.comparator and number.kind in ("cardinal", "digits", "paired"):
            pieces.append(number.digits or f"{number.value:g}")
            place = number.end
            named = named or len(pieces) == 1
            continue
        like_name = _is_name(view, place)
        if not like_name and (not named or not _continues(view, place)):
            break
        named = named or like_name
        pieces.append(view.say(place, place + 1).strip(" .,;:!?"))
        place += 1
    if not named or not pieces or (len(pieces) == 1 and pieces[0].isdigit() and len(pieces[0]) < 2):
        return None
    return " ".join(pieces), place


def _is_name(view: ClauseView, word: int) -> bool:
    """Whether a word can be (part of) a name by its capitals, digits, or by being unknown."""
    norm, said = view.words.norms[word], view.say(word, word + 1)
    if any(sign.isdigit() for sign in norm):
        return True
    if norm in _judging_words(view):
        return False
    if (
        said[:1].isupper()
        and view.words.text != view.words.text.upper()
        and view.words.breaks[word] != STRONG
    ):
        return norm != "i"
    return not _written_with_capitals(view) and norm not in ordinary_words() and view.is_unknown(word)


def _continues(view: ClauseView, word: int) -> bool:
    """Whether a word may go on with a name in a transcript without capitals: "redfern control | systems"."""
    return not _written_with_capitals(view) and word not in words_of_all(view.conditions, view.reach.own)


def _written_with_capitals(view: ClauseView) -> bool:
    return any(letter.isupper() for letter in view.words.text[1:])


def _judging_words(view: ClauseView) -> set[str]:
    return {
        view.words.norms[word]
        for word in words_of_all(view.conditions, view.quantities)
        if view.clause.start <= word < view.clause.end
    }
