"""What every change of a job needs: the book, who makes it, and who has to hear of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends

from backprobe.services.answer_desk import AnswerDesk
from backprobe.services.job_book import JobBook
from backprobe.web.answering import AnswersAtHand, BookAtHand
from backprobe.web.at_hand import LiveAtHand
from backprobe.web.live import Live
from backprobe.web.visitor import AnyVisitor


@dataclass(frozen=True, slots=True)
class Change:
    """A change that a request makes."""

    book: JobBook
    answers: AnswerDesk
    live: Live
    device: str

    def told(self) -> None:
        """Have all who look at the job told."""
        self.live.wake()

    def told_of(self, sheet: str) -> None:
        """Have a sheet worked out anew, and all who look at it told."""
        self.answers.ask(sheet)
        self.live.wake()

    def told_of_round(self, round_key: str) -> None:
        """Have the sheet of a round worked out anew, and all who look at it told."""
        self.told_of(self.book.sheet_of_round(round_key))


async def _change(
    book: BookAtHand, answers: AnswersAtHand, live: LiveAtHand, visitor: AnyVisitor
) -> Change:
    return Change(book, answers, live, visitor.name)


ChangeAtHand = Annotated[Change, Depends(_change)]
