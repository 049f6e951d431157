"""`backprobe serve`: the pages in a browser, on this computer or on paired devices."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated, Final

import typer

from backprobe.cli.database import DatabaseOption, open_store
from backprobe.errors import UsageError

if TYPE_CHECKING:
    from backprobe.web.pairing import Pairing
    from backprobe.web.server import Certificate
    from backprobe.web.settings import ServeSettings

READ_ALONG: Final = (
    "Without --tls-cert the connection isn't encrypted: others in this network could read along."
)
_PORT: Final = 8750  # web.settings.DEFAULT_PORT; what is imported here must load at once


def serve(
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="Where to listen; 0 takes any free port.")
    ] = _PORT,
    lan: Annotated[
        bool, typer.Option("--lan", help="Let phones and laptops of this network in, once paired.")
    ] = False,
    database: DatabaseOption = "",
    tls_cert: Annotated[
        str, typer.Option(metavar="FILE", help="Certificate (PEM), to encrypt the connection.")
    ] = "",
    tls_key: Annotated[str, typer.Option(metavar="FILE", help="The certificate's key (PEM).")] = "",
    open_: Annotated[
        bool, typer.Option("--open/--no-open", help="Show the first page in a browser.")
    ] = False,
) -> None:
    """Show the jobs in a browser until you press Ctrl-C.

    Exit status 0 or 130: stopped. 2: could not be started; the message says why.
    """
    certificate = _certificate(tls_cert, tls_key)
    from backprobe.web.app import create_app
    from backprobe.web.lan import lan_hosts
    from backprobe.web.server import EVERYWHERE, LOOPBACK, Serving, bind
    from backprobe.web.settings import ServeSettings

    with bind(EVERYWHERE if lan else LOOPBACK, port) as listener:
        store = open_store(database)
        try:
            settings = ServeSettings(
                port=listener.getsockname()[1],
                is_lan=lan,
                lan_hosts=lan_hosts() if lan else (),
                is_tls=certificate is not None,
            )
            app = create_app(store, settings)
            pairing: Pairing = app.state.pairing
            Serving(
                app, listener, certificate, lambda: _started(settings, pairing, show=open_)
            ).run()
        finally:
            store.close()


def _certificate(chain: str, key: str) -> Certificate | None:
    if bool(chain) != bool(key):
        raise UsageError(
            "A certificate and its key are needed together.",
            "--tls-key" if chain else "--tls-cert",
            "Name both files, or neither.",
        )
    if not chain:
        return None
    from backprobe.web.server import Certificate

    return Certificate(chain, key)


def _started(settings: ServeSettings, pairing: Pairing, *, show: bool) -> None:
    """Tell where the pages are; a secret goes to a screen only, not into a file."""
    from backprobe.services.telling import ALWAYS

    address = settings.url()
    _say(f"backprobe is at {address} (Ctrl-C ends it)")
    _say(ALWAYS)
    if settings.is_lan:
        if not settings.is_tls:
            _say(READ_ALONG)
        _say(f"Other devices: {settings.lan_url or 'no address found'}")
        _say(f"Pair a device: {settings.url(path='/devices')} shows the code.")
        if sys.stdout.isatty() and settings.lan_url:
            _show_code(settings, pairing)
    if show:
        import webbrowser

        webbrowser.open_new_tab(address)


def _show_code(settings: ServeSettings, pairing: Pairing) -> None:
    import segno

    from backprobe.web.device_pages import pairing_link

    offer = pairing.offer()
    segno.make_qr(pairing_link(settings, offer.secret), error="l").terminal(compact=True)
    _say(f"Or open {settings.lan_url} on the device and enter {offer.shown_code} (ten minutes).")


def _say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()
