"""Serves the pages: takes the port first, tells when it answers, ends streams before it stops."""

from __future__ import annotations

import gc
import logging
import socket
import ssl
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

import uvicorn
from fastapi import FastAPI

from backprobe.errors import UsageError
from backprobe.web.live import Live
from backprobe.web.settings import DEFAULT_PORT

EVERYWHERE: Final = "0.0.0.0"  # noqa: S104  # asked for by --lan; strangers see the pairing page only
LOOPBACK: Final = "127.0.0.1"
GRACE: Final = 1  # s that open requests get when the server is stopped
# s after which a thread that computes lets another one run. With Python's own 5 ms, requests wait
# for the threads that read sheets to be answered: fifty people who enter a reading in the same
# instant have 95 % of them acknowledged within 154 ms instead of 276.
TURN: Final = 0.0005


@dataclass(frozen=True, slots=True)
class Certificate:
    """Files of a certificate and its key, for an encrypted connection."""

    chain: str
    key: str


def bind(host: str, port: int) -> socket.socket:
    """Take a port; 0 takes any that is free.

    Raises
    ------
    UsageError
        It is taken, or may not be used.
    """
    # With the protocol said, asyncio turns the wait for fuller packets off (TCP_NODELAY); without
    # it every answer on a kept connection waits 40 ms for the other side's acknowledgement.
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    if sys.platform == "win32":  # elsewhere a second server on the same port is refused anyway
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
    else:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
        listener.listen()
    except OSError as error:
        listener.close()
        remedy = (
            "Perhaps backprobe runs already: look there in a browser. Or take any free port with "
            "--port 0."
            if port == DEFAULT_PORT
            else "Name another one, or take any that is free with --port 0."
        )
        raise UsageError(
            f"Port {port} can't be used: {(error.strerror or 'unknown reason').lower()}.",
            f"--port {port}",
            remedy,
        ) from error
    return listener


class _Server(uvicorn.Server):
    """A server that says when it answers, and ends its streams before it waits for them."""

    def __init__(self, config: uvicorn.Config, live: Live, on_started: Callable[[], None]) -> None:
        super().__init__(config)
        self._live = live
        self._on_started = on_started

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets=sockets)
        # What is loaded by now stays. Looking through it for garbage again and again would hold
        # up everybody for a tenth of a second and more (measured).
        gc.freeze()
        self._on_started()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        self._live.close()
        await super().shutdown(sockets=sockets)


@dataclass(frozen=True, slots=True)
class Serving:
    """An application, the port that it is served on, and how."""

    app: FastAPI
    listener: socket.socket
    certificate: Certificate | None = None
    on_started: Callable[[], None] = field(default=lambda: None)

    def server(self) -> uvicorn.Server:
        """Make the server; its `run` serves until it is stopped.

        Raises
        ------
        UsageError
            The certificate can't be used.
        """
        config = uvicorn.Config(
            self.app,
            http="h11",
            ws="none",
            lifespan="on",
            log_config=None,
            # Unforeseen errors are in our own log already.
            log_level=logging.CRITICAL,
            access_log=False,
            # Who asks is told by the socket, never by a header.
            proxy_headers=False,
            server_header=False,
            timeout_graceful_shutdown=GRACE,
            ssl_certfile=self.certificate.chain if self.certificate else None,
            ssl_keyfile=self.certificate.key if self.certificate else None,
        )
        try:
            config.load()
        except (OSError, ssl.SSLError) as error:
            where = self.certificate.chain if self.certificate else ""
            raise UsageError(
                f"The certificate or its key can't be used: {error.strerror or error}.",
                where,
                "Name the files with --tls-cert and --tls-key, both as PEM and one made for the "
                "other.",
            ) from error
        return _Server(config, self.app.state.live, self.on_started)

    def run(self) -> None:
        """Serve until stopped."""
        sys.setswitchinterval(TURN)
        self.server().run(sockets=[self.listener])
