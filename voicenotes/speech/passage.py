"""What a recogniser wrote of one stretch, with what it thinks of it: values that the guards judge."""

from __future__ import annotations

from dataclasses import dataclass

from voicenotes.model import Word

PUNCTUATION = " .,;:!?-()[]\"'\u2026\u2013\u2014\u201c\u201d"


@dataclass(frozen=True)
class Passage:
    """Words that were written in one go.

    `log_probability` is the mean natural logarithm of the tokens' probabilities, `no_speech` the
    recogniser's own probability that nobody speaks; None where an engine doesn't tell.
    """

    words: tuple[Word, ...]
    log_probability: float | None = None
    no_speech: float | None = None

    @property
    def text(self) -> str:
        """The words joined by single spaces."""
        return " ".join(word.text for word in self.words)


def bare(word: str) -> str:
    """A word as it is compared: lower case, without punctuation around it; "" for punctuation alone."""
    return word.casefold().replace("\u2019", "'").strip(PUNCTUATION)


def ends_sentence(word: str) -> bool:
    """Whether a written word ends with a full stop, a question mark or an exclamation mark."""
    return word.rstrip(" )]\"'\u201d\u2019").endswith((".", "!", "?", "\u2026"))
