"""What is said of a kept log: how it was sampled, what was made up, and what air and fuel say."""

from __future__ import annotations

from backprobe.errors import BackprobeError
from backprobe.job import Engine
from backprobe.services.air_check import check_air
from backprobe.services.air_input import case_of_log, require_engine
from backprobe.services.channel_account import ChannelAccount
from backprobe.services.findings.words import seconds, significant
from backprobe.services.kept_log import log_of
from backprobe.services.kept_samples import KeptSamples
from backprobe.services.log_review import LogReview, review_log
from backprobe.services.measured_rows import MeasuredRow
from backprobe.services.trim_log import table_from_log
from backprobe.services.trim_review import review_trims
from backprobe.services.words import unit_words
from backprobe.store.record import JobRecord
from backprobe.store.recording import LOG, Recording


def log_account(found: Recording, kept: KeptSamples, job: JobRecord) -> tuple[ChannelAccount, ...]:
    """Everything that is said of a log; nothing of a capture."""
    if found.told.kind != LOG:
        return ()
    log = log_of(found, kept)
    review = review_log(log)
    engine = job.head.vehicle.engine
    parts = [_whole(review)]
    for title, told in (("Air", _air(review, engine)), ("Fuel trims", _trims(review, engine))):
        if told:
            parts.append(ChannelAccount(title, "", told, (), ()))
    return tuple(parts)


def _whole(review: LogReview) -> ChannelAccount:
    held = [f"{each.state}: {each.start:.0f} to {each.end:.0f} s" for each in review.states]
    told = (f"The engine held these states: {'; '.join(held)}.",) if held else ()
    doubts = tuple(
        f"{each.series}, {each.sureness}: {each.what} {each.doubt}" for each in review.suspicions
    )
    rows = []
    for one in review.series:
        unit = unit_words(one.series.unit)
        gaps = f", {len(one.sampling.gaps)} gaps" if one.sampling.gaps else ""
        name, quantity = one.series.name, one.series.quantity
        name += f" ({quantity})" if quantity not in ("", name) else ""
        low, high = significant(one.low, 4), significant(one.high, 4)
        span = f"{low if low == high else f'{low} to {high}'} {unit}".strip()
        every = f"every {seconds(one.sampling.interval)}{gaps}"
        rows.append(MeasuredRow(one.series.name, name, span, every, one.mean, 0.0))
    return ChannelAccount("Values", "", told, doubts, tuple(rows))


def _air(review: LogReview, engine: Engine) -> tuple[str, ...]:
    """Whether the air that the sensor reports is what the engine can take."""
    quantities = {one.series.quantity for one in review.series}
    if not {"air mass flow", "engine speed"} <= quantities:
        return ()
    try:
        answer = check_air(case_of_log(review.log, require_engine(engine)))
    except BackprobeError as error:
        return (f"{error.what} {error.remedy}",)
    return (answer.headline, *answer.reasons[:3])


def _trims(review: LogReview, engine: Engine) -> tuple[str, ...]:
    """What the trims over speed and load point to."""
    if not any(one.series.quantity.endswith("fuel trim bank 1") for one in review.series):
        return ()
    try:
        found = review_trims(table_from_log(review.log.series, engine.displacement_l))
    except BackprobeError as error:
        return (f"{error.what} {error.remedy}",)
    return (found.verdict,)
