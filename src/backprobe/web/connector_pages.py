"""The connector of a sheet: one more added to a job, or name and wires written anew."""

from __future__ import annotations

from dataclasses import dataclass, replace

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from backprobe.errors import ConflictError, ValueOutOfRange
from backprobe.job import Connector
from backprobe.web.answering import BookAtHand
from backprobe.web.changing import ChangeAtHand
from backprobe.web.job_form import CHOICES, WireLine, read_connector, understood
from backprobe.web.pages import pages_of
from backprobe.web.typed_form import SEE_OTHER, UNUSABLE, FormView, Mistakes, TypedForm, said

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True)
class ConnectorFormView:
    """The form of a connector."""

    form: FormView
    key: str  # of the job
    title: str
    wires: tuple[WireLine, ...] = ()
    sheet: str = ""  # key; empty where the connector is added

    @property
    def kinds(self) -> tuple[tuple[str, str], ...]:
        """Kinds of connector."""
        return tuple((word, word) for word in CHOICES["kind"])


@router.get("/jobs/{key}/sheets/new")
def new_connector_page(request: Request, key: str, book: BookAtHand) -> HTMLResponse:
    """Show the form of one more connector."""
    title = book.job(key).head.title
    view = ConnectorFormView(FormView({"kind": "unknown"}), key, title)
    return pages_of(request).page(request, "connector_form.html", view)


@router.post("/jobs/{key}/sheets/new")
def add_connector(
    request: Request,
    key: str,
    typed: TypedForm,
    change: ChangeAtHand,
) -> Response:
    """Begin the sheet of one more connector."""
    wrong = Mistakes()
    connector = read_connector(typed, wrong)
    if wrong.found:
        title = change.book.job(key).head.title
        form = FormView(typed.values, wrong.found)
        view = ConnectorFormView(form, key, title, understood(typed.text("wires")))
        return pages_of(request).page(request, "connector_form.html", view, status=UNUSABLE)
    sheet = change.book.add_sheet(key, connector, device=change.device)
    change.told_of(sheet)
    return RedirectResponse(f"/sheets/{sheet}", SEE_OTHER)


@router.get("/sheets/{key}/connector")
def connector_page(request: Request, key: str, book: BookAtHand) -> HTMLResponse:
    """Show name, kind and wires, to be written anew."""
    job_key, head, sheet = book.sheet(key)
    lines = "\n".join(f"{t.pin} {t.colour}".strip() for t in sheet.connector.terminals)
    written = {"connector": sheet.connector.name, "kind": sheet.connector.kind, "wires": lines}
    view = ConnectorFormView(FormView(written), job_key, head.title, understood(lines), key)
    return pages_of(request).page(request, "connector_form.html", view)


@router.post("/sheets/{key}/connector")
def change_connector(
    request: Request,
    key: str,
    typed: TypedForm,
    change: ChangeAtHand,
) -> Response:
    """Write name, kind and wires anew; what a diagram said of a wire stays with its number."""
    job_key, head, sheet = change.book.sheet(key)
    wrong = Mistakes()
    connector = read_connector(typed, wrong)
    if not wrong.found:
        try:
            wanted = _with_diagram(connector, sheet.connector)
            change.book.change_connector(key, wanted, device=change.device)
        except (ConflictError, ValueOutOfRange) as error:
            wrong.found["wires"] = said(error)
    if wrong.found:
        form = FormView(typed.values, wrong.found)
        view = ConnectorFormView(form, job_key, head.title, understood(typed.text("wires")), key)
        return pages_of(request).page(request, "connector_form.html", view, status=UNUSABLE)
    change.told_of(key)
    return RedirectResponse(f"/sheets/{key}", SEE_OTHER)


def _with_diagram(connector: Connector, before: Connector) -> Connector:
    said = {terminal.pin: terminal.diagram for terminal in before.terminals}
    terminals = tuple(replace(each, diagram=said.get(each.pin, "")) for each in connector.terminals)
    return replace(connector, terminals=terminals)
