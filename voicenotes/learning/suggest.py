"""From the corrections of past visits to suggestions; what several visits show is one suggestion.

A remark that a person tagged, or moved to another check, suggests a term where its words name nothing of
that check; words that were put right suggest what a recogniser writes for a term, or how a word is said.
What the pack knows by now, and what was declined, is not suggested.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.corrections.refs import remarks_of
from voicenotes.corrections.reread import changed_quote
from voicenotes.corrections.values import Move, Tag, Words
from voicenotes.findings.read import transcript_of_text
from voicenotes.language.new_phrase import new_phrase
from voicenotes.learning.misheard import Alias, Nothing, from_words
from voicenotes.outputs.suggestion_values import NoSuggestion, Occasion, Suggestion
from voicenotes.vocabulary.expand import plural_forms

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from voicenotes.corrections.refs import Place
    from voicenotes.corrections.values import Correction, RemarkRef
    from voicenotes.learning.misheard import SaidLike
    from voicenotes.learning.past import PastVisit
    from voicenotes.outputs.suggestion_values import Kind
    from voicenotes.vocabulary.schema import Pack

ID_DIGITS = 4
MOST_ID_DIGITS = 12
NOT_JUDGED = "the pack knows no word of what is said of it there, so the remark alone will not be judged"
SAYS = {
    "good": "all is well with",
    "bad": "a defect of",
    "unsure": "unsure about",
    "not_tested": "not tested:",
}


@dataclass(frozen=True)
class _Draft:
    """One suggestion from one correction."""

    kind: Kind
    phrase: str
    occasion: Occasion
    said: str = ""
    means: tuple[str, ...] = ()
    sounds: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        """The same for what is one suggestion: a term in the singular and in the plural."""
        *first, last = self.phrase.split()
        if self.kind == "term":
            last = min((last, *plural_forms(last, as_noun=True)))
        return f"{self.kind}: {' '.join((*first, last))} -> {', '.join(self.means) or self.said}"


def suggestions_of(
    visits: Iterable[PastVisit], pack: Pack, declined: Sequence[str] = ()
) -> tuple[list[Suggestion], list[NoSuggestion]]:
    """What the visits' corrections suggest for this pack, what is shown most often first, and what suggests
    nothing, with the reason. `declined` are keys."""
    drafts: dict[str, list[_Draft]] = {}
    none = []
    titles = _titles(pack)
    for visit in visits:
        if visit.record.pack.id != pack.id:
            continue
        for draft in _drafts(visit, pack, titles):
            if isinstance(draft, NoSuggestion):
                none.append(draft)
            else:
                drafts.setdefault(draft.key, []).append(draft)
    merged = _with_rivals([_merged(some, pack, titles) for some in drafts.values()])
    found = [suggestion for suggestion in merged if suggestion.key not in declined]
    found.sort(key=lambda s: (-len(s.occasions), s.key))
    return _with_ids(found), none


def _with_rivals(found: list[Suggestion]) -> list[Suggestion]:
    """The suggestions, each with a caution where the same phrase is suggested for something else, too."""
    told = []
    for one in found:
        others = [o for o in found if o is not one and (o.kind, o.phrase) == (one.kind, one.phrase)]
        rivals = tuple(
            f"it is also suggested for {', '.join(other.titles)}" for other in others if other.titles
        )
        told.append(one.model_copy(update={"cautions": one.cautions + rivals}) if rivals else one)
    return told


def _with_ids(found: list[Suggestion]) -> list[Suggestion]:
    """Short ids made of what is suggested, longer where two would be alike."""
    hashes = [hashlib.sha256(f"{s.pack} {s.key}".encode()).hexdigest() for s in found]
    for digits in range(ID_DIGITS, MOST_ID_DIGITS + 1):
        short = [full[:digits] for full in hashes]
        if len(set(short)) == len(short):
            break
    return [s.model_copy(update={"id": one}) for s, one in zip(found, short, strict=True)] if found else []


def _merged(drafts: Sequence[_Draft], pack: Pack, titles: Mapping[str, str]) -> Suggestion:
    phrases = [draft.phrase for draft in drafts]
    first = max(drafts, key=lambda draft: (phrases.count(draft.phrase), -phrases.index(draft.phrase)))
    occasions = {draft.occasion.correction: draft.occasion for draft in drafts}
    return Suggestion(
        id="", key=first.key, pack=pack.id, kind=first.kind, phrase=first.phrase, said=first.said,
        means=first.means, titles=tuple(titles.get(thing, thing) for thing in first.means),
        sounds=first.sounds, occasions=tuple(occasions.values()),
        cautions=tuple(dict.fromkeys(caution for draft in drafts for caution in draft.cautions)),
    )  # fmt: skip


def _titles(pack: Pack) -> dict[str, str]:
    """What the pack calls its checks and fittings; a part by its first term."""
    titles = {part.id: part.terms[0] if part.terms else part.id for part in pack.parts}
    titles |= {fitting.id: fitting.title for fitting in pack.head.fittings}
    return titles | {check.id: check.title for check in pack.checks}


def _drafts(visit: PastVisit, pack: Pack, titles: Mapping[str, str]) -> Iterator[_Draft | NoSuggestion]:
    remarks = remarks_of(visit.record)
    words: dict[Place | None, Correction] = {}
    for correction in visit.corrections:
        if isinstance(correction.what, Words):
            words[remarks.place(correction.what.remark)] = correction
    for correction in visit.corrections:
        what = correction.what
        if isinstance(what, Words):
            if words[remarks.place(what.remark)] is correction:
                yield from _from_words(visit, correction, what, pack)
        elif isinstance(what, Tag):
            told = f"{SAYS[what.says]} {titles.get(what.check, what.check)}"
            quote = _as_said(what.remark, words.get(remarks.place(what.remark)))
            yield _from_tag(_occasion(visit, correction, what.remark, told), quote, what.check, pack)
        elif isinstance(what, Move) and what.to is not None:
            told = f"speaks of {titles.get(what.to, what.to)}, not of {titles.get(what.check, what.check)}"
            quote = _as_said(what.remark, words.get(remarks.place(what.remark)))
            yield _from_tag(_occasion(visit, correction, what.remark, told), quote, what.to, pack)


def _as_said(remark: RemarkRef, correction: Correction | None) -> str:
    """The words of a remark, put right where they were."""
    if correction is None or not isinstance(correction.what, Words):
        return remark.quote
    return changed_quote(remark.quote, correction.what.changes) or remark.quote


def _from_tag(occasion: Occasion, quote: str, check: str, pack: Pack) -> _Draft | NoSuggestion:
    if check not in {known.id for known in pack.checks}:
        return NoSuggestion(pack=pack.id, occasion=occasion, why=f"the pack has no check '{check}' any more")
    found = new_phrase(transcript_of_text(quote), pack, check)
    if found.phrase is None:
        return NoSuggestion(pack=pack.id, occasion=occasion, why=found.why_not)
    cautions = () if found.judged else (NOT_JUDGED,)
    return _Draft("term", found.phrase, occasion, means=(check,), cautions=cautions)


def _from_words(
    visit: PastVisit, correction: Correction, what: Words, pack: Pack
) -> Iterator[_Draft | NoSuggestion]:
    told = "; ".join(f'heard "{change.heard}", said "{change.said}"' for change in what.changes)
    occasion = _occasion(visit, correction, what.remark, told)
    for found in from_words(what.remark.quote, what.changes, pack):
        if isinstance(found, Nothing):
            yield NoSuggestion(pack=pack.id, occasion=occasion, why=found.why)
        else:
            yield _draft(found, occasion)


def _draft(found: Alias | SaidLike, occasion: Occasion) -> _Draft:
    if isinstance(found, Alias):
        return _Draft(
            "misheard", found.heard, occasion, said=found.said, means=found.means, cautions=found.cautions
        )
    return _Draft("sounds", found.word, occasion, said=found.heard, sounds=found.sounds)


def _occasion(visit: PastVisit, correction: Correction, remark: RemarkRef, told: str) -> Occasion:
    return Occasion(
        visit=str(visit.folder), recording=remark.recording, start=remark.start, end=remark.end,
        quote=remark.quote, corrected=told, by=correction.who, at=correction.time,
        correction=correction.id,
    )  # fmt: skip
