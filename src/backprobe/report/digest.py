"""The content hash: one number that two printouts share only if they say the same."""

from __future__ import annotations

import hashlib
import json
from dataclasses import fields, is_dataclass
from typing import Any, Final

from backprobe.report.blocks import Report

NOT_CONTENT: Final = frozenset(("printed", "instant", "digest", "jpeg"))
EXPLAINED: Final = (
    "SHA-256 over everything this report says, the time of printing aside: two printouts with "
    "the same number say the same, and one changed digit changes it."
)


def as_plain(value: Any, leave_out: frozenset[str] = frozenset()) -> Any:
    """Dataclasses as objects with their class's name as ``kind``, for JSON."""
    if is_dataclass(value):
        members = {
            each.name: as_plain(getattr(value, each.name), leave_out)
            for each in fields(value)
            if each.name not in leave_out
        }
        return {"kind": type(value).__name__} | members
    if isinstance(value, tuple):
        return [as_plain(each, leave_out) for each in value]
    return value


def digest_of(report: Report) -> str:
    """SHA-256 over the canonical JSON of a report's content: sorted keys, no spaces, UTF-8."""
    text = json.dumps(
        as_plain(report, NOT_CONTENT), sort_keys=True, separators=(",", ":"), ensure_ascii=False
    )
    # A lone surrogate has no UTF-8 form of its own.
    return hashlib.sha256(text.encode("utf-8", "backslashreplace")).hexdigest()
