"""`backprobe serve` as users start it: one clear line, an answer, a quiet end."""

import http.client
import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from typer.testing import CliRunner

from backprobe import __version__
from backprobe.cli.main import app
from backprobe.cli.serve_command import _PORT, _started
from backprobe.web.pairing import Pairing
from backprobe.web.settings import DEFAULT_PORT, ServeSettings

PATIENCE = 60.0  # s; a cold start on a busy machine
ADDRESS = re.compile(r"^backprobe is at http://127\.0\.0\.1:(\d+)/ \(Ctrl-C ends it\)$")


@contextmanager
def started(
    folder: Path, *arguments: str, output: int = subprocess.PIPE
) -> Iterator[subprocess.Popen[str]]:
    command = [sys.executable, "-m", "backprobe", "serve", "--port", "0", *arguments]
    process = subprocess.Popen(
        command,
        stdout=output,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        env=os.environ | {"BACKPROBE_DATABASE": str(folder / "jobs.sqlite3"), "PYTHONUTF8": "1"},
    )
    try:
        yield process
    finally:
        process.kill()
        process.communicate(timeout=PATIENCE)


def port_of(process: subprocess.Popen[str]) -> int:
    assert process.stdout is not None
    found = ADDRESS.match(process.stdout.readline())
    assert found, process.stderr.read() if process.stderr else ""
    return int(found.group(1))


def interrupted(process: subprocess.Popen[str]) -> tuple[str, str]:
    """Press Ctrl-C; what was said after the first line, and the complaints."""
    assert process.stdout is not None
    assert process.stderr is not None
    process.send_signal(signal.SIGINT)
    # Not `communicate`: it would forget what the first line's reader has in its buffer.
    said = process.stdout.read(), process.stderr.read()
    process.wait(timeout=PATIENCE)
    return said


def asked(port: int, path: str, host: str = "") -> tuple[int, str]:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE)
    connection.request("GET", path, headers={"Host": host} if host else {})
    answer = connection.getresponse()
    text = answer.read().decode()
    connection.close()
    return answer.status, text


@pytest.mark.skipif(sys.platform == "win32", reason="signals as POSIX has them")
def test_it_tells_its_address_answers_and_ends_quietly(tmp_path: Path) -> None:
    with started(tmp_path) as process:
        port = port_of(process)
        assert asked(port, "/api/health")[0] == 200
        assert __version__ in asked(port, "/")[1]
        assert asked(port, "/", host="foreign.example")[0] == 421
        assert (tmp_path / "jobs.sqlite3").exists()
        output, errors = interrupted(process)
    assert "you decide" in output
    assert process.returncode in {0, 130}
    assert errors == ""


@pytest.mark.skipif(sys.platform == "win32", reason="signals as POSIX has them")
def test_with_lan_it_says_what_that_means_and_keeps_the_secret_out_of_files(
    tmp_path: Path,
) -> None:
    with started(tmp_path, "--lan") as process:
        port = port_of(process)
        status, page = asked(port, "/devices")
        output, _ = interrupted(process)
    assert status == 200
    (code,) = re.findall(r'class="code">([^<]+)<', page)
    assert "others in this network could read along" in output
    assert f"http://127.0.0.1:{port}/devices" in output
    assert code not in output
    assert "/pair#" not in output


@pytest.mark.skipif(sys.platform == "win32", reason="there are no such terminals")
def test_a_terminal_shows_the_picture_and_the_code(tmp_path: Path) -> None:
    import pty

    reader, writer = pty.openpty()
    with started(tmp_path, "--lan", output=writer):
        os.close(writer)
        shown, deadline = "", time.monotonic() + PATIENCE
        while "ten minutes" not in shown and time.monotonic() < deadline:
            try:
                shown += os.read(reader, 65536).decode()
            except OSError:
                break
        if "no address found" in shown:
            pytest.skip("this machine is in no network")
        port = int(re.findall(r"127\.0\.0\.1:(\d+)/", shown)[0])
        (code,) = re.findall(r'class="code">([^<]+)<', asked(port, "/devices")[1])
    os.close(reader)
    assert code in shown
    assert shown.count("▄") > 100


def test_a_taken_port_is_told() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        result = CliRunner().invoke(app, ["serve", "--port", port])
    assert result.exception is not None
    assert f"Port {port} can't be used" in str(result.exception)


def test_no_data_base_is_made_for_a_port_that_is_taken(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        path = tmp_path / "jobs.sqlite3"
        CliRunner().invoke(app, ["serve", "--port", port, "--database", str(path)])
    assert not path.exists()


@pytest.mark.parametrize("option", ["--tls-cert", "--tls-key"])
def test_a_certificate_needs_its_key(option: str) -> None:
    result = CliRunner().invoke(app, ["serve", option, "a.pem"])
    assert "needed together" in str(result.exception)


def test_the_port_in_the_help_is_the_one_of_the_pages() -> None:
    assert _PORT == DEFAULT_PORT


def test_the_browser_is_shown_the_page_when_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    shown: list[str] = []
    monkeypatch.setattr("webbrowser.open_new_tab", shown.append)
    settings = ServeSettings(port=8751)
    for show in (False, True):
        _started(settings, Pairing(), show=show)
    assert shown == ["http://127.0.0.1:8751/"]
