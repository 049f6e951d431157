"""The air check for programs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from backprobe.services.air_check import AirAnswer
from backprobe.services.air_quick_checks import QuickCheck


def air_json(answer: AirAnswer | None, standing: Sequence[QuickCheck] = ()) -> dict[str, Any]:
    """Give an answer, and checks of the standing engine, as one object; not read is null."""
    told: dict[str, Any] = {"format": 1}
    if answer is not None:
        told["verdict"] = answer.verdict
        told["text"] = answer.headline
        told["possible"] = [asdict(each) for each in answer.possible]
        told["points"] = [
            {name: _known(value) for name, value in asdict(row).items()} | {"side": row.side}
            for row in answer.rows
        ]
        told["reasons"] = list(answer.reasons)
        told["limits"] = list(answer.limits)
        told["next"] = list(answer.next)
        told["cautions"] = list(answer.cautions)
        told["remarks"] = list(answer.remarks)
    told["checks"] = [asdict(c) for c in (*(answer.checks if answer else ()), *standing)]
    return told


def _known(value: str | float) -> str | float | None:
    return None if isinstance(value, float) and math.isnan(value) else value
