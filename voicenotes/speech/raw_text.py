"""A transcript as a recogniser writes it that knows no punctuation and no capitals.

What is part of a number stays (2.5, .002, 2,000, 3/4, 12:30, a minus in front), and so do apostrophes inside
words and signs that are spoken (%, degrees). Hyphens part words: "A2-6" becomes "a2 6".
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from voicenotes.model import Transcript, Word

if TYPE_CHECKING:
    from collections.abc import Iterator

_PLAIN = str.maketrans({"\u2019": "'", "\u2212": "-"})  # typographic apostrophe and minus
_MARK = re.compile(
    r"[^\w\s.,:/'%\u00b0$\u00a3\u20ac&+#-]|_"  # any mark but those below and spoken signs
    r"|\.(?!\d)|(?<=[^\W\d_])\."  # a point, but not that of a number
    r"|(?<!\d)[,:/]|[,:/](?!\d)"
    r"|(?<![^\W_])'|'(?![^\W_])"
    r"|(?<=[\w.])-|-(?![\d.])"
)


def raw_words(text: str) -> list[str]:
    """The words of a text, in lower case and without punctuation."""
    return _MARK.sub(" ", text.lower().translate(_PLAIN)).split()


def raw_transcript(transcript: Transcript) -> Transcript:
    """The same words at the same times, in lower case and without punctuation."""
    return transcript.model_copy(
        update={"words": tuple(piece for word in transcript.words for piece in _raw_pieces(word))}
    )


def _raw_pieces(word: Word) -> Iterator[Word]:
    """The word, or the words that it comes apart into, in equal shares of its time; none for a mere mark."""
    pieces = raw_words(word.text)
    share = (word.end - word.start) / max(1, len(pieces))
    for index, piece in enumerate(pieces):
        start, end = (round(word.start + share * place, 3) for place in (index, index + 1))
        yield word.model_copy(update={"text": piece, "start": start, "end": end})
