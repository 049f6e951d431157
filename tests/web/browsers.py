"""Browsers at this computer, and elsewhere in the network."""

from typing import Any

from fastapi import FastAPI
from fastapi.testclient import TestClient

HERE = "http://127.0.0.1:8750"
LAN = "http://192.0.2.10:8750"
PHONE = "192.0.2.77"


def browser(
    app: FastAPI, address: str = "127.0.0.1", *, base_url: str = HERE, **options: Any
) -> TestClient:
    """A browser that has one of our pages open."""
    return TestClient(
        app,
        base_url=base_url,
        client=(address, 50_000),
        headers={"Origin": base_url},
        follow_redirects=False,
        **options,
    )


def phone(app: FastAPI, address: str = PHONE, **options: Any) -> TestClient:
    """A browser on another device of the network."""
    return browser(app, address, base_url=LAN, **options)
