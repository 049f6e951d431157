"""The one error tree: what is wrong, where it is, and how to mend it."""


class BackprobeError(Exception):
    """An error that its reader can act on, told in one paragraph.

    Parameters
    ----------
    what : str
        What is wrong, as a whole sentence.
    where : str
        The place: a file and line, a terminal, a round.
    remedy : str
        What to do about it, as a whole sentence.
    """

    def __init__(self, what: str, where: str = "", remedy: str = "") -> None:
        # All three go to Exception so that a copy from another process keeps them (pickling).
        super().__init__(what, where, remedy)
        self.what = what
        self.where = where
        self.remedy = remedy

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        text = " ".join(part for part in (self.what, self.remedy) if part)
        # One paragraph, whatever was quoted from a file.
        return " ".join(f"{place}{text}".split())


class JobFileError(BackprobeError):
    """A job file that can't be used as it is."""


class FamilyFileError(BackprobeError):
    """A circuit family file that can't be used as it is."""


class CurveFileError(BackprobeError):
    """A file of a sensor's curve that can't be used as it is."""


class RecordingError(BackprobeError):
    """A capture or a log that can't be used as it is."""


class MessageError(BackprobeError):
    """Bytes of a diagnostic message that can't be understood."""


class QuantityError(BackprobeError):
    """A reading, value or accuracy statement that can't be understood."""


# "Error" would say less than the name does: these two tell what happened (same for the next).
class ValueOutOfRange(BackprobeError):  # noqa: N818
    """A value outside of what is physically or practically possible."""


class NoUniqueAnswer(BackprobeError):  # noqa: N818 - as above
    """A circuit whose equations leave a node undetermined.

    Parameters
    ----------
    what, where, remedy : str
        As for every error of this tree.
    node : str
        The node that floats.
    """

    def __init__(
        self, what: str = "", where: str = "", remedy: str = "", *, node: str = ""
    ) -> None:
        super().__init__(what or f"The voltage of node {node} isn't determined.", where, remedy)
        self.node = node

    def __reduce__(self) -> tuple[object, ...]:
        return (_rebuild_no_unique_answer, (self.what, self.where, self.remedy, self.node))


def _rebuild_no_unique_answer(what: str, where: str, remedy: str, node: str) -> NoUniqueAnswer:
    return NoUniqueAnswer(what, where, remedy, node=node)


class CacheError(BackprobeError):
    """The cache directory can't be read or written."""


class UsageError(BackprobeError):
    """A command was asked for something that it can't do."""


class StoreError(BackprobeError):
    """The data base or the files beside it can't be used."""


class ReportError(BackprobeError):
    """A report that can't be set as a document."""


class NotFoundError(BackprobeError):
    """Something was asked for that isn't there."""


class ConflictError(BackprobeError):
    """Something can't be done in the state that the job is in."""
