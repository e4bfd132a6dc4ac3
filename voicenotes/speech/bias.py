"""Which of a pack's terms are named to the recogniser as likely words (Whisper's hotwords).

Whisper reads hotwords as if they had been said before. faster-whisper cuts them at 223 tokens without a
word, long lists make transcripts worse, and every token taken here is missing for the transcript of the
same 30 seconds (448 tokens for both). So the list is short, and every term in it is whole.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

MAX_TOKENS = 200
MAX_TERMS = 40
SEPARATOR = ", "


def choose_hotwords(
    terms: Iterable[str],
    count_tokens: Callable[[str], int],
    max_tokens: int = MAX_TOKENS,
    max_terms: int = MAX_TERMS,
) -> str:
    """The terms to bias towards, joined by ", "; an empty string when there are none.

    `terms` come in order of importance, most important first. `count_tokens` tells how many tokens of the
    model's own vocabulary a text takes; it is asked about the whole list so far, separators and the leading
    space that faster-whisper adds included.

    The rule, term by term:
    - a term whose words already stand together in a chosen term is skipped ("way cover" after
      "z axis way cover"; the same term in another case);
    - a term that would pass `max_tokens` is left out whole, and a shorter one after it may take the room;
    - it ends at `max_terms` terms.
    """
    chosen: list[str] = []
    said: list[str] = []
    for term in terms:
        if len(chosen) >= max_terms:
            break
        text = " ".join(term.split())
        padded = f" {text.casefold()} "
        if not text or any(padded in earlier for earlier in said):
            continue
        if count_tokens(" " + SEPARATOR.join([*chosen, text])) > max_tokens:
            continue
        chosen.append(text)
        said.append(padded)
    return SEPARATOR.join(chosen)
