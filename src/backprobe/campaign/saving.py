"""Write simulated vehicles as files: the job as anyone would type it, the truth beside it."""

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from backprobe.campaign.separability import Separability
from backprobe.campaign.vehicle import Truth, Vehicle
from backprobe.job.job_file import write_job


def save_vehicle(vehicle: Vehicle, folder: Path, stem: str) -> tuple[Path, Path]:
    """Write STEM.toml and STEM.truth.json into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    job_path, truth_path = folder / f"{stem}.toml", folder / f"{stem}.truth.json"
    job_path.write_text(write_job(vehicle.job), encoding="utf-8")
    text = json.dumps(truth_to_json(vehicle.truth), indent=1)
    truth_path.write_text(text + "\n", encoding="utf-8")
    return job_path, truth_path


def save_answer(answer: Mapping[str, Any], shown: Separability, folder: Path, stem: str) -> Path:
    """Write STEM.answer.json: what was said of it, and what its readings can tell apart."""
    path = folder / f"{stem}.answer.json"
    content = {
        "answer": answer,
        "difference": shown.difference if math.isfinite(shown.difference) else None,
        "rivals": sorted(shown.rivals),
    }
    path.write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
    return path


def truth_to_json(truth: Truth) -> dict[str, Any]:
    """Give the truth as plain JSON values."""
    return {
        "circuit": truth.circuit,
        "roles": dict(truth.roles),
        "interchangeable": [sorted(group) for group in truth.interchangeable],
        "fault": truth.fault,
        "fault_pins": list(truth.fault_pins),
        "severity": truth.severity,
        "bad_rounds": dict(truth.bad_rounds),
        "weak_battery": truth.weak_battery,
        "slips": list(truth.slips),
        "estimates": [
            {"name": e.name, "round": e.round, "terminal": e.terminal, "value": e.value}
            for e in truth.estimates
            if math.isfinite(e.value)
        ],
    }
