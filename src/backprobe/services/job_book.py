"""The use cases of a job: begun, read into, corrected, repeated after the repair, closed.

Pages, interface and commands all come through here, so that every way in obeys one set of rules.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from sqlalchemy import select

from backprobe.errors import ConflictError, NotFoundError, ValueOutOfRange
from backprobe.job import Connector, Job, Round, write_job
from backprobe.services.checking import (
    checked_connector,
    checked_head,
    checked_job,
    checked_round,
)
from backprobe.services.entry_book import EntryBook, round_of
from backprobe.services.outcome_terminals import checked_terminals
from backprobe.store import entries, jobs, sheets
from backprobe.store.cells import QUANTITIES, cells_of
from backprobe.store.columns import now
from backprobe.store.events import job_row, round_row
from backprobe.store.loading import load_job, load_sheet
from backprobe.store.record import (
    REPAIRED,
    JobHead,
    JobLine,
    JobRecord,
    Outcome,
    RoundRecord,
    SheetRecord,
    head_of,
)
from backprobe.store.schema import JobRow
from backprobe.vocabulary import NO_FAULT


class JobBook(EntryBook):
    """All jobs of a store, with their readings.

    Parameters
    ----------
    store : Store
        Where they are kept.
    """

    # ------------------------------------------------------------ jobs
    def begin(self, head: JobHead, *, device: str = "", key: str = "") -> str:
        """Begin a job; returns its key."""
        right = checked_head(head)
        with self.store.write() as session:
            return jobs.new_job(session, right, device=device, key=key)

    def change(self, key: str, head: JobHead, *, device: str = "") -> None:
        """Write vehicle, complaint, codes or meter anew."""
        right = checked_head(head)
        with self.store.write() as session:
            before = load_job(session, key).head
            jobs.change_job(session, key, right, before, device=device)

    def job(self, key: str, *, with_events: bool = False) -> JobRecord:
        """Everything kept of a job."""
        with self.store.read() as session:
            return load_job(session, key, with_events=with_events)

    def sheet(self, key: str) -> tuple[str, JobHead, SheetRecord]:
        """One sheet, with its job's key and head."""
        with self.store.read() as session:
            return load_sheet(session, key)

    def listed(
        self, text: str = "", *, is_open: bool | None = None, limit: int = 50, offset: int = 0
    ) -> tuple[list[JobLine], int]:
        """Jobs that match, the last changed first, and how many there are in all."""
        with self.store.read() as session:
            lines = jobs.list_jobs(session, text, is_open=is_open, limit=limit, offset=offset)
            return lines, jobs.count_jobs(session, text, is_open=is_open)

    def found(self, asked: str) -> str:
        """Key of the one job that is asked for, by its key or by words that find it.

        Raises
        ------
        NotFoundError, ConflictError
            None, or several jobs are meant.
        """
        with self.store.read() as session:
            if session.scalar(select(JobRow.key).where(JobRow.key == asked)) is not None:
                return asked
            lines = jobs.list_jobs(session, asked, limit=5)
        if len(lines) == 1:
            return lines[0].key
        if not lines:
            raise NotFoundError(
                f'No job has the key "{asked}" or holds these words.',
                remedy="Look at the list of jobs in the pages, or name other words.",
            )
        several = "; ".join(f"{line.key} {line.title}" for line in lines)
        raise ConflictError(
            f'Several jobs hold "{asked}".', remedy=f"Name one by its key: {several}."
        )

    def sheet_of_round(self, round_key: str) -> str:
        """Key of the sheet that a round belongs to."""
        with self.store.read() as session:
            return round_row(session, round_key)[1].key

    def take_in(self, job: Job, *, device: str = "", into: str = "") -> tuple[str, str]:
        """Take a job file's content in; returns the keys of the job and of its sheet.

        Parameters
        ----------
        into : str
            Key of a job that gets the connector as one more sheet; a new job where left out.
        """
        right = checked_job(job)
        with self.store.write() as session:
            job_key = into or jobs.new_job(session, head_of(right), device=device)
            sheet_key = sheets.add_sheet(session, job_key, right.connector, device=device)
            for each in right.rounds:
                bare = replace(each, void="")
                round_key = sheets.add_round(session, sheet_key, bare, device=device)
                at = entries.load_round(session, round_key)
                for cell, indication in cells_of(each):
                    entries.append(session, at, cell, indication, device=device)
                if each.void:
                    sheets.change_round(session, round_key, each, device=device)
            return job_key, sheet_key

    def job_file(self, sheet_key: str) -> tuple[Job, str]:
        """One sheet as a job, and as the text of its job file."""
        with self.store.read() as session:
            key, _, sheet = load_sheet(session, sheet_key)
            job = load_job(session, key).job_of(sheet)
        return job, write_job(job)

    def close(self, key: str, *, device: str = "") -> None:
        """Close a job."""
        with self.store.write() as session:
            jobs.close_job(session, key, device=device)

    def reopen(self, key: str, *, device: str = "") -> None:
        """Open a closed job again."""
        with self.store.write() as session:
            jobs.reopen_job(session, key, device=device)

    def conclude(
        self,
        key: str,
        *,
        fault: str,
        terminals: Iterable[str] = (),
        cause: str = "",
        repair: str = "",
        not_tested: str = "",
        proof: Iterable[str] = (),
        device: str = "",
    ) -> None:
        """Write down what was found, what was done, and what was seen that proves it.

        Terminals are named by their pins, or as "SHEET/PIN" where several connectors have it.
        """
        if not fault.strip():
            raise ValueOutOfRange(
                "The outcome says no fault.", remedy=f'Choose one, or "{NO_FAULT}" for none.'
            )
        with self.store.write() as session:
            jobs.require_open(job_row(session, key))
            outcome = Outcome(
                fault=fault.strip(),
                terminals=checked_terminals(load_job(session, key), terminals),
                cause=cause.strip(),
                repair=repair.strip(),
                not_tested=not_tested.strip(),
                proof=tuple(proof),
                at=now(),
                device=device,
            )
            jobs.add_outcome(session, key, outcome)

    # ------------------------------------------------------------ sheets
    def add_sheet(
        self, job_key: str, connector: Connector, *, device: str = "", key: str = ""
    ) -> str:
        """Begin the sheet of a connector; returns its key."""
        right = checked_connector(connector)
        with self.store.write() as session:
            return sheets.add_sheet(session, job_key, right, device=device, key=key)

    def change_connector(self, sheet_key: str, connector: Connector, *, device: str = "") -> None:
        """Write name, kind, pins, colours or diagram roles anew."""
        right = checked_connector(connector)
        with self.store.write() as session:
            sheets.change_connector(session, sheet_key, right, device=device)

    def repeat_after_repair(self, sheet_key: str, *, device: str = "") -> str:
        """Begin the same sheet again: same connector, same states, to be read after the repair.

        One that was begun already is given back instead.
        """
        with self.store.write() as session:
            job_key, _, found = load_sheet(session, sheet_key)
            if found.phase == REPAIRED:
                raise ConflictError(
                    "This sheet is itself a repetition after the repair.",
                    remedy="Repeat the sheet as found.",
                )
            for other in load_job(session, job_key).sheets:
                if other.repeats == sheet_key:
                    return other.key
            key = sheets.add_sheet(
                session,
                job_key,
                found.connector,
                device=device,
                phase=REPAIRED,
                repeats=sheet_key,
            )
            for each in found.rounds:
                if not each.round.void and each.entries:
                    sheets.add_round(
                        session, key, _state_of(each.round), device=device, repeats=each.key
                    )
            return key

    def add_round(self, sheet_key: str, each: Round, *, device: str = "", key: str = "") -> str:
        """Begin a round in a state of the vehicle; without a name it gets the next free one."""
        with self.store.write() as session:
            _, _, sheet = load_sheet(session, sheet_key)
            taken = [r.round.name for r in sheet.rounds]
            named = replace(each, name=each.name.strip() or sheets.next_name(taken))
            right = checked_round(sheet.connector, _state_of(named))
            return sheets.add_round(session, sheet_key, right, device=device, key=key)

    def change_round(self, round_key: str, each: Round, *, device: str = "") -> None:
        """Write a round's state or note anew; its readings stay as they are."""
        with self.store.write() as session:
            sheet, record = round_of(session, round_key)
            wanted = checked_round(sheet.connector, _with_readings_of(each, record))
            sheets.change_round(session, round_key, wanted, device=device)

    def void_round(self, round_key: str, reason: str, *, device: str = "") -> None:
        """Take a round out of the reasoning; it stays visible with the reason."""
        if not reason.strip():
            raise ValueOutOfRange(
                "A round needs a reason to be void.",
                remedy='Say why it doesn\'t count, such as "black lead was on paint".',
            )
        self._set_void(round_key, reason.strip(), device)

    def count_again(self, round_key: str, *, device: str = "") -> None:
        """Let a void round count again."""
        self._set_void(round_key, "", device)

    def _set_void(self, round_key: str, reason: str, device: str) -> None:
        with self.store.write() as session:
            sheet, record = round_of(session, round_key)
            wanted = checked_round(sheet.connector, replace(record.round, void=reason))
            sheets.change_round(session, round_key, wanted, device=device)

    def set_aside(
        self,
        sheet_key: str,
        *,
        quantity: str = "",
        place: str = "",
        state: str = "",
        reason: str = "",
        device: str = "",
    ) -> int:
        """Note that a proposed reading can't be had, so that others are proposed."""
        with self.store.write() as session:
            return sheets.set_aside(
                session,
                sheet_key,
                quantity=quantity,
                place=place,
                state=state,
                reason=reason,
                device=device,
            )

    def take_up_again(self, sheet_key: str, number: int, *, device: str = "") -> None:
        """Let a reading that was set aside be proposed again."""
        with self.store.write() as session:
            sheets.take_up_again(session, sheet_key, number, device=device)


def _state_of(each: Round) -> Round:
    """A round's state without its readings."""
    return Round(
        name=each.name,
        plugged=each.plugged,
        key=each.key,
        rpm=each.rpm,
        action=each.action,
        black_lead=each.black_lead,
        ambient_celsius=each.ambient_celsius,
        load_ohms=each.load_ohms,
        fitted=each.fitted,
        note=each.note,
    )


def _with_readings_of(state: Round, record: RoundRecord) -> Round:
    """A new state with the readings that the round has, and its reason for being void."""
    readings = {name: getattr(record.round, name) for name in (*QUANTITIES,)}
    return replace(state, **readings, void=record.round.void)
