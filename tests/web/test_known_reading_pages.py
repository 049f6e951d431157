""" "I know this already" leads from a proposed reading to its value or its wire, and on."""

import re
from html import unescape

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from backprobe.services.answer_desk import derive
from backprobe.services.job_book import JobBook

LOADED = {"quantity": "volts_loaded", "place": "1", "plugged": "no", "key": "on", "rpm": "0"}


def test_a_proposal_leads_to_its_own_reading(app: FastAPI, client: TestClient, sheet: str) -> None:
    wanted = derive(app.state.store, sheet).answer.next[0]
    text = client.get(f"/sheets/{sheet}/known").text
    links = re.findall(r'href="([^"]*known-reading[^"]*)"', text)
    shown = client.get(unescape(links[0])).text
    assert f'name="quantity" value="{wanted.quantity}"' in shown
    assert f'name="place" value="{wanted.terminal}"' in shown
    assert f'name="plugged" value="{"yes" if wanted.plugged else "no"}"' in shown
    assert f'name="key" value="{wanted.key}"' in shown
    assert text.count("Skip: can't reach it") == len(links)


def test_a_value_that_is_known_is_a_reading_and_is_worked_out(
    app: FastAPI, client: TestClient, book: JobBook, sheet: str
) -> None:
    derive(app.state.store, sheet)
    sent = client.post(
        f"/sheets/{sheet}/known-reading",
        data=LOADED | {"written": "1.56 V", "black_lead": "battery negative"},
        follow_redirects=False,
    )
    assert (sent.status_code, sent.headers["location"]) == (303, f"/sheets/{sheet}#next")
    (only,) = book.sheet(sheet)[2].rounds
    assert only.round.volts_loaded["1"].value == 1.56
    assert app.state.answers.is_awaited(sheet)
    after = derive(app.state.store, sheet).answer.next
    taken = {(each.quantity, each.terminal) for each in after if not each.plugged}
    assert ("volts_loaded", "1") not in taken


def test_a_role_that_is_known_is_a_witness(client: TestClient, book: JobBook, sheet: str) -> None:
    sent = client.post(
        f"/sheets/{sheet}/known-role/1",
        data=LOADED | {"role": "signal-thermistor"},
        follow_redirects=False,
    )
    assert sent.headers["location"] == f"/sheets/{sheet}#next"
    told = book.sheet(sheet)[2]
    assert [t.diagram for t in told.connector.terminals] == ["signal-thermistor", "", ""]
    assert not told.rounds[0].round.volts_loaded  # a witness is no reading


@pytest.mark.parametrize(
    ("path", "data", "status"),
    [
        ("known-reading", LOADED | {"written": "much"}, 422),
        ("known-reading", LOADED | {"written": "1 V", "place": "9"}, 422),
        ("known-reading", LOADED | {"written": "1 V", "plugged": "half"}, 422),
        ("known-role/1", LOADED | {"role": "magic"}, 422),
        ("known-role/9", LOADED | {"role": "shield"}, 404),
    ],
)
def test_what_cannot_be_is_told_and_nothing_is_kept(
    client: TestClient,
    book: JobBook,
    sheet: str,
    path: str,
    data: dict[str, str],
    status: int,
) -> None:
    before = book.job_file(sheet)[1]
    answer = client.post(f"/sheets/{sheet}/{path}", data=data)
    assert answer.status_code == status
    assert book.job_file(sheet)[1] == before
