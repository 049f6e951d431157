"""The desk answers what changed, also when the process that answers dies over it."""

import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, ClassVar

import pytest

from backprobe.job import read_job
from backprobe.services import answer_agenda, answer_desk
from backprobe.services.answer import Answer
from backprobe.services.answer_archive import packed, unpacked
from backprobe.services.answer_desk import MOST_TRIES, SEARCHING, AnswerDesk
from backprobe.services.answer_process import Answering, AnswerProcess, Question, Reply, Step
from backprobe.services.depth import Depth
from backprobe.services.explain import answer_of, glance_in_words
from backprobe.services.job_book import JobBook
from backprobe.services.unavailable import not_taken
from backprobe.store.engine import Store
from tests.services.sheets import EXAMPLES, after

PATIENCE = 60.0  # s; a process of its own begins by importing scipy


class Dying:
    """In the place of the process: the first ones die over what they are asked.

    A glance of theirs tells nothing, so that all answers come from a closer look.
    """

    begun = 0
    deaths = 1

    def __init__(self, deepest: Depth) -> None:
        self.dies = False
        if deepest is not Depth.GLANCE:
            type(self).begun += 1
            self.dies = type(self).begun <= type(self).deaths

    def ask(self, question: Question, on_step: Callable[[Step], None]) -> Reply:
        if question.depth is Depth.GLANCE:
            return Reply(question.sheet, None, 0.01, Depth.GLANCE)
        if self.dies:
            raise EOFError
        on_step(Step("tables", 0.5))
        return Reply(question.sheet, packed(answer_of(after("half-a-sheet"))), 0.25, question.depth)

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
        while SEARCHING not in desk._processes and time.monotonic() < deadline:
            time.sleep(0.005)
        first = desk._processes[SEARCHING]
        assert isinstance(first, AnswerProcess)
        first._process.kill()
        while not heard.kinds or (found := desk.current(sheet)) is None or found.is_glance:
            heard.wait()
        assert heard.kinds[-1] == "answer"
        assert desk._processes[SEARCHING] is not first
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
            asked.append((question.sheet, question.depth is Depth.WHOLE))
            return super().ask(question, on_step)

    monkeypatch.setattr(answer_desk, "AnswerProcess", GoingOn)
    monkeypatch.setattr(answer_agenda, "QUIET", 0.1)
    monkeypatch.setattr(answer_agenda, "REST", 0.5)
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

    def asked(depth: Depth) -> Reply:
        return answering.reply(Question("sheet", job, depth=depth), lambda _what, _share: None)

    quick, whole = asked(Depth.QUICK), asked(Depth.WHOLE)
    assert quick.content is not None
    assert whole.content is not None
    answers = [unpacked(reply.content) for reply in (quick, whole)]
    roles = [[t.role for t in answer.terminals] for answer in answers]
    assert roles[0] == roles[1]
    first, second = (answer.faults[0] for answer in answers)
    assert first.fault == second.fault == "none"
    assert first.probability == pytest.approx(second.probability, abs=0.1)


def test_a_quick_answer_that_was_left_over_is_followed_by_the_whole_search(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Dying, "deaths", 0)
    monkeypatch.setattr(answer_desk, "AnswerProcess", Dying)
    sheet = JobBook(store).take_in(read_job(EXAMPLES / "half-a-sheet.toml"))[1]
    heard = Heard()
    first = AnswerDesk(store, heard)
    first.start()
    first.ask(sheet)
    heard.wait()
    first.stop()  # before the whole search's turn
    monkeypatch.setattr(answer_agenda, "QUIET", 0.05)
    monkeypatch.setattr(answer_agenda, "REST", 0.05)
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


class Glancing(Dying):
    """In the place of the process: it glances, and keeps what it was asked."""

    deaths = 0
    asked: ClassVar[list[Question]] = []

    def ask(self, question: Question, _on_step: Callable[[Step], None]) -> Reply:
        self.asked.append(question)
        if question.depth is Depth.GLANCE:
            glance = glance_in_words(after("half-a-sheet"))
            return Reply(question.sheet, packed(glance), 0.05, Depth.GLANCE)
        said = packed(answer_of(after("half-a-sheet")))
        return Reply(question.sheet, said, 0.25, question.depth, handed=b"what was found")


def test_what_is_new_is_glanced_at_first_and_then_gone_into(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(answer_desk, "AnswerProcess", Glancing)
    Glancing.asked.clear()
    book = JobBook(store)
    sheet = book.take_in(read_job(EXAMPLES / "half-a-sheet.toml"))[1]
    heard = Heard()
    desk = AnswerDesk(store, heard)
    desk.ask(sheet)
    glance = desk._agenda.take_news()
    assert glance == sheet
    desk._answer(sheet, Depth.GLANCE, 0)
    first = desk.current(sheet)
    assert first is not None
    assert first.is_glance
    assert (first.answer.next, first.answer.estimates) == ((), ())
    assert desk.is_awaited(sheet)
    desk._agenda.glanced_at(sheet)
    assert desk.is_awaited(sheet)  # a closer look is on its way
    assert desk._agenda.take_closer() == (sheet, Depth.QUICK)
    desk._answer(sheet, Depth.QUICK, SEARCHING)
    second = desk.current(sheet)
    assert second is not None
    assert not second.is_glance
    assert second.answer.next
    assert heard.kinds == ["answer", "answer"]

    # After another reading a glance goes on from what was found.
    _, _, record = book.sheet(sheet)
    book.enter(record.rounds[0].key, ("volts", "1"), "5.01 V")
    desk._answer(sheet, Depth.GLANCE, 0)
    third = desk.current(sheet)
    assert third is not None
    assert third.is_glance
    assert [q.handed for q in Glancing.asked] == [None, None, b"what was found"]


def test_two_who_have_news_at_once_do_not_wait_for_each_other(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first glance ends only when the second sheet has had its own."""
    both = threading.Event()
    held: list[str] = []

    class Slow(Glancing):
        def ask(self, question: Question, on_step: Callable[[Step], None]) -> Reply:
            reply = super().ask(question, on_step)
            if question.depth is Depth.GLANCE and not held:
                held.append(question.sheet)
                assert both.wait(PATIENCE)
            return reply

    monkeypatch.setattr(answer_desk, "AnswerProcess", Slow)
    book, heard = JobBook(store), Heard()
    sheets = [
        book.take_in(read_job(EXAMPLES / f"{name}.toml"))[1]
        for name in ("half-a-sheet", "healthy-air-mass")
    ]
    desk = AnswerDesk(store, heard)
    desk.start()
    try:
        for sheet in sheets:
            desk.ask(sheet)
        heard.wait()
        (other,) = {sheet for _, sheet in heard.about}
        assert held != [other]
        assert desk.current(other) is not None
    finally:
        both.set()
        desk.stop()


def test_a_glance_that_fails_leaves_it_to_the_closer_look(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Blinking(Glancing):
        def ask(self, question: Question, on_step: Callable[[Step], None]) -> Reply:
            if question.depth is Depth.GLANCE:
                raise EOFError
            return super().ask(question, on_step)

    monkeypatch.setattr(answer_desk, "AnswerProcess", Blinking)
    sheet = JobBook(store).take_in(read_job(EXAMPLES / "half-a-sheet.toml"))[1]
    heard = Heard()
    desk = AnswerDesk(store, heard)
    desk.start()
    try:
        desk.ask(sheet)
        heard.wait()
        assert heard.kinds == ["answer"]
        assert sheet not in desk.trouble
        found = desk.current(sheet)
        assert found is not None
        assert not found.is_glance
    finally:
        desk.stop()


def test_processes_hand_over_what_they_found() -> None:
    job = read_job(EXAMPLES / "healthy-air-mass.toml")
    last = job.rounds[-1]
    fewer = replace(last, volts=dict(list(last.volts.items())[:-1]))
    shorter = replace(job, rounds=(*job.rounds[:-1], fewer))

    def asked(who: Answering, question: Question) -> tuple[Answer | None, bytes | None]:
        reply = who.reply(question, lambda _what, _share: None)
        assert reply.error is None
        return None if reply.content is None else unpacked(reply.content), reply.handed

    before, handed = asked(Answering(), Question("sheet", shorter, depth=Depth.QUICK))
    glancing = Answering()
    blind, _ = asked(glancing, Question("sheet", job, depth=Depth.GLANCE))
    assert blind is None  # it was told nothing yet
    seen, _ = asked(glancing, Question("sheet", job, depth=Depth.GLANCE, handed=handed))
    closer, _ = asked(Answering(), Question("sheet", job, depth=Depth.WHOLE))
    assert before is not None
    assert seen is not None
    assert closer is not None
    assert [t.role for t in seen.terminals] == [t.role for t in closer.terminals]
    assert seen.faults[0].fault == closer.faults[0].fault
    assert seen.estimates == before.estimates
    assert seen.next == not_taken(before.next, job)
    assert not seen.settled  # that takes a closer look
