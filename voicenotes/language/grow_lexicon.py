"""A compiled pack with some more terms and mishearings, made from the compiled pack without them.

Compiling a whole pack takes a second, and what a suggestion would change is asked for many of them. Only the
nodes on the way to a new phrase are made anew; the others are shared. The outcome is what compiling the whole
pack gives, else nothing is made here.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from voicenotes.language.lexicon import MEANINGS, Lexicon
from voicenotes.language.spelling_index import near_index
from voicenotes.vocabulary.homes import everyday_words

if TYPE_CHECKING:
    from collections.abc import Iterator

    from voicenotes.language.lexicon import SubjectKind
    from voicenotes.vocabulary.schema import Check, Fitting, Pack, Part


def more_phrases(before: Pack, after: Pack) -> list[tuple[SubjectKind, str, str, tuple[str, ...]]] | None:
    """What `after` has more than `before`: (check, part or fitting; id; terms or misheard; phrases).

    None where the two differ in anything but terms and mishearings at the end of their lists, and
    pronunciations.
    """
    if _bare(before) != _bare(after):
        return None
    found = []
    for kind, old, new in _things(before, after):
        for name in ("terms", "misheard"):
            had, has = getattr(old, name), getattr(new, name)
            if has[: len(had)] != had:
                return None
            if len(has) > len(had):
                found.append((kind, new.id, name, has[len(had) :]))
    return found


def _bare(pack: Pack) -> Pack:
    """A pack without what may be added to it, and without its marks."""

    def without(thing: Any) -> Any:
        return thing.model_copy(update={"terms": (), "misheard": ()})

    head = pack.head.model_copy(update={"version": "", "fittings": tuple(map(without, pack.head.fittings))})
    return pack.model_copy(
        update={
            "head": head, "checks": tuple(map(without, pack.checks)),
            "parts": tuple(map(without, pack.parts)), "pronunciations": {}, "digest": "", "notes": (),
        }
    )  # fmt: skip


def _things(
    before: Pack, after: Pack
) -> Iterator[tuple[SubjectKind, Check | Part | Fitting, Check | Part | Fitting]]:
    yield from (("check", *two) for two in zip(before.checks, after.checks, strict=True))
    yield from (("part", *two) for two in zip(before.parts, after.parts, strict=True))
    yield from (("fitting", *two) for two in zip(before.head.fittings, after.head.fittings, strict=True))


def grown(lexicon: Lexicon, more: Lexicon, pack: Pack) -> Lexicon | None:
    """A compiled pack with the phrases of another one, `more`; None where their order would matter: where a
    phrase means something already, or is spelt like one that does."""
    if any(phrase in lexicon.term_phrases for phrase in more.term_phrases):
        return None
    spelt = near_index(lexicon).terms
    if any("".join(phrase) in spelt for phrase in more.term_phrases):
        return None
    tree = _with(lexicon.tree, more.tree)
    if tree is None:
        return None
    misheard = dict(lexicon.misheard_phrases)
    for phrase, subjects in more.misheard_phrases.items():
        misheard[phrase] = tuple(dict.fromkeys((*misheard.get(phrase, ()), *subjects)))
    words = _words_of(more.tree) - frozenset(everyday_words())
    return replace(
        lexicon,
        tree=tree,
        checks={check.id: check for check in pack.checks},
        term_phrases={**lexicon.term_phrases, **more.term_phrases},
        misheard_phrases=misheard,
        pronunciations=pack.pronunciations,
        known_words=lexicon.known_words | words,
        own_words=lexicon.own_words | more.own_words,
    )


def _with(node: dict[str, Any], more: dict[str, Any]) -> dict[str, Any] | None:
    """A tree with the phrases of another; None where one of these means something in the first."""
    if MEANINGS in node and MEANINGS in more:
        return None
    whole = dict(node)
    for word, theirs in more.items():
        if word == MEANINGS or word not in node:
            whole[word] = theirs
            continue
        inside = _with(node[word], theirs)
        if inside is None:
            return None
        whole[word] = inside
    return whole


def _words_of(tree: dict[str, Any]) -> frozenset[str]:
    found: set[str] = set()
    waiting = [tree]
    while waiting:
        for word, node in waiting.pop().items():
            if word != MEANINGS:
                found.add(word)
                waiting.append(node)
    return frozenset(found)
