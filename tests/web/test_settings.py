"""To whom the pages are served, as addresses."""

from backprobe.web.settings import LOOPBACK_NAMES, ServeSettings


def test_addresses_of_a_server_in_a_network() -> None:
    settings = ServeSettings(port=8750, is_lan=True, lan_hosts=("192.0.2.10", "b"), is_tls=True)
    assert settings.url() == "https://127.0.0.1:8750/"
    assert settings.lan_url == "https://192.0.2.10:8750/"
    assert settings.hosts == (*LOOPBACK_NAMES, "192.0.2.10", "b")


def test_names_in_the_network_count_for_nothing_without_lan() -> None:
    settings = ServeSettings(lan_hosts=("192.0.2.10",))
    assert settings.lan_url == ""
    assert settings.hosts == LOOPBACK_NAMES
    assert ServeSettings(is_lan=True).lan_url == ""
