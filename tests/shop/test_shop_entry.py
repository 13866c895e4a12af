"""The way in, and what guards every route."""

from __future__ import annotations

import re

import pytest
from fastapi.testclient import TestClient
from shop_kit import Shop, make_shop

from voicecheck.shop.opening import first_link
from voicecheck.shop.web.app import PUBLIC
from voicecheck.shop.web.auth import COOKIE, password_faults
from voicecheck.store import people

PASSWORD = "wrench candle tuesday"


@pytest.fixture
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    return make_shop(tmp_path_factory.mktemp("shop"), work="none")


def routes_of(shop: Shop) -> list[tuple[str, str]]:
    """Every method and path of the application, from its own description."""
    found = [
        (method.upper(), path) for path, methods in shop.app.openapi()["paths"].items() for method in methods
    ]
    assert len(found) > 45
    return found


def some(path: str) -> str:
    return re.sub(r"\{[^}]+\}", "0", path)


def test_only_what_is_public_on_purpose_is_open_to_strangers(shop: Shop) -> None:
    client = shop.client()
    closed = set()
    for method, path in routes_of(shop):
        if path in PUBLIC:
            continue
        answer = client.request(method, some(path), follow_redirects=False)
        assert answer.status_code in (303, 401), f"{method} {path}: {answer.status_code}"
        closed.add(path)
    assert len(closed) > 35
    assert set(PUBLIC) <= {path for _, path in routes_of(shop)}


@pytest.mark.parametrize(
    ("role", "areas"), [("technician", ("/desk", "/owner")), ("advisor", ("/owner",)), ("owner", ())]
)
def test_every_route_refuses_the_roles_below(shop: Shop, role: str, areas: tuple[str, ...]) -> None:
    client = shop.client(shop.person(role))
    for method, path in routes_of(shop):
        if path in PUBLIC or path == "/sign-out":
            continue
        answer = client.request(method, some(path), follow_redirects=False)
        refused = answer.status_code == 403
        assert refused is path.startswith(areas or ("no area",)), f"{method} {path}: {answer.status_code}"


def test_every_change_needs_the_sessions_token(shop: Shop) -> None:
    client = shop.client(shop.person("owner"), csrf=False)
    for method, path in routes_of(shop):
        if path in PUBLIC or method == "GET":
            continue
        answer = client.request(method, some(path), follow_redirects=False)
        assert answer.status_code == 403, f"{method} {path}: {answer.status_code}"


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://elsewhere.example"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Origin": "null"},
    ],
)
def test_forms_of_other_sites_are_refused(shop: Shop, headers: dict[str, str]) -> None:
    client = shop.client(shop.person("owner"))
    answer = client.post("/owner/people/invite", data={"role": "owner"}, headers=headers)
    assert answer.status_code == 403
    assert (
        shop.client().post("/sign-in", data={"login": "a", "password": "b"}, headers=headers).status_code
        == 403
    )


def test_first_owner_comes_by_a_link_that_works_once(shop: Shop) -> None:
    client = shop.client()
    link = first_link(shop.services)
    assert link is not None
    assert "owner" in client.get(link).text
    form = {"name": "Olive Owner", "login": "Olive", "password": PASSWORD, "again": PASSWORD}
    answer = client.post(link, data=form, follow_redirects=False)
    assert answer.status_code == 303
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=lax" in cookie
    assert client.get("/owner/people").status_code == 200
    assert shop.client().get(link).status_code == 404
    assert first_link(shop.services) is None


def test_a_new_start_ends_the_first_link_before(shop: Shop) -> None:
    old, new = first_link(shop.services), first_link(shop.services)
    assert old is not None
    assert new is not None
    assert old != new
    assert shop.client().get(old).status_code == 404
    assert shop.client().get(new).status_code == 200


def joined(shop: Shop) -> TestClient:
    link = first_link(shop.services)
    assert link is not None
    client = shop.client()
    client.post(link, data={"name": "Olive", "login": "olive", "password": PASSWORD, "again": PASSWORD})
    return client


def test_signing_in_and_out(shop: Shop) -> None:
    joined(shop)
    client = shop.client()
    wrong = client.post("/sign-in", data={"login": "olive", "password": "not that one"})
    nobody = client.post("/sign-in", data={"login": "nobody", "password": "not that one"})
    assert wrong.status_code == nobody.status_code == 401
    assert "do not belong together" in wrong.text
    answer = client.post("/sign-in", data={"login": " OLIVE ", "password": PASSWORD, "to": "/owner/people"})
    assert answer.headers["location"] == "/owner/people"
    token = re.search(r'data-csrf="([^"]+)"', client.get("/owner/people").text)
    assert token is not None
    client.post("/sign-out", data={"csrf": token[1]})
    assert client.get("/desk").status_code in (303, 401)


@pytest.mark.parametrize("to", ["https://evil.example", "//evil.example", "/\\evil.example", "javascript:1"])
def test_after_signing_in_nobody_is_sent_elsewhere(shop: Shop, to: str) -> None:
    joined(shop)
    client = shop.client()
    answer = client.post(
        "/sign-in", data={"login": "olive", "password": PASSWORD, "to": to}, follow_redirects=False
    )
    assert answer.headers["location"].startswith("/desk")


def test_guessing_is_slowed_down(shop: Shop) -> None:
    client = shop.client()
    codes = [
        client.post("/sign-in", data={"login": "olive", "password": "guess"}).status_code for _ in range(12)
    ]
    assert codes[0] == 401
    assert codes[-1] == 429


def test_sessions_end(shop: Shop) -> None:
    client = joined(shop)
    assert client.get("/desk").status_code == 200
    shop.clock.forward(hours=13)
    assert client.get("/desk").status_code in (303, 401)


def test_somebody_who_leaves_is_out_at_once(shop: Shop) -> None:
    owner, ada = shop.person("owner"), shop.person("advisor")
    client = shop.client(ada)
    assert client.get("/desk").status_code == 200
    shop.client(owner).post(f"/owner/people/{ada.id}/leave")
    assert client.get("/desk").status_code in (303, 401)


def test_the_cookie_and_the_links_are_hashed_at_rest(shop: Shop) -> None:
    link = first_link(shop.services)
    assert link is not None
    client = shop.client()
    client.post(link, data={"name": "Olive", "login": "olive", "password": PASSWORD, "again": PASSWORD})
    secrets = [client.cookies[COOKIE], link.rsplit("/", 1)[1], PASSWORD]
    content = b"".join(p.read_bytes() for p in shop.services.settings.data.glob("voicecheck.db*"))
    for secret in secrets:
        assert secret.encode() not in content
    assert b"$argon2id$" in content


def test_an_owner_invites_and_the_last_owner_stays(shop: Shop) -> None:
    owner = shop.person("owner")
    client = shop.client(owner)
    page = client.post("/owner/people/invite", data={"role": "technician", "name": "Tess"}).text
    link = re.search(r'href="https?://[^/"]+(/join/[^"]+)"', page)
    assert link is not None
    tess = shop.client()
    form = {"name": "Tess", "login": "tess", "password": PASSWORD, "again": PASSWORD}
    assert tess.post(link[1], data=form).status_code == 303
    assert client.post(f"/owner/people/{owner.id}/leave").status_code == 409
    shop.clock.forward(days=4)
    with shop.services.database.reading() as session:
        assert people.open_invitations(session, now=shop.clock()) == []


def test_pages_carry_the_headers_that_keep_scripts_out(shop: Shop) -> None:
    answer = shop.client().get("/sign-in")
    policy = answer.headers["content-security-policy"]
    assert "default-src 'self'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cache-control"] == "no-store"
    assert not re.search(r"<script(?![^>]*src=)|\son\w+=|style=", answer.text)


@pytest.mark.parametrize(
    ("password", "fine"),
    [
        (PASSWORD, True),
        ("short", False),
        ("aaaaaaaaaaaa", False),
        ("abababababab", False),
        ("olive owner", False),
        ("x" * 201, False),
    ],
)
def test_passwords(password: str, fine: bool) -> None:
    assert (password_faults(password, login="olive", name="Olive Owner") == "") is fine


def test_a_broken_page_says_so_plainly(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    client = TestClient(shop.app, raise_server_exceptions=False)

    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("secret detail")

    monkeypatch.setattr("voicecheck.shop.web.entry.people.person_by_login", broken)
    answer = client.post("/sign-in", data={"login": "a", "password": "b"})
    assert answer.status_code == 500
    assert "secret detail" not in answer.text
    assert "nothing you saved is lost" in answer.text


def test_a_new_password_ends_the_old_sessions(shop: Shop) -> None:
    owner, ada = shop.person("owner"), shop.person("advisor")
    client = shop.client(ada)
    page = shop.client(owner).post("/owner/people/invite", data={"role": "advisor", "person": ada.id}).text
    link = re.search(r'href="https?://[^/"]+(/join/[^"]+)"', page)
    assert link is not None
    answer = shop.client().post(link[1], data={"name": ada.name, "password": PASSWORD, "again": PASSWORD})
    assert answer.status_code == 303
    assert client.get("/desk").status_code in (303, 401)
