"""What the pages of captures and logs show."""

from __future__ import annotations

from dataclasses import dataclass, field

from backprobe.services.channel_account import ChannelAccount
from backprobe.services.findings.looking import SIGNALS
from backprobe.services.findings.words import seconds
from backprobe.services.words import state_words
from backprobe.store.record import JobRecord
from backprobe.store.recording import LOG, NewRecording, Recording
from backprobe.web.typed_form import FormView

ALIGNMENTS = (
    ("start", "at their first samples"),
    ("steepest", "at their steepest rise"),
    ("alike", "where they are most alike"),
)
KINDS = (("capture", "a capture of an oscilloscope"), ("log", "a log of the control unit's values"))


@dataclass(frozen=True, slots=True)
class NewRecordingView:
    """The form that sends a file."""

    job_key: str
    title: str
    form: FormView = field(default_factory=FormView)


@dataclass(frozen=True, slots=True)
class IncomingView:
    """A file that was sent, as it would be read."""

    key: str
    job_key: str
    title: str
    name: str
    form: FormView
    rounds: tuple[tuple[str, str], ...]
    pins: tuple[str, ...]
    refused: str = ""
    summary: str = ""
    remarks: tuple[str, ...] = ()
    head: str = ""
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    mapping: str = ""
    channels: tuple[str, ...] = ()
    lacks: str = ""

    @property
    def is_asked(self) -> bool:
        """Whether it can't be read only because nothing is said yet of what it lacks."""
        is_said = self.form.value("volts") or self.form.value("interval")
        return bool(self.refused and self.lacks and not is_said)

    @property
    def kinds(self) -> tuple[tuple[str, str], ...]:
        """What a file can be."""
        return KINDS


@dataclass(frozen=True, slots=True)
class MarkLine:
    """A remark in the list."""

    number: int
    start: float
    end: float
    when: str
    text: str


@dataclass(frozen=True, slots=True)
class Overlaid:
    """Another recording that is laid over this one, and how."""

    key: str
    names: tuple[str, ...]  # of its channels
    align: str
    shift: float
    words: str


@dataclass(frozen=True, slots=True)
class RecordingView:
    """Everything on the page of a capture or log."""

    found: Recording
    job: JobRecord
    picture_svg: str
    channels: tuple[ChannelAccount, ...] | None  # None: to be asked for
    others: tuple[tuple[str, str], ...]  # that can be laid over it: keys and names
    has_mdf: bool
    form: FormView = field(default_factory=FormView)
    other: Overlaid | None = None

    @property
    def key(self) -> str:
        """Of the recording."""
        return self.found.key

    @property
    def told(self) -> NewRecording:
        """What is kept of it."""
        return self.found.told

    @property
    def is_open(self) -> bool:
        """Whether its job takes changes."""
        return self.job.closed_at is None

    @property
    def names(self) -> tuple[str, ...]:
        """All channels that are drawn."""
        own = (channel.name for channel in self.told.channels)
        return (*own, *(self.other.names if self.other else ()))

    @property
    def rounds(self) -> tuple[tuple[str, str], ...]:
        """Rounds that it can belong to."""
        return round_lines(self.job)

    @property
    def marks(self) -> tuple[MarkLine, ...]:
        """Remarks with their instants in words."""
        return mark_lines(self.found)

    @property
    def summary(self) -> str:
        """Length, samples and interval in one sentence."""
        return summary_of(self.found)

    @property
    def facts(self) -> tuple[tuple[str, str], ...]:
        """What is told of the file."""
        return facts_of(self.found)

    @property
    def error(self) -> str:
        """Error of the instrument, per cent of the highest value."""
        return f"{100 * self.told.error_share:g}"

    @property
    def mark_spans(self) -> str:
        """Marks for the script that draws them: first and last instant of each."""
        return " ".join(f"{mark.start}:{mark.end}" for mark in self.marks)

    @property
    def alignments(self) -> tuple[tuple[str, str], ...]:
        """Ways to lay two recordings over one another."""
        return ALIGNMENTS

    @property
    def signals(self) -> tuple[str, ...]:
        """What a channel can be said to be."""
        return SIGNALS

    @property
    def is_log(self) -> bool:
        """Whether it holds what a control unit reported."""
        return self.told.kind == LOG


def round_lines(job: JobRecord, sheet_key: str = "") -> tuple[tuple[str, str], ...]:
    """Rounds that something can belong to: keys, and connector, name and state in words."""
    several = len(job.sheets) > 1
    return tuple(
        (
            each.key,
            (f"{sheet.connector.name}, " if several else "")
            + f"{each.round.name}: "
            + state_words(
                plugged=each.round.plugged,
                key=each.round.key,
                rpm=each.round.rpm,
                action=each.round.action,
            ),
        )
        for sheet in job.sheets
        for each in sheet.rounds
        if not each.round.void and sheet_key in ("", sheet.key)
    )


def summary_of(found: Recording) -> str:
    """Length, samples and interval in one sentence."""
    told = found.told
    count = f"{told.n_sample:,}".replace(",", " ")
    return (
        f"{seconds(found.end - told.start)} in {count} samples, one every {seconds(told.interval)}."
    )


def mark_lines(found: Recording) -> tuple[MarkLine, ...]:
    """Remarks with their instants in words."""
    return tuple(
        MarkLine(
            each.id,
            each.start,
            each.end,
            f"{each.start:.5g} s"
            if each.end == each.start
            else f"{each.start:.5g} to {each.end:.5g} s",
            each.text,
        )
        for each in found.marks
    )


def facts_of(found: Recording) -> tuple[tuple[str, str], ...]:
    """What is told of the file."""
    told = found.told
    return (
        ("File", told.name),
        ("Size", f"{told.source_bytes / 1e6:.2f} MB"),
        ("SHA-256 of the file", told.source_sha256),
        ("Added", f"{found.added_at:%Y-%m-%d %H:%M} UTC by {found.device or 'a command'}"),
        *(
            [("Error of the instrument", f"± {100 * told.error_share:g} % of the highest value")]
            if told.kind != LOG
            else []
        ),
    )
