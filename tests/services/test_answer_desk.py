"""The desk answers what changed, also when the process that answers dies over it."""

import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from backprobe.job import read_job
from backprobe.services import answer_desk
from backprobe.services.answer_desk import MOST_TRIES, AnswerDesk
from backprobe.services.answer_process import Answering, AnswerProcess, Question, Reply, Step
from backprobe.services.explain import answer_of
from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store
from tests.services.sheets import EXAMPLES, after

PATIENCE = 60.0  # s; a process of its own begins by importing scipy


class Dying:
    """In the place of the process: the first ones die over what they are asked."""

    begun = 0
    deaths = 1

    def __init__(self) -> None:
        type(self).begun += 1
        self.dies = type(self).begun <= type(self).deaths

    def ask(self, question: Question, on_step: Callable[[Step], None]) -> Reply:
        if self.dies:
            raise EOFError
        on_step(Step("tables", 0.5))
        return Reply(question.sheet, answer_of(after("half-a-sheet")), 0.25, True)

    def close(self) -> None:
        self.dies = True


class Heard:
    """Whoever is told."""

    def __init__(self) -> None:
        self.kinds: list[str] = []
        self.about: set[tuple[str, str]] = set()  # job and sheet
        self.news = threading.Event()

    def __call__(self, job: str, kind: str, details: Mapping[str, Any]) -> None:
        self.kinds.append(kind)
        self.about.add((job, details["sheet"]))
        if kind != "answer step":
            self.news.set()

    def wait(self) -> None:
        assert self.news.wait(PATIENCE)
        self.news.clear()


@pytest.mark.parametrize("deaths", [0, 1, MOST_TRIES])
def test_a_process_that_dies_is_replaced_but_not_for_ever(
    store: Store, monkeypatch: pytest.MonkeyPatch, deaths: int
) -> None:
    monkeypatch.setattr(answer_desk, "AnswerProcess", Dying)
    Dying.begun, Dying.deaths = 0, deaths
    job, sheet = JobBook(store).take_in(read_job(EXAMPLES / "half-a-sheet.toml"))
    heard = Heard()
    desk = AnswerDesk(store, heard)
    desk.ask(sheet)
    assert desk.is_awaited(sheet)
    desk.start()
    try:
        heard.wait()
        if deaths == MOST_TRIES:
            assert heard.kinds == ["answer failed"]
            assert "readings are stored" in desk.trouble[sheet].remedy
            assert desk.current(sheet) is None
            desk.ask(sheet)  # the next reading starts it again
            heard.wait()
        assert heard.kinds[-2:] == ["answer step", "answer"]
        assert heard.about == {(job, sheet)}
        assert Dying.begun == deaths + 1
        assert sheet not in desk.trouble
        found = desk.current(sheet)
        assert found is not None
        assert found == desk.latest(sheet)
    finally:
        desk.stop()


@pytest.mark.slow
def test_the_answer_still_comes_after_the_real_process_was_killed(
    store: Store,
) -> None:
    _, sheet = JobBook(store).take_in(read_job(EXAMPLES / "half-a-sheet.toml"))
    heard = Heard()
    desk = AnswerDesk(store, heard)
    desk.start()
    try:
        desk.ask(sheet)
        deadline = time.monotonic() + PATIENCE
        while desk._process is None and time.monotonic() < deadline:
            time.sleep(0.005)
        first = desk._process
        assert isinstance(first, AnswerProcess)
        first._process.kill()
        heard.wait()
        assert heard.kinds[-1] == "answer"
        assert desk._process is not first
        assert desk.current(sheet) is not None
    finally:
        desk.stop()


def test_a_surprise_over_one_sheet_does_not_end_the_answers(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Surprising(Dying):
        deaths = 0

        def ask(self, question: Question, on_step: Callable[[Step], None]) -> Reply:
            if question.job.title == "surprise":
                raise RuntimeError("nobody thought of this")
            return super().ask(question, on_step)

    monkeypatch.setattr("backprobe.services.incident.log_file", lambda: tmp_path / "log")
    monkeypatch.setattr(answer_desk, "AnswerProcess", Surprising)
    book, heard = JobBook(store), Heard()
    job = read_job(EXAMPLES / "half-a-sheet.toml")
    odd = book.take_in(replace(job, title="surprise"))[1]
    sound = book.take_in(job)[1]
    desk = AnswerDesk(store, heard)
    desk.start()
    try:
        desk.ask(odd)
        heard.wait()
        assert "reference" in str(desk.trouble[odd])
        desk.ask(sound)
        heard.wait()
        assert desk.current(sound) is not None
    finally:
        desk.stop()


def test_a_sheet_is_searched_from_the_start_once_nobody_has_news(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[tuple[str, bool]] = []

    class GoingOn(Dying):
        deaths = 0

        def ask(self, question: Question, on_step: Callable[[Step], None]) -> Reply:
            asked.append((question.sheet, question.whole))
            return replace(super().ask(question, on_step), whole=question.whole)

    monkeypatch.setattr(answer_desk, "AnswerProcess", GoingOn)
    monkeypatch.setattr(answer_desk, "QUIET", 0.1)
    monkeypatch.setattr(answer_desk, "REST", 0.5)
    book, heard = JobBook(store), Heard()
    waiting, busy = (
        book.take_in(read_job(EXAMPLES / f"{name}.toml"))[1]
        for name in ("half-a-sheet", "healthy-air-mass")
    )
    desk = AnswerDesk(store, heard)
    desk.start()
    try:
        desk.ask(waiting)
        begun = time.monotonic()
        while time.monotonic() < begun + 1.0:  # another one keeps coming in
            monkeypatch.setattr(answer_desk, "_known", lambda *_: None)
            desk.ask(busy)
            time.sleep(0.1)
            assert (waiting, True) not in asked
        deadline = time.monotonic() + PATIENCE
        while {(waiting, True), (busy, True)} - set(asked) and time.monotonic() < deadline:
            time.sleep(0.02)
        assert {(waiting, True), (busy, True)} <= set(asked)
    finally:
        desk.stop()


def test_the_first_answer_comes_quickly_and_the_whole_search_agrees_with_it() -> None:
    answering, job = Answering(), read_job(EXAMPLES / "healthy-air-mass.toml")

    def asked(*, whole: bool) -> Reply:
        return answering.reply(Question("sheet", job, whole=whole), lambda _what, _share: None)

    quick, whole = asked(whole=False), asked(whole=True)
    assert (quick.whole, whole.whole) == (False, True)
    assert quick.answer is not None
    assert whole.answer is not None
    roles = [[t.role for t in reply.terminals] for reply in (quick.answer, whole.answer)]
    assert roles[0] == roles[1]
    first, second = (reply.faults[0] for reply in (quick.answer, whole.answer))
    assert first.fault == second.fault == "none"
    assert first.probability == pytest.approx(second.probability, abs=0.1)


def test_a_quick_answer_that_was_left_over_is_followed_by_the_whole_search(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Quick(Dying):
        deaths = 0

        def ask(self, question: Question, on_step: Callable[[Step], None]) -> Reply:
            return replace(super().ask(question, on_step), whole=question.whole)

    monkeypatch.setattr(answer_desk, "AnswerProcess", Quick)
    sheet = JobBook(store).take_in(read_job(EXAMPLES / "half-a-sheet.toml"))[1]
    heard = Heard()
    first = AnswerDesk(store, heard)
    first.start()
    first.ask(sheet)
    heard.wait()
    first.stop()  # before the whole search's turn
    monkeypatch.setattr(answer_desk, "QUIET", 0.05)
    monkeypatch.setattr(answer_desk, "REST", 0.05)
    desk = AnswerDesk(store, heard)
    desk.start()
    try:
        left = desk.current_or_asked(sheet)
        assert left is not None
        assert not left.is_whole
        heard.wait()
        found = desk.current(sheet)
        assert found is not None
        assert found.is_whole
    finally:
        desk.stop()
