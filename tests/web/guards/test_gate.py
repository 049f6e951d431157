"""Who is let in: told by the address of the socket and by tokens, never by a header."""

import pytest
from fastapi import FastAPI, Request

from backprobe.store.engine import Store
from backprobe.store.schema import DeviceRow
from backprobe.web.devices import COOKIE, Devices
from tests.web.browsers import PHONE, browser, phone

CLAIMS = [
    {"X-Forwarded-For": "127.0.0.1"},
    {"X-Real-IP": "127.0.0.1"},
    {"Forwarded": "for=127.0.0.1"},
    {"Host": "127.0.0.1"},
    {"Host": "localhost:8750"},
    {"X-Backprobe": "1"},
    {"Cookie": f"{COOKIE}="},
    {"Cookie": f"{COOKIE}=guess"},
    {"Cookie": f"{COOKIE}=' or 1=1 --"},
]


def add_echo(app: FastAPI) -> None:
    def echo(request: Request) -> str:
        return str(request.state.device)

    app.add_api_route("/api/echo", echo)


@pytest.mark.parametrize("address", ["127.0.0.1", "127.0.0.5", "::1", "::ffff:127.0.0.1"])
def test_this_computer_needs_no_pairing(app: FastAPI, lan_app: FastAPI, address: str) -> None:
    for each in (app, lan_app):
        add_echo(each)
        assert browser(each, address).get("/api/echo").json() == "this computer"


@pytest.mark.parametrize("address", [PHONE, "::ffff:192.0.2.77", "2001:db8::7", "fe80::1", "x", ""])
def test_a_stranger_sees_the_pairing_page_and_nothing_else(lan_app: FastAPI, address: str) -> None:
    stranger = phone(lan_app, address)
    for path in ("/", "/devices", "/nothing", "/pair/", "/pair/../devices", "/apis"):
        found = stranger.get(path)
        assert (found.status_code, found.headers["location"]) == (303, "/pair")
    for path in ("/api/health", "/api/openapi.json", "/api/nothing", "/api"):
        found = stranger.get(path)
        assert found.status_code == 401
        assert set(found.json()) == {"what", "where", "remedy"}
        assert found.headers["www-authenticate"]
    assert stranger.get("/pair").status_code == 200
    assert stranger.get(lan_app.state.static.url("paper.css")).status_code == 200
    assert stranger.post("/devices/code").status_code == 401


@pytest.mark.parametrize("headers", CLAIMS)
def test_claims_in_headers_let_nobody_in(lan_app: FastAPI, headers: dict[str, str]) -> None:
    assert phone(lan_app).get("/api/health", headers=headers).status_code == 401


def test_without_lan_there_is_no_pairing_page_for_strangers(app: FastAPI) -> None:
    """Such a connection can't be; were there one, it would learn nothing."""
    token = Devices(app.state.store).pair("Bay 2 phone")
    stranger = browser(app, PHONE)
    for headers in ({}, {"Cookie": f"{COOKIE}={token}"}):
        for path in ("/", "/pair", "/api/health", app.state.static.url("paper.css")):
            assert stranger.get(path, headers=headers).status_code == 401


def test_a_paired_device_is_known_by_its_name(lan_app: FastAPI, store: Store) -> None:
    add_echo(lan_app)
    token = Devices(store).pair("Bay 2 phone")
    assert phone(lan_app, cookies={COOKIE: token}).get("/api/echo").json() == "Bay 2 phone"


def test_a_revoked_device_is_a_stranger_again(lan_app: FastAPI, store: Store) -> None:
    devices = Devices(store)
    known = phone(lan_app, cookies={COOKIE: devices.pair("Bay 2 phone")})
    assert known.get("/api/health").status_code == 200
    devices.revoke(devices.all()[0].key)
    assert known.get("/api/health").status_code == 401
    assert known.get("/").headers["location"] == "/pair"


def test_the_hash_kept_in_the_store_lets_nobody_in(lan_app: FastAPI, store: Store) -> None:
    token = Devices(store).pair("Bay 2 phone")
    with store.read() as session:
        kept = session.query(DeviceRow).one().secret_sha256
    assert token not in kept
    assert phone(lan_app, cookies={COOKIE: kept}).get("/api/health").status_code == 401


def test_a_store_in_trouble_lets_nobody_in_and_tells_no_path(
    lan_app: FastAPI, store: Store
) -> None:
    token = Devices(store).pair("Bay 2 phone")
    with store.write() as session:
        session.connection().exec_driver_sql("drop table device")
    found = phone(lan_app, cookies={COOKIE: token}).get("/api/health")
    assert found.status_code == 503
    assert str(store.path) not in found.text
