import re
from datetime import date

from hypothesis import given
from hypothesis import strategies as st

from backprobe.job import Connector, Job, Terminal, parse_job
from backprobe.job.blank_job import write_blank_job
from backprobe.vocabulary import CONNECTOR_KINDS, ROLES
from tests.job.job_strategies import LABEL, PIN


@given(
    LABEL,
    LABEL,
    st.sampled_from(CONNECTOR_KINDS),
    st.lists(PIN, min_size=2, max_size=8, unique=True),
    st.none() | st.dates(),
)
def test_a_blank_job_reads_back_with_what_was_asked_for_and_three_rounds(
    title: str, name: str, kind: str, pins: list[str], opened: date | None
) -> None:
    connector = Connector(name, kind, tuple(Terminal(pin, "YE/BK") for pin in pins))
    job = parse_job(write_blank_job(Job(title, connector, opened=opened)), "new.toml")
    assert (job.title, job.connector, job.opened) == (title, connector, opened)
    states = [(each.name, each.plugged, each.key, each.rpm) for each in job.rounds]
    assert states == [("A", False, "on", 0), ("B", True, "on", 0), ("C", True, "run", 750)]


def plain_blank() -> str:
    connector = Connector("plug", terminals=(Terminal("1"), Terminal("2")))
    return write_blank_job(Job("Hesitates", connector))


def test_the_examples_in_the_remarks_are_right_where_they_stand() -> None:
    """Someone who takes the remark's value over gets a file that can be used."""
    lines = []
    for line in plain_blank().splitlines():
        key, _, remark = line.partition("= {}")
        example = remark[remark.find("{") :] if "{" in remark else "{}"
        is_key = re.match(r"# (battery_volts|black_lead_check|ambient_celsius) = ", line)
        if "= {}" in line:
            lines.append(f"{key}= {example}")
        else:
            lines.append(line[2:] if is_key else line)
    job = parse_job("\n".join(lines), "new.toml")
    first, second, third = job.rounds
    assert first.volts["2"].value == 0.012
    assert first.sensor_ohms["1", "2"].value == 2210.0
    assert first.volts_loaded["1"].value == 1.56
    assert first.battery_volts is not None
    assert second.scan["coolant temperature"].value == 81.0
    assert third.hertz["1"].value == 85.0


def test_the_cautions_stand_where_they_are_needed() -> None:
    blank = plain_blank()
    before_a, _, rest = blank.partition("round A: unplugged")
    a, _, rest = rest.partition("round B: plugged in")
    b, _, c = rest.partition("round C: plugged in, idling")
    assert "Never probe airbag circuits" in before_a
    assert "maker's instructions" in before_a
    assert "Key OFF first, then unplug" in a
    assert "never measure resistance on a live circuit" in a
    assert "Not on oxygen sensors, airbag" in a
    assert "Key OFF before plugging in" in b
    assert "belts, fans" in c
    assert all(role in blank for role in ROLES)
