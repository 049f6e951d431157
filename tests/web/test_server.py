"""The server itself: its port, its certificate, and bytes that no well-behaved browser sends."""

import datetime
import http.client
import socket
import ssl
import threading
from ipaddress import IPv4Address
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from fastapi import FastAPI

from backprobe.errors import UsageError
from backprobe.web.server import Certificate, Serving, bind
from tests.web.running import PATIENCE, running

TOO_LARGE = (
    b"POST /devices/code HTTP/1.1\r\nHost: localhost\r\nX-Backprobe: 1\r\n"
    b"Content-Length: 30000000\r\nConnection: close\r\n\r\n"
)


def sent(port: int, request: bytes) -> bytes:
    """The answer to bytes as they are."""
    with socket.create_connection(("127.0.0.1", port), timeout=PATIENCE) as connection:
        connection.sendall(request)
        answer = b""
        while piece := connection.recv(65536):
            answer += piece
        return answer


def test_a_taken_port_is_told_with_what_to_do() -> None:
    with bind("127.0.0.1", 0) as first:
        port = first.getsockname()[1]
        with pytest.raises(UsageError) as caught:
            bind("127.0.0.1", port)
    assert caught.value.what.startswith(f"Port {port} can't be used: ")
    assert "--port 0" in caught.value.remedy


def test_small_answers_are_sent_at_once() -> None:
    """asyncio sets TCP_NODELAY only where the socket says its protocol; else 40 ms are lost."""
    with bind("127.0.0.1", 0) as listener:
        assert listener.proto == socket.IPPROTO_TCP


def test_the_usual_port_taken_means_perhaps_it_runs_already(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with bind("127.0.0.1", 0) as first:
        port = first.getsockname()[1]
        monkeypatch.setattr("backprobe.web.server.DEFAULT_PORT", port)
        with pytest.raises(UsageError, match="runs already"):
            bind("127.0.0.1", port)


def test_an_answer_over_a_real_connection(app: FastAPI) -> None:
    with running(app) as server:
        answer = server.get("/api/health")
        assert answer.status == 200
        assert "server" not in answer.headers
        assert "frame-ancestors 'none'" in answer.headers["content-security-policy"]


@pytest.mark.parametrize(
    ("request_", "status"),
    [
        (b"GET / HTTP/1.1\r\nHost: foreign.example\r\nConnection: close\r\n\r\n", b"421"),
        (b"GET / HTTP/1.1\r\nConnection: close\r\n\r\n", b"400"),
        (b"GET / HTTP/1.0\r\n\r\n", b"421"),
        (b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nHost: a.example\r\n\r\n", b"400"),
        (b"GET http://a.example/ HTTP/1.1\r\nHost: a.example\r\nConnection: close\r\n\r\n", b"421"),
        (b"GET /static/../app.py HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n", b"404"),
        (b"GET /x%0d%0aX-Y:1 HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n", b"404"),
        (b"GET / HTTP/1.1\r\nHost: localhost\r\nX: a\x00b\r\n\r\n", b"400"),
        (b"\x16\x03\x01\x02\x00\x01\r\n\r\n", b"400"),
        (TOO_LARGE, b"413"),
    ],
)
def test_bytes_as_they_are(app: FastAPI, request_: bytes, status: bytes) -> None:
    with running(app) as server:
        answer = sent(server.port, request_)
    assert answer.split(b" ", 2)[1] == status
    assert b"X-Y:1" not in answer.split(b"\r\n\r\n", 1)[0]


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Certificate:
    """A certificate of our own for the loopback address."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "bench")])
    today = datetime.datetime.now(tz=datetime.UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(today - datetime.timedelta(days=1))
        .not_valid_after(today + datetime.timedelta(days=1))
        .add_extension(
            x509.SubjectAlternativeName([x509.IPAddress(IPv4Address("127.0.0.1"))]), critical=False
        )
        .sign(key, hashes.SHA256())
    )
    folder = tmp_path_factory.mktemp("certificate")
    chain, kept = folder / "chain.pem", folder / "key.pem"
    chain.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    kept.write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )
    return Certificate(str(chain), str(kept))


def test_an_encrypted_connection(app: FastAPI, certificate: Certificate) -> None:
    started = threading.Event()
    listener = bind("127.0.0.1", 0)
    port = listener.getsockname()[1]
    server = Serving(app, listener, certificate, started.set).server()
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
    thread.start()
    assert started.wait(PATIENCE)
    trusting = ssl.create_default_context(cafile=certificate.chain)
    connection = http.client.HTTPSConnection("127.0.0.1", port, timeout=PATIENCE, context=trusting)
    connection.request("GET", "/api/health")
    assert connection.getresponse().status == 200
    connection.close()
    server.should_exit = True
    thread.join(PATIENCE)


def test_an_unusable_certificate_is_told(
    app: FastAPI, certificate: Certificate, tmp_path: Path
) -> None:
    broken = tmp_path / "broken.pem"
    broken.write_text("nothing", encoding="utf-8")
    with bind("127.0.0.1", 0) as listener:
        for chain, key in (
            (str(tmp_path / "missing.pem"), certificate.key),
            (str(broken), certificate.key),
            (certificate.chain, str(broken)),
        ):
            with pytest.raises(UsageError) as caught:
                Serving(app, listener, Certificate(chain, key)).server()
            assert "can't be used" in caught.value.what
            assert "--tls-cert and --tls-key" in caught.value.remedy
