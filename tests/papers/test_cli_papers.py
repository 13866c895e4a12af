"""The command ``papers``."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest
from cli_kit import Ran, command, environment, run
from pypdf import PdfReader

from voicecheck.documents import to_json

SAID = ("The", "wiper", "blades", "are", "streaking,", "replace", "them.")
PARTICULARS = """\
customer: {name: Robin Sample, phone: 555-0177}
vehicle: {year: 2016, make: Anymake, model: Wagon, plate: SMPL 123}
document: {number: "E-1", given_in: 2026-03-14T09:30}
"""


@pytest.fixture
def draft(tmp_path: Path) -> Path:
    """A small draft with every price known and no open question."""
    from voicecheck.records import (
        Draft,
        Estimate,
        Finding,
        Job,
        Ledger,
        Line,
        RecordingInfo,
        Ref,
        Totals,
        Transcript,
        Vehicle,
        Word,
        span_of,
    )

    words = tuple(Word(heard=w, read=w) for w in SAID)
    ref = Ref(id="wiper_blade", name="wiper blade")
    finding = Finding(
        id="f1", component=ref, state="defect", action="replace", heard=(span_of(words, 0, len(words)),)
    )
    line = Line.model_validate(
        {
            "id": "f1:part", "kind": "part", "name": "wiper blade", "operation": "replace", "component": ref,
            "quantity": "2", "unit_price": "19.25", "amount": "38.50", "part_condition": "new",
            "from": ["f1"],
        }
    )  # fmt: skip
    totals = {"labour": "0", "parts": "38.50", "sublet": "0", "supplies": "0", "tax": "2.70"}
    job = {"id": "f1:part", "title": "Wiper blades", "urgency": "later", "lines": [line]}
    made = Draft(
        market="US",
        recording=RecordingInfo(name="notes", seconds=None, sha256="0" * 64),
        vehicle=Vehicle(),
        transcript=Transcript(text=" ".join(w.read for w in words), words=words, source="typed"),
        findings=(finding,),
        ledger=Ledger(entries=()),
        estimate=Estimate(
            currency="USD",
            jobs=(Job.model_validate(job | {"subtotal": "38.50"}),),
            totals=Totals.model_validate(totals | {"total": "41.20", "open_lines": 0}),
        ),
        unplaced=(),
        asks=(),
        timings={},
    )
    path = tmp_path / "draft.json"
    path.write_text(to_json(made), encoding="utf-8")
    return path


@pytest.fixture
def particulars(tmp_path: Path) -> Path:
    path = tmp_path / "particulars.yaml"
    path.write_text(PARTICULARS, encoding="utf-8")
    return path


def test_an_estimate_is_issued_where_nothing_is_missing(
    draft: Path, particulars: Path, tmp_path: Path
) -> None:
    page, pdf = tmp_path / "e.html", tmp_path / "e.pdf"
    ran = run("papers", draft, "--particulars", particulars, "--issue", "--html", page, "--pdf", pdf)
    assert ran.status == 0, ran.err
    assert "Nothing is missing that is known here." in ran.out
    assert "must have it confirmed" in ran.out
    mark = ran.err.split("sha256 ")[1].split()[0]
    assert mark in page.read_text(encoding="utf-8")
    assert mark in PdfReader(pdf).pages[0].extract_text()
    assert "Still a draft" not in page.read_text(encoding="utf-8")


def test_it_is_not_issued_where_something_is_missing(draft: Path, particulars: Path, tmp_path: Path) -> None:
    pdf = tmp_path / "e.pdf"
    ran = run("papers", draft, "--place", "florida", "--particulars", particulars, "--issue", "--pdf", pdf)
    assert ran.status == 1
    assert "Missing: the odometer reading. Wanted by Fla. Stat. 559.905(1)" in ran.out
    assert "nothing was written" in ran.err
    assert not pdf.exists()


def test_without_issue_it_is_written_as_a_draft(draft: Path, tmp_path: Path) -> None:
    page = tmp_path / "e.html"
    ran = run("papers", draft, "--place", "california", "--html", page)
    assert ran.status == 0
    assert "Missing: " in ran.out
    assert "Still a draft" in page.read_text(encoding="utf-8")


def test_open_questions_stop_the_issue(draft: Path, particulars: Path, tmp_path: Path) -> None:
    value = json.loads(draft.read_text(encoding="utf-8"))
    value["asks"] = [{"code": "x", "message": "What was that?", "field": "", "choices": []}]
    draft.write_text(json.dumps(value), encoding="utf-8")
    ran = run("papers", draft, "--particulars", particulars, "--issue", "--html", tmp_path / "e.html")
    assert ran.status == 1
    assert "Open question: What was that?" in ran.out
    assert not (tmp_path / "e.html").exists()


@pytest.mark.parametrize("kind", ["draft", "work", "parts", "estimate"])
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_every_kind_is_written(draft: Path, tmp_path: Path, kind: str, paper: str) -> None:
    page, pdf = tmp_path / "k.html", tmp_path / "k.pdf"
    ran = run("papers", draft, "--kind", kind, "--paper", paper, "--html", page, "--pdf", pdf)
    assert ran.status == 0, ran.err
    assert "iper blade" in page.read_text(encoding="utf-8")
    box = PdfReader(pdf).pages[0].mediabox
    assert round(float(box.width)) == (595 if paper == "A4" else 612)
    assert ran.err.count("Wrote ") == 2


def test_agreed_jobs(draft: Path, tmp_path: Path) -> None:
    page = tmp_path / "w.html"
    ran = run("papers", draft, "--kind", "work", "--agreed", "f1:part", "--html", page)
    assert ran.status == 0
    assert "What the customer agreed to is not on this list" not in page.read_text(encoding="utf-8")
    assert "no job “zz”" in run("papers", draft, "--kind", "work", "--agreed", "zz").complaint
    assert "--agreed" in run("papers", draft, "--agreed", "f1:part").complaint


def test_refusals_are_one_sentence(draft: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.json"

    def refused(text: bytes, *more: str | Path) -> str:
        bad.write_bytes(text)
        return run("papers", bad, *more).complaint

    whole = draft.read_bytes()
    assert "damaged or not JSON" in refused(whole[: len(whole) // 2])
    assert "voicecheck-draft/9" in refused(whole.replace(b"voicecheck-draft/1", b"voicecheck-draft/9"))
    assert "does not say that it is a draft" in refused(b"[1, 2]")
    assert "does not say that it is a draft" in refused(b"{}")
    assert "market" in refused(b'{"format": "voicecheck-draft/1"}')
    assert "UTF-8" in refused(b"\xff\xfe\x00")
    assert "nested too deeply" in refused(b"[" * 100_000)
    assert "damaged" in refused(b"")
    assert "There is no file" in run("papers", tmp_path / "nope.json").complaint
    assert "is a folder" in run("papers", tmp_path).complaint
    assert "does not exist" in run("papers", draft, "--pdf", tmp_path / "no" / "x.pdf").complaint
    assert "is a folder" in run("papers", draft, "--html", tmp_path).complaint
    assert "overwritten" in run("papers", draft, "--html", draft).complaint
    same = tmp_path / "same"
    assert "named twice" in run("papers", draft, "--html", same, "--pdf", same).complaint
    assert "no law profile “mars”" in run("papers", draft, "--place", "mars").complaint
    assert "--issue" in run("papers", draft, "--kind", "work", "--issue").complaint
    faulty = tmp_path / "p.yaml"
    faulty.write_text("customer: {nome: A}\n", encoding="utf-8")
    assert "nome" in run("papers", draft, "--particulars", faulty).complaint
    assert draft.read_bytes() == whole


def test_a_profile_of_another_market_is_refused(draft: Path) -> None:
    value = json.loads(draft.read_text(encoding="utf-8"))
    draft.write_text(json.dumps(value | {"market": "UK"}), encoding="utf-8")
    assert "is for US" in run("papers", draft, "--place", "florida").complaint


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_a_full_standard_output_is_one_sentence(draft: Path) -> None:
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            command("papers", draft), stdout=full, stderr=subprocess.PIPE, env=environment(), check=False
        )
    assert done.returncode == 2
    assert b"Cannot write to standard output: no space left on device." in done.stderr
    assert b"Traceback" not in done.stderr


def test_help_names_every_option() -> None:
    shown: Ran = run("papers", "--help")
    assert shown.status == 0
    for option in ("--kind", "--place", "--shop", "--particulars", "--html", "--pdf", "--paper", "--issue"):
        assert option in shown.out
