"""Plain text as words with times, for a transcript that somebody typed or another program wrote.

Nothing tells when a word was said, so words are laid out at 0.4 s each. A blank line is a pause of
1.5 s, and so is a line's end where lines are utterances; where the text is only wrapped to a width
(every line but a paragraph's last is nearly as long as the longest), a line's end is no pause.
"""

from __future__ import annotations

from itertools import pairwise

from voicenotes.model import Word

SECONDS_PER_WORD = 0.4
LINE_PAUSE_SECONDS = 1.5
LEAST_WRAP_WIDTH = 50
WRAP_SLACK = 16


def words_of_text(text: str) -> list[Word]:
    """The words in order with their laid-out times; marks stay attached to words."""
    words: list[Word] = []
    clock = 0.0
    for line in _utterances(text):
        if words:
            clock += LINE_PAUSE_SECONDS
        for token in line.split():
            words.append(Word(text=token, start=round(clock, 3), end=round(clock + SECONDS_PER_WORD, 3)))
            clock += SECONDS_PER_WORD
    return words


def _utterances(text: str) -> list[str]:
    """The lines that a pause stands between, empty ones left out."""
    lines = [line.strip() for line in text.splitlines()]
    if not _is_wrapped(lines):
        return [line for line in lines if line]
    paragraphs = "\n".join(lines).split("\n\n")
    return [" ".join(paragraph.split()) for paragraph in paragraphs if paragraph.strip()]


def _is_wrapped(lines: list[str]) -> bool:
    """Whether lines end where a page's width ends and not where a speaker stopped."""
    width = max((len(line) for line in lines), default=0)
    followed = [line for line, after in pairwise(lines) if line and after]
    if width < LEAST_WRAP_WIDTH or not followed:
        return False
    return all(len(line) >= width - WRAP_SLACK for line in followed)
