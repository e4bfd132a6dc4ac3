"""The story of learning: past visits in, suggestions with their effects out; those accepted are kept."""

from __future__ import annotations

from typing import TYPE_CHECKING

from voicenotes.errors import LearningError, VisitError
from voicenotes.learning.additions import with_declined, with_suggestions
from voicenotes.learning.effect import effect_of, ground_of, with_effects
from voicenotes.learning.past import past_visits
from voicenotes.learning.suggest import suggestions_of
from voicenotes.learning.write import change_overlay
from voicenotes.outputs.suggestion_values import Suggestions
from voicenotes.outputs.wording import count
from voicenotes.vocabulary.homes import shipped_packs
from voicenotes.vocabulary.load import load_shipped_pack
from voicenotes.vocabulary.overlay import overlay_file, read_overlay, with_overlay

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from pathlib import Path

    from voicenotes.learning.past import PastVisit
    from voicenotes.outputs.suggestion_values import Occasion, Suggestion
    from voicenotes.vocabulary.overlay import LearnedFrom, Overlay
    from voicenotes.vocabulary.schema import Pack


def suggestions(
    visits: Iterable[str | Path],
    packs: Iterable[str | Path] = (),
    overlays: str | Path | None = None,
    effects: bool = True,
) -> Suggestions:
    """What the corrections of some visits suggest, and with `effects` what each suggestion would change.

    `packs` are the folders of packs of one's own that visits were read with; `overlays` is the folder of
    additions, if it is not the usual one. Nothing is written. Raises VisitError and PackError.
    """
    past = past_visits(visits)
    found: list[Suggestion] = []
    none = []
    for pack, overlay in _packs(past, packs, overlays):
        some, without = suggestions_of(past, with_overlay(pack, overlay), overlay.declined)
        found += with_effects(ground_of(pack, overlay, past), some) if effects and some else some
        none += [one for one in without if _origin(one.occasion) not in _known(overlay)]
    notes = tuple(visit.problem for visit in past if visit.problem)
    return Suggestions(suggestions=tuple(found), none=tuple(none), notes=notes)


def _origin(said: Occasion | LearnedFrom) -> tuple[str, float, str, str]:
    return (said.recording, said.start, said.quote, said.at)


def _known(overlay: Overlay) -> set[tuple[str, float, str, str]]:
    """The corrections that something was learnt from."""
    origins = [one.learned_from for one in overlay.terms]
    origins += [one.learned_from for one in overlay.misheard]
    origins += [one.learned_from for one in overlay.pronunciations]
    return {_origin(origin) for some in origins for origin in some}


def accept(
    visits: Iterable[str | Path],
    ids: Sequence[str],
    packs: Iterable[str | Path] = (),
    overlays: str | Path | None = None,
    even_so: bool = False,
) -> list[tuple[Path, Suggestion]]:
    """Add suggestions to the user's own additions; each with the file that holds it now.

    What they would change together is told by their effect. Raises LearningError for an id that no suggestion
    has, when sentences that are read right now would be misread (unless `even_so`), and when the additions
    can't be written; VisitError and PackError as for `suggestions`.
    """
    past = past_visits(visits)
    chosen = _chosen(past, ids, packs, overlays)
    for pack, overlay, some in chosen:
        effect = effect_of(ground_of(pack, overlay, past), some) if not even_so else None
        if effect is not None and effect.regressions:
            first = effect.regressions[0]
            worse = count(len(effect.regressions), "labelled sentence")
            raise LearningError(
                f"{', '.join(one.id for one in some)}: {worse} would be misread, first "
                f'"{first.say}" ({first.place}): nothing was added; add --even-so to accept it'
            )
    return _kept(chosen, with_suggestions, overlays)


def decline(
    visits: Iterable[str | Path],
    ids: Sequence[str],
    packs: Iterable[str | Path] = (),
    overlays: str | Path | None = None,
) -> list[tuple[Path, Suggestion]]:
    """Turn suggestions down for good; each with the file that says so. Errors as for `accept`."""
    return _kept(_chosen(past_visits(visits), ids, packs, overlays), with_declined, overlays)


Chosen = list[tuple["Pack", "Overlay", "list[Suggestion]"]]


def _kept(
    chosen: Chosen,
    change: Callable[[Overlay, Iterable[Suggestion]], Overlay],
    overlays: str | Path | None,
) -> list[tuple[Path, Suggestion]]:
    kept = []
    for pack, _, some in chosen:
        path = change_overlay(pack.id, lambda overlay, some=some: change(overlay, some), overlays)  # type: ignore[misc]
        kept += [(path, suggestion) for suggestion in some]
    return kept


def _chosen(
    past: Sequence[PastVisit], ids: Sequence[str], packs: Iterable[str | Path], overlays: str | Path | None
) -> Chosen:
    """The suggestions with some ids, by pack. Raises LearningError for an id that there isn't."""
    wanted, chosen = set(ids), []
    for pack, overlay in _packs(past, packs, overlays):
        some, _ = suggestions_of(past, with_overlay(pack, overlay), overlay.declined)
        mine = [suggestion for suggestion in some if suggestion.id in wanted]
        wanted -= {suggestion.id for suggestion in mine}
        if mine:
            chosen.append((pack, overlay, mine))
    if wanted:
        raise LearningError(
            f"{', '.join(sorted(wanted))}: no such suggestion in these visits; list them without --accept "
            "and --decline (what was accepted or declined is not listed any more)"
        )
    return chosen


def _packs(
    past: Sequence[PastVisit], given: Iterable[str | Path], overlays: str | Path | None
) -> list[tuple[Pack, Overlay]]:
    """The packs that the visits were read with, as shipped, each with the user's additions."""
    known: dict[str, Pack] = {}
    for name_or_folder in given:
        pack = load_shipped_pack(name_or_folder)
        known[pack.id] = pack
    found = []
    for wanted in dict.fromkeys(visit.record.pack.id for visit in past):
        if wanted not in known:
            if wanted not in shipped_packs():
                raise VisitError(f"a visit was read with the pack '{wanted}': name its folder with --pack")
            known[wanted] = load_shipped_pack(wanted)
        found.append((known[wanted], read_overlay(overlay_file(wanted, overlays), wanted)))
    return found
