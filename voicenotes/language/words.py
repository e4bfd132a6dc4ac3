"""From a transcript to the plain words that the reader works on, each tied to its place and time."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from voicenotes.language.spelled_codes import spelling
from voicenotes.language.written_units import written_pieces
from voicenotes.vocabulary.expand import morphology

if TYPE_CHECKING:
    from voicenotes.model import Transcript

WEAK, STRONG = 1, 2
_STRONG_MARKS = frozenset(".!?;…")
_NUMERO = "no."
_DASHES = ("-", "\u2013")
_WEAK_MARKS = frozenset(",:\u2013\u2014()")
PUNCTUATED_PAUSE_S = (0.7, 1.6)
BARE_PAUSE_S = (0.3, 0.6)
# Nobody says so many words without a pause. The work on a sentence grows with the square of its length, so a
# text that has neither marks nor pauses is cut here, at a weak break or a joining word among the last ones.
LONGEST_SENTENCE_WORDS = 400
_SEEK_BACK_WORDS = 60
_JOINING = frozenset({"and", "but", "then", "next", "so"})


@dataclass(frozen=True)
class Words:
    """A transcript as parallel lists, one entry a word.

    norms   lower-case words, contractions taken apart ("didn't" is "did", "not")
    breaks  0, WEAK or STRONG: the pause or punctuation mark before the word
    starts, ends   character places in `text`
    heads   like starts, with the marks in front: (open
    spoken  index of the transcript's word that each belongs to
    """

    text: str
    norms: tuple[str, ...]
    breaks: tuple[int, ...]
    starts: tuple[int, ...]
    ends: tuple[int, ...]
    spoken: tuple[int, ...]
    heads: tuple[int, ...]

    def __len__(self) -> int:
        return len(self.norms)

    def quote(self, start: int, end: int) -> str:
        """The transcript's own text of words start..end (exclusive), with its punctuation."""
        if start >= end:
            return ""
        first = self.heads[start] if start else 0
        last = self.heads[end] if end < len(self) else len(self.text)
        return self.text[first:last].strip()


@lru_cache(maxsize=1)
def _tokenizer() -> Any:
    import spacy

    return spacy.blank("en").tokenizer


@lru_cache(maxsize=50_000)
def split_word(word: str) -> tuple[tuple[str, int, int, int], ...]:
    """One whitespace-free piece of text as (norm, start, end, break after) pieces.

    A piece with an empty norm is punctuation only.
    """
    pieces: list[tuple[str, int, int, int]] = []
    clitics = morphology().clitics
    for token in _tokenizer()(word.replace("\u2019", "'").replace("\u2018", "'")):
        text, start = token.text, token.idx
        end = start + len(text)
        low = text.lower()
        if not any(letter.isalnum() for letter in low) and low not in clitics and low != "'s":
            mark = STRONG if _STRONG_MARKS & set(low) else WEAK if _WEAK_MARKS & set(low) else 0
            pieces.append(("", start, end, mark))
            continue
        mark = 0
        while len(low) > 1 and low[-1] in ".!?;,:":  # "rpm." and the like, which the tokenizer keeps whole
            mark = max(mark, STRONG if low[-1] in _STRONG_MARKS else WEAK)
            low = low[:-1]
        norm = clitics.get(low, low)
        if low in ("'s", "s") and pieces and pieces[-1][0] in morphology().is_after:
            norm = "is"
        pieces.append((norm, start, end, mark))
    return tuple(pieces)


def _pieces(piece: str, before: str, following: str) -> tuple[tuple[str, int, int, int], ...]:
    """Like `split_word`, with written numbers and units ("7%", "60°C") as the words they stand for."""
    after_number = before[-1:].isdigit()
    if piece.isalpha() and not after_number:
        return split_word(piece)
    if piece in _DASHES and after_number and following[:1].isdigit():
        return (("-", 0, 1, 0),)
    if piece.lower() == _NUMERO and following[:1].isdigit():
        return ((_NUMERO[:-1], 0, 2, 0),)
    letters = piece.rstrip(".,;:!?").replace("-", "").lower()
    if "-" in piece and letters in spelling().letters:  # "X-ray"
        return ((letters, 0, len(piece.rstrip(".,;:!?")), 0),)
    written = written_pieces(piece, before, following.lower().strip(".,;:!?"))
    if written is None:
        return split_word(piece)
    rest = set(piece[written[-1].end :])
    mark = STRONG if rest & _STRONG_MARKS else WEAK if rest & _WEAK_MARKS else 0
    return (*((*each, 0) for each in written[:-1]), (*written[-1], mark))


def norms_of(phrase: str) -> tuple[str, ...]:
    """The words of a plain phrase of the pack, as they would appear in `Words.norms`."""
    return tuple(norm for word in phrase.split() for norm, *_ in split_word(word) if norm)


def words_of(transcript: Transcript) -> Words:
    """Take a transcript apart. Pauses count as breaks: longer ones are needed where the text has
    punctuation of its own, shorter ones where it has none."""
    spoken_words = transcript.words
    text = transcript.text
    marks = sum(1 for word in spoken_words if word.text[-1:] in ".,!?;")
    weak_s, strong_s = PUNCTUATED_PAUSE_S if marks * 25 >= len(spoken_words) else BARE_PAUSE_S
    norms: list[str] = []
    breaks: list[int] = []
    starts: list[int] = []
    ends: list[int] = []
    spoken: list[int] = []
    heads: list[int] = []
    pending = STRONG
    place = 0
    previous_end = 0.0
    for index, word in enumerate(spoken_words):
        if index:
            pause = word.start - previous_end
            if pause >= strong_s:
                pending = STRONG
            elif pause >= weak_s:
                pending = max(pending, WEAK)
        previous_end = word.end
        for piece in word.text.split() or [""]:
            offset = place + word.text.find(piece)
            head, after = offset, 0
            following = spoken_words[index + 1].text if index + 1 < len(spoken_words) else ""
            for norm, start, end, mark in _pieces(piece, norms[-1] if norms else "", following):
                if norm:
                    norms.append(norm)
                    breaks.append(pending)
                    starts.append(head if head == offset + start else offset + start)  # one object, not two
                    ends.append(offset + end)
                    spoken.append(index)
                    heads.append(head)
                    pending = 0
                    head = -1
                if head < 0:
                    head = offset + end
                after = max(after, mark)
            pending = max(pending, after)
        place += len(word.text) + 1
    _cut_endless(norms, breaks, spoken)
    return Words(text, tuple(norms), tuple(breaks), tuple(starts), tuple(ends), tuple(spoken), tuple(heads))


def _cut_endless(norms: list[str], breaks: list[int], spoken: list[int]) -> None:
    """Put a strong break into every stretch of more than LONGEST_SENTENCE_WORDS words without one."""
    start = 0
    for at in range(1, len(norms)):
        if breaks[at] == STRONG:
            start = at
        if at - start < LONGEST_SENTENCE_WORDS:
            continue
        whole = [near for near in range(at, at - _SEEK_BACK_WORDS, -1) if spoken[near] != spoken[near - 1]]
        better = [near for near in whole if breaks[near] or norms[near] in _JOINING]
        for near in (*better, *whole)[:1]:
            breaks[near] = STRONG
            start = near
