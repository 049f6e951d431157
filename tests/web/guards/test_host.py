"""The host that is asked for: names of this computer, no others."""

import pytest
from fastapi import FastAPI

from backprobe.store.engine import Store
from backprobe.web.app import create_app
from backprobe.web.guards.host import host_name
from backprobe.web.settings import ServeSettings
from tests.web.browsers import browser, phone

FOREIGN = [
    "foreign.example",
    "foreign.example:8750",
    "127.0.0.1.foreign.example",
    "localhost.foreign.example",
    "foreign.example@127.0.0.1",
    "127.0.0.1:8750@foreign.example",
    "127.0.0.1:x",
    "127.0.0.1 foreign.example",
    "127.1",
    "0.0.0.0",  # noqa: S104  # a name that is sent, nothing is bound
    "[::1",
    "[::1].foreign.example",
    "",
    ":8750",
    "192.0.2.10",
]


@pytest.mark.parametrize("host", FOREIGN)
@pytest.mark.parametrize("path", ["/", "/api/health", "/pair"])
def test_a_foreign_name_is_refused(app: FastAPI, host: str, path: str) -> None:
    """DNS rebinding: a foreign site lets its own name point here; the browser still sends it."""
    found = browser(app).get(path, headers={"Host": host})
    assert found.status_code == 421
    assert "http://127.0.0.1:8750/" in found.text


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "LOCALHOST:8750", "[::1]:99", "[::1]"])
def test_names_of_this_computer_are_answered(app: FastAPI, host: str) -> None:
    assert browser(app).get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize("host", ["192.0.2.10:8750", "bench.local", "Bench.Local:8750"])
def test_names_in_the_network_are_answered_with_lan_only(
    app: FastAPI, lan_app: FastAPI, host: str
) -> None:
    assert phone(lan_app).get("/pair", headers={"Host": host}).status_code == 200
    assert browser(app).get("/", headers={"Host": host}).status_code == 421


def test_the_address_at_which_the_connection_ends_is_ours(store: Store) -> None:
    """The network may give this computer another address while the server runs."""
    app = create_app(store, ServeSettings(is_lan=True, lan_hosts=("192.0.2.10",)))
    moved = browser(app, "192.0.2.77", base_url="http://192.0.2.55:8750")
    assert moved.get("/pair").status_code == 200
    assert moved.get("/pair", headers={"Host": "192.0.2.56:8750"}).status_code == 421


def test_two_hosts_are_none(app: FastAPI) -> None:
    twice = [("Host", "127.0.0.1"), ("Host", "foreign.example")]
    assert browser(app).get("/", headers=twice).status_code == 421


@pytest.mark.parametrize(
    ("host", "name"),
    [
        ("a.example", "a.example"),
        ("a.example:80", "a.example"),
        ("[2001:db8::1]:80", "[2001:db8::1]"),
        ("[2001:db8::1]", "[2001:db8::1]"),
        ("a:b", ""),
    ],
)
def test_the_name_in_a_host(host: str, name: str) -> None:
    assert host_name(host) == name
