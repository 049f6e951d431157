"""Letting devices in and removing them, as people do it: with forms, without scripts."""

import re
from http.cookies import SimpleCookie

import pytest
from fastapi import FastAPI

from backprobe.store.engine import Store
from backprobe.web.app import create_app
from backprobe.web.device_pages import pairing_link
from backprobe.web.devices import COOKIE, Devices
from backprobe.web.settings import ServeSettings
from tests.web.browsers import browser, phone

NAMES = ["Bay 2 phone", "Ärzte & <b>Söhne</b>", "x" * 40]


def shown_code(app: FastAPI) -> str:
    """The code as somebody reads it at the computer."""
    page = browser(app).get("/devices")
    found = re.search(r'class="code">([^<]+)<', page.text)
    assert found
    return found.group(1)


@pytest.mark.parametrize("name", NAMES)
def test_a_phone_is_paired_with_the_code_and_removed_again(lan_app: FastAPI, name: str) -> None:
    here, stranger = browser(lan_app), phone(lan_app)
    done = stranger.post("/pair", data={"code": shown_code(lan_app), "name": name})
    assert (done.status_code, done.headers["location"]) == (303, "/")
    assert stranger.get("/").status_code == 200
    assert stranger.get("/pair").headers["location"] == "/"
    page = here.get("/devices").text
    assert name.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;") in page
    (key,) = re.findall(r"/devices/([0-9a-f]+)/revoke", page)
    assert here.post(f"/devices/{key}/revoke").status_code == 303
    assert "None yet." in here.get("/devices").text
    assert stranger.get("/").headers["location"] == "/pair"


def test_the_cookie_is_out_of_reach(store: Store) -> None:
    """No script reads it, no foreign page makes the browser send it, no plain line carries it."""
    for is_tls in (False, True):
        settings = ServeSettings(is_lan=True, lan_hosts=("192.0.2.10",), is_tls=is_tls)
        app = create_app(store, settings)
        code = app.state.pairing.offer().secret
        page = browser(app, "192.0.2.77", base_url=settings.lan_url.rstrip("/"))
        done = page.post("/pair", data={"code": code, "name": "Bay 2 phone"})
        cookie = SimpleCookie(done.headers["set-cookie"])[COOKIE]
        assert cookie["httponly"] is True
        assert cookie["samesite"] == "strict"
        assert bool(cookie["secure"]) is is_tls
        assert cookie["max-age"] == str(365 * 24 * 3600)
        assert (cookie["path"], cookie["domain"]) == ("/", "")
        assert code not in cookie.value


def test_a_used_code_lets_nobody_else_in(lan_app: FastAPI) -> None:
    code = shown_code(lan_app)
    assert phone(lan_app).post("/pair", data={"code": code, "name": "A"}).status_code == 303
    second = phone(lan_app, "192.0.2.78").post("/pair", data={"code": code, "name": "B"})
    assert second.status_code == 403
    assert "set-cookie" not in second.headers
    assert shown_code(lan_app) != code


def test_a_new_code_takes_the_old_one_back(lan_app: FastAPI) -> None:
    code = shown_code(lan_app)
    assert browser(lan_app).post("/devices/code").headers["location"] == "/devices"
    assert shown_code(lan_app) != code
    assert phone(lan_app).post("/pair", data={"code": code, "name": "A"}).status_code == 403


def test_guessing_is_slowed_down(lan_app: FastAPI) -> None:
    stranger = phone(lan_app)
    code = shown_code(lan_app)
    guesses = [stranger.post("/pair", data={"code": "guess", "name": "A"}) for _ in range(6)]
    assert [each.status_code for each in guesses] == [403] * 5 + [429]
    assert 0 < int(guesses[-1].headers["retry-after"]) <= 60
    assert "Wait" in guesses[-1].text
    assert stranger.post("/pair", data={"code": code, "name": "A"}).status_code == 429


def test_a_mistake_keeps_the_name_and_says_what_to_do(lan_app: FastAPI) -> None:
    found = phone(lan_app).post("/pair", data={"code": "wrong", "name": 'Bay "2"'})
    assert 'value="Bay &#34;2&#34;"' in found.text
    assert "have a new code shown" in found.text.lower()


@pytest.mark.parametrize("name", ["", "  ", "\r\n", "x" * 41, "\u202e\u200b"])
def test_a_device_needs_a_name_that_can_be_read(lan_app: FastAPI, name: str) -> None:
    code = shown_code(lan_app)
    found = phone(lan_app).post("/pair", data={"code": code, "name": name})
    assert found.status_code == 422
    assert shown_code(lan_app) == code  # it was not used up


def test_a_name_cannot_reach_into_headers_or_other_lines(lan_app: FastAPI, store: Store) -> None:
    name = "A\r\nSet-Cookie: x=1\u2028B"
    code = shown_code(lan_app)
    done = phone(lan_app).post("/pair", data={"code": code, "name": name})
    assert done.status_code == 303
    assert [c.split("=")[0] for c in done.headers.get_list("set-cookie")] == [COOKIE]
    assert Devices(store).all()[0].name == "A Set-Cookie: x=1 B"


def test_only_this_computer_lets_devices_in_and_removes_them(
    lan_app: FastAPI, store: Store
) -> None:
    devices = Devices(store)
    known = phone(lan_app, cookies={COOKIE: devices.pair("Bay 2 phone")})
    key = devices.all()[0].key
    for answer in (
        known.get("/devices"),
        known.post("/devices/code"),
        known.post(f"/devices/{key}/revoke"),
    ):
        assert answer.status_code == 403
        assert "on the computer that runs backprobe" in answer.text
    assert devices.is_paired(key)


def test_an_unknown_device_cannot_be_removed(lan_app: FastAPI) -> None:
    assert browser(lan_app).post("/devices/nobody/revoke").status_code == 404


def test_a_foreign_page_cannot_remove_devices(lan_app: FastAPI, store: Store) -> None:
    devices = Devices(store)
    devices.pair("Bay 2 phone")
    key = devices.all()[0].key
    found = browser(lan_app).post(
        f"/devices/{key}/revoke",
        headers={"Origin": "http://foreign.example", "Sec-Fetch-Site": "cross-site"},
    )
    assert found.status_code == 403
    assert devices.is_paired(key)


def test_strangers_may_send_a_small_form_only(lan_app: FastAPI) -> None:
    found = phone(lan_app).post("/pair", data={"code": "x" * 5000, "name": "A"})
    assert found.status_code == 413


def test_without_lan_there_is_no_code(app: FastAPI) -> None:
    page = browser(app).get("/devices")
    assert page.status_code == 200
    assert "backprobe serve --lan" in page.text
    assert 'class="code"' not in page.text
    assert "<img" not in page.text


def test_the_picture_holds_the_link(lan_app: FastAPI) -> None:
    """The link drawn once more is the same picture; zbar 0.23 read the link back from one such."""
    import segno

    secret = lan_app.state.pairing.offer().secret
    link = f"http://192.0.2.10:8750/pair#{secret}"
    assert pairing_link(lan_app.state.settings, secret) == link
    drawn = segno.make_qr(link, error="m").svg_data_uri(scale=8, border=4, light="#fff")
    assert f'src="{drawn}"' in browser(lan_app).get("/devices").text


def test_whether_others_could_read_along_is_told(store: Store, lan_app: FastAPI) -> None:
    assert "read along" in browser(lan_app).get("/devices").text
    settings = ServeSettings(is_lan=True, lan_hosts=("192.0.2.10",), is_tls=True)
    here = browser(create_app(store, settings), base_url="https://127.0.0.1:8750")
    assert "read along" not in here.get("/devices").text


def test_this_computer_needs_no_pairing_page(lan_app: FastAPI) -> None:
    assert browser(lan_app).get("/pair").headers["location"] == "/devices"
