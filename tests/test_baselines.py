"""The general baselines of benchmarks/baselines.py do what they are said to do; no figure is kept here."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from small_pack import write_pack

from voicenotes.vocabulary.load import load_pack

pytest.importorskip("negspacy", reason="pip install -e '.[benchmarks]'")

BENCHMARKS = Path(__file__).parent / "benchmarks"
# said, its label, by keywords, and with NegEx's rules: "no" turns what follows, "but" ends that
SAID = [
    ("The spindle growls.", {"head.noise": "defect"}, {}, {}),  # a part of three checks names none of them
    ("No rumble in the spindle noise.", {"head.noise": "ok"}, {"head.noise": "defect"}, {"head.noise": "ok"}),
    (
        "Not on yet, but a coolant leak.",
        {"tank.leaks": "defect"},
        {"tank.leaks": "defect"},
        {"tank.leaks": "defect"},
    ),
]


@pytest.fixture(autouse=True)
def _benchmarks_are_importable(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(BENCHMARKS))


def test_the_baselines_read_as_described_and_are_scored(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    import baselines

    folder, labelled = write_pack(tmp_path / "small"), tmp_path / "said.yaml"
    made = baselines.baselines_of(load_pack(folder), "en")
    for text, _, by_keywords, by_negex in SAID:
        assert made["keywords, own lists"].read([text]) == by_keywords, text
        assert made["negspacy, own lists"].read([text]) == by_negex, text
    lines = [
        f"- {{say: {json.dumps(text)}, expect: {json.dumps(e)}, kind: negation}}" for text, e, *_ in SAID
    ]
    labelled.write_text("\n".join(lines), encoding="utf-8")
    baselines.main([str(labelled), "--pack", str(folder), "--json"])
    rows = json.loads(capsys.readouterr().out)["rows"]
    assert {row["kind"] for row in rows} == {"all", "negation"}
    assert {row["method"] for row in rows} == {*made, "this reader"}
    assert all(row["texts"] == len(SAID) for row in rows)
    baselines.main([str(labelled), "--pack", str(folder)])
    assert "this reader" in capsys.readouterr().out
