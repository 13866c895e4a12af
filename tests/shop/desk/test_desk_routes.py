"""The advisor's pages without a browser: what is shown, what a form decides, what is refused."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape
from typing import Any

import pytest
from fastapi.testclient import TestClient
from shop_kit import Shop, drafted, make_shop, silence

from voicecheck.desk.states import Worktop
from voicecheck.desk.worktop import worktop
from voicecheck.shop import bench as benches
from voicecheck.shop.bench import Bench
from voicecheck.shop.kept import Kept

WORDS = (
    "Left front outer tie rod end has play, replace it. Front pads are at three mil, replace the front pads. "
    "Rear brake hose is cracked. Cabin filter is dirty, replace the cabin filter. Oil pan is dry."
)


@pytest.fixture
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    return make_shop(tmp_path_factory.mktemp("shop"), words=WORDS)


@pytest.fixture
def walk(shop: Shop) -> str:
    return drafted(shop, shop.person("technician"), recording=silence(30))


@pytest.fixture
def advisor(shop: Shop) -> TestClient:
    return shop.client(shop.person("advisor", "Ada"))


def bench_of(shop: Shop, walk: str) -> Bench:
    bench = benches.look(shop.services, walk)
    assert bench.top is not None
    return bench


def decide(client: TestClient, shop: Shop, walk: str, kind: str, **fields: str | list[str]) -> int:
    seq = str(bench_of(shop, walk).row.seq)
    answer = client.post(
        f"/desk/{walk}/decide", data={"kind": kind, "seq": seq, **fields}, follow_redirects=False
    )
    return answer.status_code


def test_list_has_states_and_search(advisor: TestClient, walk: str) -> None:
    page = advisor.get("/desk").text
    assert f'href="/desk/{walk}"' in page
    assert "to review" in page
    assert walk in advisor.get("/desk", params={"q": "blue"}).text
    assert walk not in advisor.get("/desk", params={"q": "tractor"}).text
    assert walk not in advisor.get("/desk", params={"state": "closed"}).text


def test_how_things_stand_is_worked_out_once_for_each_decision(
    advisor: TestClient, shop: Shop, walk: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What a decision made of the draft is shown then, and is what a look with nothing in memory finds."""
    worked_out: list[int] = []
    line = bench_of(shop, walk).top.lines[0]  # type: ignore[union-attr]

    def counted(*given: Any, **more: Any) -> Worktop:
        top = worktop(*given, **more)
        worked_out.append(top.seq)
        return top

    monkeypatch.setattr(benches, "worktop", counted)
    for seq, price in enumerate(("81.50", "80")):
        fields = {"line": line.id, "unit_price": price, "reason": "agreed"}
        form = {"kind": "change_line", "seq": str(seq), **fields}
        shown = advisor.post(f"/desk/{walk}/decide", data=form, headers={"X-Part": "bench"})
        assert shown.status_code == 200
        assert price in shown.text
    assert worked_out == [1, 2]
    remembered = bench_of(shop, walk).top
    anew = benches.look(replace(shop.services, worktops=Kept(1)), walk).top
    assert worked_out == [1, 2, 2]
    assert remembered == anew


def test_page_shows_every_line_word_and_question(advisor: TestClient, shop: Shop, walk: str) -> None:
    page = unescape(advisor.get(f"/desk/{walk}").text)
    top = bench_of(shop, walk).top
    assert top is not None
    for state in top.lines:
        assert f'data-key="line:{state.id}"' in page
    for ask in top.asks:
        assert ask.ask.message in page
    shown = " ".join(re.sub(r"<[^>]+>", " ", page).split())
    for sentence in WORDS.split(". "):
        assert sentence.split(",")[0].strip(".") in shown


def test_confirm_and_take_back(advisor: TestClient, shop: Shop, walk: str) -> None:
    line = bench_of(shop, walk).top.lines[0]  # type: ignore[union-attr]
    assert decide(advisor, shop, walk, "confirm", line=line.id, content=line.content) == 303
    bench = bench_of(shop, walk)
    assert bench.top is not None
    assert bench.top.lines[0].confirmed == 1
    assert "confirmed by Ada" in advisor.get(f"/desk/{walk}").text
    assert decide(advisor, shop, walk, "undo", undo_seq="1") == 303
    after = bench_of(shop, walk).top
    assert after is not None
    assert after.lines[0].confirmed is None


def test_changing_hours_is_kept_with_who_and_why(advisor: TestClient, shop: Shop, walk: str) -> None:
    line = next(x for x in bench_of(shop, walk).top.lines if x.line.kind == "labour")  # type: ignore[union-attr]
    fields = {"line": line.id, "hours": "2.5", "reason": "rusted solid", "name": line.line.name}
    assert decide(advisor, shop, walk, "change_line", **fields) == 303
    changed = bench_of(shop, walk).top.line(line.id)  # type: ignore[union-attr]
    assert changed is not None
    assert str(changed.line.hours) == "2.5"
    assert "rusted solid" in advisor.get(f"/desk/{walk}").text


@pytest.mark.parametrize("hours", ["many", "-1", "1e400", "NaN", "1,5"])
def test_an_unusable_number_is_refused_in_a_sentence(
    advisor: TestClient, shop: Shop, walk: str, hours: str
) -> None:
    line = next(x for x in bench_of(shop, walk).top.lines if x.line.kind == "labour")  # type: ignore[union-attr]
    answer = advisor.post(
        f"/desk/{walk}/decide",
        data={"kind": "change_line", "seq": "0", "line": line.id, "hours": hours},
        headers={"X-Part": "bench"},
    )
    assert answer.status_code == 422
    assert "hours" in answer.json()["message"]
    assert bench_of(shop, walk).row.seq == 0


def test_only_what_differs_is_changed_on_a_finding(advisor: TestClient, shop: Shop, walk: str) -> None:
    top = bench_of(shop, walk).top
    assert top is not None
    finding = next(f for f in top.draft.findings if "tie rod" in f.component.name)
    fields: dict[str, str | list[str]] = {
        "finding": finding.id,
        "component_name": finding.component.name,
        "positions": ["front right"],
        "action": finding.action,
        "state": finding.state,
        "urgency": finding.urgency,
        "words": "",
    }
    assert decide(advisor, shop, walk, "change_finding", **fields) == 303
    bench = bench_of(shop, walk)
    assert bench.top is not None
    after = bench.top.finding(finding.id)
    assert after is not None
    assert after.finding.positions == ("front right",)
    assert after.changed == ("positions",)


def test_a_part_that_the_shop_does_not_know_is_refused(advisor: TestClient, shop: Shop, walk: str) -> None:
    finding = bench_of(shop, walk).top.draft.findings[0]  # type: ignore[union-attr]
    answer = advisor.post(
        f"/desk/{walk}/decide",
        data={"kind": "change_finding", "seq": "0", "finding": finding.id, "component_name": "flux fork"},
        headers={"X-Part": "bench"},
    )
    assert answer.status_code == 422
    assert "flux fork" in answer.json()["message"]


def test_two_advisors_do_not_overwrite_each_other(shop: Shop, walk: str) -> None:
    ada, bob = shop.client(shop.person("advisor", "Ada")), shop.client(shop.person("advisor", "Bob"))
    lines = bench_of(shop, walk).top.lines  # type: ignore[union-attr]
    first = {"kind": "confirm", "seq": "0", "line": lines[0].id}
    second = {"kind": "put_aside", "seq": "0", "target": lines[1].id, "reason": "not on this vehicle"}
    assert ada.post(f"/desk/{walk}/decide", data=first, headers={"X-Part": "bench"}).status_code == 200
    late = bob.post(f"/desk/{walk}/decide", data=second, headers={"X-Part": "bench"})
    assert late.status_code == 409
    assert late.json()["stale"] is True
    top = bench_of(shop, walk).top
    assert top is not None
    assert top.seq == 1
    assert not top.aside


def test_typing_adds_a_finding_with_its_line(advisor: TestClient, shop: Shop, walk: str) -> None:
    before = {x.id for x in bench_of(shop, walk).top.lines}  # type: ignore[union-attr]
    text = "right rear shock is leaking, replace it"
    answer = advisor.post(f"/desk/{walk}/say", data={"text": text, "seq": "0"}, follow_redirects=False)
    assert answer.status_code == 303
    top = bench_of(shop, walk).top
    assert top is not None
    new = [x for x in top.lines if x.id not in before]
    assert any("shock" in x.line.name.lower() for x in new)
    assert text in unescape(advisor.get(f"/desk/{walk}").text)


def test_typing_that_names_no_part_adds_nothing(advisor: TestClient, shop: Shop, walk: str) -> None:
    answer = advisor.post(
        f"/desk/{walk}/say", data={"text": "hello there", "seq": "0"}, headers={"X-Part": "bench"}
    )
    assert answer.status_code == 422
    assert "No part was recognised" in answer.json()["message"]
    assert bench_of(shop, walk).row.seq == 0


def test_history_says_who_did_what(advisor: TestClient, shop: Shop, walk: str) -> None:
    line = bench_of(shop, walk).top.lines[0]  # type: ignore[union-attr]
    decide(advisor, shop, walk, "confirm", line=line.id)
    page = advisor.get(f"/desk/{walk}/history").text
    assert "A line confirmed" in page
    assert "Ada" in page


def test_the_whole_part_comes_back_to_the_script(advisor: TestClient, shop: Shop, walk: str) -> None:
    line = bench_of(shop, walk).top.lines[0]  # type: ignore[union-attr]
    answer = advisor.post(
        f"/desk/{walk}/decide",
        data={"kind": "confirm", "seq": "0", "line": line.id},
        headers={"X-Part": "bench"},
    )
    assert answer.status_code == 200
    assert "<html" not in answer.text
    assert 'name="seq" value="1"' in answer.text


def test_what_people_type_is_text_and_never_markup(advisor: TestClient, shop: Shop) -> None:
    title = '<script>alert(1)</script> & "van"'
    walk = drafted(shop, shop.person("technician"), recording=silence(30), title=title)
    text = "right rear shock is leaking, replace it <img src=x onerror=alert(2)>"
    advisor.post(f"/desk/{walk}/say", data={"text": text, "seq": "0"})
    for path in ("/desk", f"/desk/{walk}", f"/desk/{walk}/history"):
        page = advisor.get(path).text
        assert "<script>alert" not in page
        assert "<img src=x" not in page
    assert "&lt;script&gt;alert(1)" in advisor.get(f"/desk/{walk}").text


def test_a_technician_has_no_desk(shop: Shop, walk: str) -> None:
    client = shop.client(shop.person("technician"))
    assert client.get("/desk").status_code == 403
    assert client.get(f"/desk/{walk}").status_code == 403
    answer = client.post(f"/desk/{walk}/decide", data={"kind": "confirm", "seq": "0", "line": "x"})
    assert answer.status_code == 403


def test_unknown_walkaround_and_kind(advisor: TestClient, walk: str) -> None:
    assert advisor.get("/desk/" + "0" * 32).status_code == 404
    answer = advisor.post(
        f"/desk/{walk}/decide", data={"kind": "paint", "seq": "0"}, headers={"X-Part": "bench"}
    )
    assert answer.status_code == 422
    assert "paint" in answer.json()["message"]
