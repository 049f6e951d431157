"""Sheets get their turns: news first, each once, the whole search when it is quiet."""

import threading
import time

import pytest

from backprobe.services import answer_agenda
from backprobe.services.answer_agenda import Agenda
from backprobe.services.depth import Depth


def test_a_sheet_that_changes_twice_has_one_turn_and_keeps_its_place() -> None:
    agenda = Agenda()
    for sheet in ("first", "second", "first"):
        agenda.put_news(sheet)
    assert agenda.take_news() == "first"
    agenda.put_news("first")  # changed again while it is glanced at: another turn, the last
    assert [agenda.take_news() for _ in range(2)] == ["second", "first"]


def test_what_was_glanced_at_is_gone_into_and_then_searched_when_quiet(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(answer_agenda, "QUIET", 0.05)
    monkeypatch.setattr(answer_agenda, "REST", 0.0)
    agenda = Agenda()
    agenda.put_news("sheet")
    agenda.take_news()
    agenda.glanced_at("sheet")
    assert agenda.take_closer() == ("sheet", Depth.QUICK)
    assert agenda.is_awaited("sheet")
    agenda.gone_into("sheet", Depth.QUICK, answered=True)
    assert not agenda.is_awaited("sheet")
    begun = time.monotonic()
    assert agenda.take_closer() == ("sheet", Depth.WHOLE)
    assert time.monotonic() - begun > 0.02
    agenda.gone_into("sheet", Depth.WHOLE, answered=True)
    agenda.close()
    assert agenda.take_closer() is None  # nothing follows a whole search


def test_no_whole_search_follows_where_there_was_no_answer(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(answer_agenda, "QUIET", 0.0)
    monkeypatch.setattr(answer_agenda, "REST", 0.0)
    agenda = Agenda()
    agenda.put_closer("sheet", Depth.QUICK)
    agenda.take_closer()
    agenda.gone_into("sheet", Depth.QUICK, answered=False)
    threading.Timer(0.2, agenda.close).start()
    assert agenda.take_closer() is None


def test_a_whole_search_that_is_asked_for_is_not_made_less() -> None:
    agenda = Agenda()
    agenda.put_closer("sheet", Depth.WHOLE)
    agenda.put_news("sheet")
    agenda.take_news()
    agenda.glanced_at("sheet")
    assert agenda.take_closer() == ("sheet", Depth.WHOLE)


def test_news_puts_off_the_whole_search(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(answer_agenda, "QUIET", 0.0)
    agenda = Agenda()
    agenda.put_later("sheet")
    agenda.put_news("sheet")
    agenda.put_later("sheet")  # it is awaited anyway
    threading.Timer(0.2, agenda.close).start()
    assert agenda.take_closer() is None


def test_who_waits_for_a_sheet_is_let_go_when_it_is_answered() -> None:
    agenda = Agenda()
    agenda.put_closer("sheet", Depth.WHOLE)
    agenda.take_closer()
    threading.Timer(0.1, agenda.gone_into, ("sheet", Depth.WHOLE), {"answered": True}).start()
    begun = time.monotonic()
    agenda.wait_for("sheet", 20.0)
    assert 0.05 < time.monotonic() - begun < 10.0


def test_the_second_one_takes_news_only_while_the_first_is_busy() -> None:
    agenda = Agenda()
    agenda.put_news("first")
    threading.Timer(0.1, agenda.take_news).start()
    threading.Timer(0.2, agenda.put_news, ("second",)).start()
    assert agenda.see_news(least_busy=1) == "second"
    assert agenda.take_news(least_busy=1) == "second"  # it was only looked at before
