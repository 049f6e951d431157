"""The tables of a campaign as plain rows, as JSON and as the page docs/accuracy.md."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from backprobe.campaign.accuracy import Accuracy
from backprobe.core.inference.scoring import Share

INTRODUCTION = """\
# Accuracy

How often the program is right, on simulated vehicles whose truth is known. The vehicles share
nothing with the program's own family files or solver: their circuits are drawn from wider spreads,
solved by another, nonlinear solver, and measured by a meter with its own errors (src/backprobe/
campaign). Intervals are 95 % Wilson intervals.

"Where it shows": no healthy connector of the same kind reads the same within four standard
uncertainties of the meter, whatever its part values, temperatures, pressures and positions within
their usual spreads. Faults that reach the same readings in that way, at any severity, count as one.
What another kind of connector could read is left out of this, so a dead wire that could have
belonged to any of them counts as a miss.

"Where it shows among all kinds of connectors": beside these, what the program lists with one
percent or more is a rival, of whatever kind, with whatever fault and roles. Hundreds of such
connectors are drawn in the vehicle's own rounds, and the nearest are brought nearer, no part beyond
what they are drawn with. A rival counts only where the simulator proves in this way that it could
read the same: all readings together within four standard uncertainties, values that the control
unit reports included. A healthy one takes the vehicle out of the count, a hit as well as a miss; a
fault, or the roles of its wires, that one explains count as right (roles also where the vehicle is
healthy). Only what the program itself proposes is asked for, and what is not found may still exist:
what is proved is a lower bound of what reads alike. It isn't quite even either, since a miss
proposes more than a hit does; the two figures belong together. "Connectors that read alike aside"
counts the same way. A proof takes longer than an answer: the command may limit both to the first
vehicles (--all-kinds), which are as mixed as the rest.

The page is written by the command below; it isn't edited by hand.
"""


@dataclass(frozen=True, slots=True)
class Table:
    """A table of texts: heading, column names, rows."""

    heading: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def percent(share: Share) -> str:
    """A share with its interval: "97.1 % (95.0 to 98.4)"."""
    if not share.total:
        return "-"
    return f"{100 * share.share:.1f} % ({100 * share.low:.1f} to {100 * share.high:.1f})"


def counted(share: Share) -> str:
    """A share as a count: "97 of 100"."""
    return f"{share.count} of {share.total}"


def tables(found: Accuracy, n_confusion: int = 15) -> tuple[Table, ...]:
    """All tables of a campaign."""
    return (
        Table(
            "In short",
            ("measure", "cases", "share"),
            tuple((row.name, counted(row.share), percent(row.share)) for row in found.rows),
        ),
        Table(
            "Calibration",
            ("claims", "number", "calibration error", "Brier score"),
            tuple(
                (what, str(number), f"{error:.4f}", f"{brier:.4f}")
                for what, error, brier, number in found.calibration
            ),
        ),
        Table(
            "Claims and how many came true",
            ("stated from", "mean stated", "cases", "true"),
            tuple(
                (f"{low:.1f}", f"{mean:.3f}", counted(share), percent(share))
                for low, mean, share in found.reliability
            ),
        ),
        Table(
            "Truth within the 95 % interval",
            ("estimate", "cases", "share"),
            tuple((name, counted(share), percent(share)) for name, share in found.coverage),
        ),
        Table(
            "By circuit",
            ("circuit", "roles right, healthy", "true fault first, where it shows"),
            tuple(
                (circuit, _both(healthy), _both(faulty))
                for circuit, healthy, faulty in found.by_circuit
            ),
        ),
        Table(
            "True fault first by kind, where it shows",
            ("kind", "cases", "share"),
            tuple((kind, counted(share), percent(share)) for kind, share in found.by_kind),
        ),
        Table(
            "What was said first in place of the true fault",
            ("true", "said", "times"),
            tuple((true, said, str(n)) for true, said, n in found.confusions[:n_confusion]),
        ),
        *_followed_table(found),
    )


def _followed_table(found: Accuracy) -> tuple[Table, ...]:
    means = found.followed
    if means is None:
        return ()
    return (
        Table(
            f"Following its own next readings, {means.vehicles} connectors",
            ("measure", "followed", "full sheet"),
            (
                ("readings, mean", f"{means.readings:.1f}", f"{means.full_sheet:.1f}"),
                ("minutes as the program reckons, mean", f"{means.minutes:.1f}", "-"),
                ("settled", percent(means.settled), "-"),
                ("every role right", percent(means.roles_right), percent(means.roles_right_full)),
                (
                    "true fault first, where the full sheet shows it",
                    percent(means.fault_first),
                    percent(means.fault_first_full),
                ),
            ),
        ),
    )


def _both(share: Share) -> str:
    return f"{counted(share)}, {percent(share)}" if share.total else "-"


def markdown(all_tables: Sequence[Table], command: str) -> str:
    """The page."""
    parts = [INTRODUCTION, f"    {command}\n"]
    for table in all_tables:
        lines = [f"## {table.heading}\n", _line(table.columns), _line(["---"] * len(table.columns))]
        lines += [_line(row) for row in table.rows]
        parts.append("\n".join(lines) + "\n")
    return "\n".join(parts)


def _line(cells: Sequence[str]) -> str:
    return "| " + " | ".join(cells) + " |"


def to_json(found: Accuracy) -> dict[str, Any]:
    """The same as one JSON object."""
    return {
        "measures": {row.name: _share(row.share) for row in found.rows},
        "by_circuit": {
            circuit: {"roles_healthy": _share(healthy), "fault_first": _share(faulty)}
            for circuit, healthy, faulty in found.by_circuit
        },
        "fault_first_by_kind": {kind: _share(share) for kind, share in found.by_kind},
        "calibration": {
            what: {"error": error, "brier": brier, "claims": number}
            for what, error, brier, number in found.calibration
        },
        "coverage": {name: _share(share) for name, share in found.coverage},
        "confusions": [
            {"true": true, "said": said, "count": number} for true, said, number in found.confusions
        ],
        "followed": _followed_json(found),
    }


def _followed_json(found: Accuracy) -> dict[str, Any] | None:
    means = found.followed
    if means is None:
        return None
    return {
        "vehicles": means.vehicles,
        "readings": means.readings,
        "full_sheet": means.full_sheet,
        "minutes": means.minutes,
        "settled": _share(means.settled),
        "roles_right": _share(means.roles_right),
        "fault_first": _share(means.fault_first),
    }


def _share(share: Share) -> dict[str, float | int | None]:
    known = bool(share.total)
    return {
        "count": share.count,
        "total": share.total,
        "share": share.share if known else None,
        "low": share.low,
        "high": share.high,
    }
