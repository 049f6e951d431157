"""The task that asks the store for news."""

import asyncio
import contextlib

import pytest

from backprobe.errors import StoreError
from backprobe.store.columns import now
from backprobe.store.engine import Store
from backprobe.store.events import job_row, log
from backprobe.store.feed import news_after
from backprobe.store.jobs import new_job
from backprobe.store.record import Event, JobHead
from backprobe.web import live
from backprobe.web.live import Followed, Listener, Live
from tests.web.running import in_a_loop

JOB, OTHER = Followed("a", 1), Followed("b", 2)


class Counted:
    """Stands in for the store's answer."""

    def __init__(self) -> None:
        self.events: list[tuple[int, Event]] = []
        self.n_asked = 0
        self.is_away = False

    def change(self, job: int) -> None:
        """Let a job change."""
        self.events.append((job, Event(len(self.events) + 1, "noted", {}, now(), "bench")))

    def __call__(
        self, _store: Store, number: int | None
    ) -> tuple[int, tuple[tuple[int, Event], ...]]:
        self.n_asked += 1
        if self.is_away:
            raise StoreError("Away.")
        newest = len(self.events)
        return newest, () if number is None else tuple(self.events[number:])


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> Counted:
    found = Counted()
    monkeypatch.setattr(live, "news_after", found)
    return found


async def ended(task: asyncio.Task[None]) -> None:
    task.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await task


def test_nobody_listens_nothing_is_asked(store: Store, counted: Counted) -> None:
    async def run() -> None:
        hub = Live(store, ask_every=0.001)
        task = asyncio.create_task(hub.run())
        await asyncio.sleep(0.05)
        assert counted.n_asked == 0
        with hub.listening(JOB):
            await asyncio.sleep(0.05)
        asked = counted.n_asked
        assert asked > 2
        await asyncio.sleep(0.05)
        assert counted.n_asked <= asked + 1
        await ended(task)

    in_a_loop(run())


def test_only_pages_of_the_changed_job_are_told(store: Store, counted: Counted) -> None:
    async def run() -> None:
        hub = Live(store, ask_every=0.001)
        task = asyncio.create_task(hub.run())
        with hub.listening(JOB) as mine, hub.listening(OTHER) as other:
            await asyncio.sleep(0.05)
            mine.take()
            other.take()
            counted.change(1)
            await asyncio.wait_for(mine.changed.wait(), 5)
            await asyncio.sleep(0.05)
            assert not other.changed.is_set()
        await ended(task)

    in_a_loop(run())


def test_a_change_is_read_once_for_all_who_follow_the_job(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    with store.write() as session:
        key = new_job(session, JobHead("Hesitates"))
        number = job_row(session, key).id
    asked: list[int] = []

    def counting(at: Store, after: int | None) -> tuple[int, tuple[tuple[int, Event], ...]]:
        newest, found = news_after(at, after)
        asked.extend([newest] * bool(found))
        return newest, found

    monkeypatch.setattr(live, "news_after", counting)

    async def run() -> None:
        hub = Live(store, ask_every=0.001)
        task = asyncio.create_task(hub.run())
        with contextlib.ExitStack() as pages:
            all_ = [pages.enter_context(hub.listening(Followed(key, number))) for _ in range(20)]
            await asyncio.sleep(0.05)
            for page in all_:
                page.take()
                assert page.take_changes() is None  # new here: it asks the store itself
            with store.write() as session:
                log(session, number, "noted", "bench", number=7)
            for page in all_:
                await asyncio.wait_for(page.changed.wait(), 5)
                found = page.take_changes()
                assert found is not None
                (event,) = found
                assert (event.kind, dict(event.details)) == ("noted", {"number": 7})
        await ended(task)

    in_a_loop(run())
    assert len(asked) == 1


def test_numbers_that_went_back_have_every_page_ask_the_store(
    store: Store, counted: Counted
) -> None:
    """As where a backup was put in the place of the store while pages stood open."""

    async def run() -> None:
        hub = Live(store, ask_every=0.001)
        task = asyncio.create_task(hub.run())
        for _ in range(3):
            counted.change(2)
        with hub.listening(JOB) as mine:
            await asyncio.sleep(0.05)
            mine.take()
            assert mine.take_changes() is None
            del counted.events[1:]
            await asyncio.wait_for(mine.changed.wait(), 5)
            assert mine.take_changes() is None
        await ended(task)

    in_a_loop(run())


def test_a_page_that_is_slow_asks_the_store_itself() -> None:
    page = Listener(JOB)
    page.take_changes()
    event = Event(1, "noted", {}, now(), "bench")
    page.hand((event,) * live.MOST_CHANGES)
    page.hand((event,))
    assert page.take_changes() is None
    page.hand((event,))
    assert page.take_changes() == [event]


def test_a_passing_message_has_the_store_not_asked(store: Store, counted: Counted) -> None:
    async def run() -> None:
        hub = Live(store, ask_every=3600)
        task = asyncio.create_task(hub.run())
        with hub.listening(JOB) as mine:
            await asyncio.sleep(0.05)
            asked = counted.n_asked
            for _ in range(20):
                hub.publish("a", "answer step")
            await asyncio.wait_for(mine.changed.wait(), 5)
            await asyncio.sleep(0.05)
            assert counted.n_asked == asked
        await ended(task)

    in_a_loop(run())


def test_a_store_in_trouble_does_not_end_it(store: Store, counted: Counted) -> None:
    async def run() -> None:
        hub = Live(store, ask_every=0.001)
        counted.is_away = True
        task = asyncio.create_task(hub.run())
        with hub.listening(JOB) as mine:
            await asyncio.sleep(0.05)
            assert counted.n_asked > 2
            assert not mine.changed.is_set()
            counted.is_away = False
            await asyncio.wait_for(mine.changed.wait(), 5)
        await ended(task)

    in_a_loop(run())


def test_a_page_that_is_slow_keeps_the_latest_messages_only(store: Store) -> None:
    async def run() -> None:
        hub = Live(store, ask_every=3600)
        task = asyncio.create_task(hub.run())
        await asyncio.sleep(0)
        with hub.listening(JOB) as mine:
            for number in range(250):
                hub.publish("a", "answer", {"number": number})
            await asyncio.wait_for(mine.changed.wait(), 5)
            await asyncio.sleep(0.01)
            numbers = [message.details["number"] for message in mine.take()]
            assert numbers == list(range(150, 250))
            assert mine.take() == []
        await ended(task)

    in_a_loop(run())


def test_telling_before_the_start_and_after_the_end_is_no_error(store: Store) -> None:
    hub = Live(store)
    hub.publish("a", "answer")
    hub.wake()

    async def run() -> None:
        task = asyncio.create_task(hub.run())
        await asyncio.sleep(0)
        await ended(task)

    in_a_loop(run())
    hub.publish("a", "answer")
    hub.wake()


def test_it_can_be_started_again(store: Store, counted: Counted) -> None:
    """As when an application is served twice in one process."""
    hub = Live(store, ask_every=0.001)

    async def run() -> None:
        task = asyncio.create_task(hub.run())
        await asyncio.sleep(0)
        with hub.listening(JOB) as mine:
            await asyncio.wait_for(mine.changed.wait(), 5)
        hub.close()
        await ended(task)

    for _ in range(2):
        counted.change(1)
        in_a_loop(run())
        assert hub.is_closing
