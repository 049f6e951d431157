"""How this computer is known in its network."""

import socket
from ipaddress import ip_address

import pytest

from backprobe.web import lan


def answered(addresses: list[str]) -> object:
    def getaddrinfo(*_arguments: object) -> list[tuple[object, ...]]:
        return [(socket.AF_INET, 1, 6, "", (address, 0)) for address in addresses]

    return getaddrinfo


def test_the_way_out_comes_first_names_come_last(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lan, "_outward", lambda: ["192.0.2.10"])
    monkeypatch.setattr(socket, "gethostname", lambda: "Bench")
    monkeypatch.setattr(
        socket, "getaddrinfo", answered(["127.0.1.1", "198.51.100.4", "192.0.2.10"])
    )
    assert lan.lan_hosts() == ("192.0.2.10", "198.51.100.4", "bench", "bench.local")


def test_without_a_network_only_the_name_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    def no_network(*_arguments: object) -> object:
        raise OSError

    monkeypatch.setattr(socket, "getaddrinfo", no_network)
    monkeypatch.setattr(socket.socket, "connect", no_network)
    monkeypatch.setattr(socket, "gethostname", lambda: "bench.example")
    assert lan.lan_hosts() == ("bench.example",)


def test_on_this_machine_no_address_is_the_loopback() -> None:
    for host in lan.lan_hosts():
        try:
            address = ip_address(host)
        except ValueError:
            continue
        assert not address.is_loopback
