"""What happens when a form is sent: the correction is kept, and the changed parts of the page go back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from voicenotes.corrections.refs import all_said
from voicenotes.corrections.values import Confirm, Correction, Move, SetOutcome, SettleGap, Tag, Undo, Words
from voicenotes.corrections.wording import said_of
from voicenotes.errors import NoRoomError, VisitError
from voicenotes.review import pages
from voicenotes.review.cards import card_of, check_state, quote_of, remark_state
from voicenotes.review.forms import FormError, StaleError, correction_of, guard_of, now, renewed

if TYPE_CHECKING:
    from collections.abc import Mapping

    from voicenotes.review.desk import Desk, View

STALE = "This was changed in another window meanwhile. Here is how it stands now; nothing was kept."
Answer = tuple[int, dict[str, Any]]


def act(desk: Desk, fields: Mapping[str, str]) -> Answer:
    """Keep what a form says: a status, and for the page `parts`, what was `said`, or the `problem`."""
    before = desk.view()
    try:
        if fields.get("do") == "keep":
            return _keep(desk, before, fields)
        correction = correction_of(fields, before, desk.pack, desk.who)
        after = desk.add(correction, guard_of(fields, correction, before))
    except FormError as error:
        return 422, {"problem": str(error)}
    except StaleError:
        view = desk.view()
        return 409, {"problem": STALE, "parts": _stale_parts(view, fields)}
    except NoRoomError as error:
        return 507, {"problem": str(error)}
    except VisitError as error:
        return 500, {"problem": str(error)}
    return 200, _answer(desk, before, after, correction)


def _answer(desk: Desk, before: View, after: View, correction: Correction) -> dict[str, Any]:
    changed = changed_checks(before, after)
    parts = [*pages.head_parts(after, desk), *(pages.card_part(after, check) for check in changed)]
    what = correction.what
    undone = before.by_id.get(what.undoes) if isinstance(what, Undo) else None
    for one in (what, undone.what if undone else None):
        if isinstance(one, Move | Tag | Words):
            key = next((key for key, ref in after.refs.items() if ref == one.remark), "")
            row = pages.row_part(after, key)
            parts += [row] if row else []
    return {
        "parts": parts,
        "said": said_of(correction, after.titles, after.by_id),
        "id": correction.id,
        "goes_on": isinstance(what, Confirm | SetOutcome | SettleGap),
        "corrections": len(after.corrections),
    }


def changed_checks(before: View, after: View) -> list[str]:
    """The checks whose cards look different."""
    looked = {*before.now.findings, *after.now.findings, *before.settled, *after.settled}
    looked |= {
        check for check, finding in after.findings.items() if finding is not before.findings.get(check)
    }
    looked |= {check for check, gap in after.gaps.items() if before.gaps.get(check) is not gap}
    looked |= set(before.gaps) - set(after.gaps)
    known = [check for check in after.findings if check in looked and check in before.findings]
    return [check for check in known if card_of(before, check) != card_of(after, check)]


def _stale_parts(view: View, fields: Mapping[str, str]) -> list[tuple[str, str]]:
    parts = []
    check = fields.get("check", "")
    if check in view.findings:
        parts.append(pages.card_part(view, check))
    row = pages.row_part(view, fields.get("remark", ""))
    return [*parts, row] if row else parts


def _keep(desk: Desk, before: View, fields: Mapping[str, str]) -> Answer:
    """Say a correction again that could not be applied, and take the old one back."""
    old = before.by_id.get(fields.get("id", ""))
    again = renewed(old, before, fields.get("once", ""), desk.who) if old else None
    if old is None or again is None:
        raise FormError("This can't be kept as it is; drop it, and correct what is there now.")
    desk.add(again)
    undo = Undo(undoes=old.id)
    taken_back = Correction(id=f"{again.id}-u", time=now(), who=desk.who, what=undo)
    after = desk.add(taken_back)
    return 200, _answer(desk, before, after, again)


def panel(desk: Desk, name: str, asked: Mapping[str, str]) -> str:
    """A panel that is fetched when it is opened. Raises FormError when there is no such thing."""
    view = desk.view()
    if name == "add":
        return pages.rendered("panel_add.html", groups=_groups(view), check=asked.get("check", ""), view=view)
    check = asked.get("check", "")
    if name in ("change", "settle", "quotes"):
        if check not in view.findings:
            raise FormError("no such check")
        if name == "quotes":
            return pages.rendered("panel_quotes.html", card=card_of(view, check, all_quotes=True))
        finding = view.findings[check]
        return pages.rendered(
            f"panel_{name}.html", card=card_of(view, check), readings=finding.readings, check=check
        )
    key = asked.get("remark", "")
    ref = view.refs.get(key)
    if name not in ("remark", "tag") or ref is None:
        raise FormError("no such remark")
    said = next(
        (
            s
            for s in all_said(view.now.record)
            if (s.recording, s.start, s.end) == (ref.recording, ref.start, ref.end)
        ),
        None,
    )
    if said is None:
        raise FormError("no such remark")
    return pages.rendered(
        f"panel_{name}.html",
        quote=quote_of(view, said),
        heard=ref.quote,
        check=check,
        title=view.titles.get(check, ""),
        check_state=check_state(view, check) if check in view.before else "",
        state=remark_state(view, key),
        groups=_groups(view),
    )


def _groups(view: View) -> list[tuple[str, list[tuple[str, str]]]]:
    """All checks to choose from, by station."""
    found: dict[str, list[tuple[str, str]]] = {}
    for finding in view.now.record.checks:
        found.setdefault(view.stations.get(finding.station, finding.station), []).append(
            (finding.id, finding.title)
        )
    return list(found.items())
