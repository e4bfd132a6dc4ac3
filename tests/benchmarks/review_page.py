"""How long the review page takes with 2,000 remarks beside 20: the first view, each view, each action.

    python tests/benchmarks/review_page.py [--remarks 2000] [--times 15]

Both visits are made up (`large_visit` of tests/reviewing.py) and served one after the other; each request is
timed from sending it to the last byte. Printed are the medians in milliseconds and their ratio. Ends with 1
where anything takes longer than LONGEST_MS or more than HIGHEST_RATIO times as long as with 20 remarks.
"""

from __future__ import annotations

import argparse
import re
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from reviewing import Answer, ask, large_visit, served

import voicenotes
from voicenotes.review.door import Keys
from voicenotes.review.pages import VIEWS
from voicenotes.vocabulary.schema import Pack

FEW = 20
ACTIONS = ("confirm", "outcome", "add a finding", "words", "tag", "undo")
LONGEST_MS, HIGHEST_RATIO = 200.0, 5.0
CARD = re.compile(r'id="c-([^"]+)"')
STATE = re.compile(r'name="state" value="([^"]+)"')
REMARK = re.compile(r'id="r-([0-9a-f]{16})"')


def timed(request: Callable[[], Answer]) -> float:
    start = time.perf_counter()
    answer = request()
    took = (time.perf_counter() - start) * 1000
    if answer.status != 200:
        raise SystemExit(f"answered {answer.status}: {answer.text[:200]}")
    return took


def measured(pack: Pack, folder: Path, times: int) -> dict[str, list[float]]:
    """Milliseconds of each view and action."""
    found: dict[str, list[float]] = {}
    with served(folder, pack) as keys:
        ask(keys, "/enter", drop=("Cookie",))  # templates and threads are there from now on
        found["first view"] = [timed(lambda: ask(keys, "/"))]
        for view in VIEWS:
            found[f"view {view}"] = [timed(lambda v=view: ask(keys, f"/?view={v}")) for _ in range(times)]
        for number in range(times):
            for name in ACTIONS:
                fields = {**form(keys, name, number), "once": f"{name.replace(' ', '-')}-{number:06d}"}
                found.setdefault(name, []).append(timed(lambda f=fields: ask(keys, "/do", "POST", f)))
    return found


def form(keys: Keys, name: str, number: int) -> dict[str, str]:
    """A form of one kind, of a finding or remark as the page has it now."""
    checks = CARD.findall(ask(keys, "/?view=places").text)
    check = checks[number % len(checks)]
    [state, *_] = STATE.findall(ask(keys, f"/part/change?check={check}").text)
    remarks = REMARK.findall(ask(keys, "/?view=loose").text)
    remark = remarks[number % len(remarks)]
    [of_remark, *_] = STATE.findall(ask(keys, f"/part/tag?remark={remark}").text)
    here = {"remark": remark, "state": of_remark}
    forms = {
        "confirm": {"do": "confirm", "check": check, "state": state},
        "outcome": {"do": "outcome", "check": check, "state": state, "verdict": "defect major"},
        "add a finding": {"do": "add", "title": f"scratch {number}"},
        "words": {"do": "words", **here, "text": f"remark {number} says something else"},
        "tag": {"do": "tag", **here, "check": check, "says": "bad minor"},
        "undo": {"do": "undo", "id": f"tag-{number:06d}"},
    }
    return forms[name]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--remarks", type=int, default=2_000)
    parser.add_argument("--times", type=int, default=15)
    chosen = parser.parse_args()
    pack = voicenotes.load_pack("cnc_lathe")
    with tempfile.TemporaryDirectory() as home:
        few = measured(pack, large_visit(Path(home) / "few", pack, FEW), chosen.times)
        many = measured(pack, large_visit(Path(home) / "many", pack, chosen.remarks), chosen.times)
    heads = (f"{FEW} remarks", f"{chosen.remarks} remarks")
    print(f"{'ms, median':<16}{heads[0]:>14}{heads[1]:>16}{'longest':>10}{'ratio':>8}")
    worst = 0.0
    longest = 0.0
    for name, times in many.items():
        one, two = statistics.median(few[name]), statistics.median(times)
        worst, longest = max(worst, two / one), max(longest, *times)
        print(f"{name:<16}{one:>14.1f}{two:>16.1f}{max(times):>10.1f}{two / one:>8.2f}")
    if longest > LONGEST_MS or worst > HIGHEST_RATIO:
        print(f"too slow: at most {LONGEST_MS:g} ms and {HIGHEST_RATIO:g} times are allowed")
        raise SystemExit(1)


if __name__ == "__main__":
    main()
