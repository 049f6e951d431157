from dataclasses import replace

import pytest

from backprobe.job import Indication, Job, Round, parse_job
from backprobe.job.remarks import contents_of, count_readings, remarks_on
from tests.job.good_file import GOOD

VOLTS = {"1": Indication(5.0)}


def job_with(*rounds: Round) -> Job:
    return replace(parse_job(GOOD, "job.toml"), rounds=rounds)


def sound(**changes: object) -> Round:
    plain = Round(
        "A",
        plugged=False,
        key="on",
        battery_volts=Indication(12.5),
        black_lead_check=Indication(12.5),
        volts={pin: Indication(5.0) for pin in ("1", "2", "C7")},
    )
    return replace(plain, **changes)  # type: ignore[arg-type]  # the tests name real fields


def test_everything_in_the_good_file_is_counted() -> None:
    contents = contents_of(parse_job(GOOD, "job.toml"))
    assert (contents.terminals, contents.rounds, contents.void_rounds) == (3, 3, 0)
    # A: battery, black lead, 3 volts, 2 ohms, 1 loaded; C: 1.
    # B: highest, lowest, two levels, duty, 2 scan.
    assert contents.readings == 8 + 7 + 1


def test_a_void_round_is_counted_but_not_its_readings() -> None:
    contents = contents_of(job_with(sound(), sound(name="B", void="slipped off")))
    assert (contents.rounds, contents.void_rounds) == (2, 1)
    assert contents.readings == count_readings(sound()) == 5


def test_a_sound_job_needs_no_remark() -> None:
    assert remarks_on(job_with(sound())) == ()


@pytest.mark.parametrize(
    ("rounds", "remark"),
    [
        (
            [sound(black_lead_check=None), sound(name="B", black_lead_check=None)],
            "Rounds A and B have no black_lead_check: a bad black-lead point can't be ruled out.",
        ),
        (
            [sound(battery_volts=None)],
            "Round A has no battery_volts: a weak battery can't be ruled out. Measure across the b",
        ),
        ([sound(key="run")], "Round A has the key run and no engine speed. Write the rpm at which"),
        (
            [sound(action="snap throttle")],
            "Round A has a snap of the throttle without a running engine",
        ),
        (
            [sound(key="off", scan={"engine speed": Indication(0.0)})],
            "Round A has values from the control unit with the key off;",
        ),
        ([sound(volts_loaded=VOLTS, load_ohms=10.0)], "Round A has a load of less than 100 ohm"),
        ([sound(volts=VOLTS)], "Pins 2 and C7 have no reading in any round."),
        ([], "There are no readings yet."),
        ([sound(void="slipped off")], "There are no readings yet."),
    ],
)
def test_what_is_missing_or_odd_is_remarked(rounds: list[Round], remark: str) -> None:
    assert any(told.startswith(remark) for told in remarks_on(job_with(*rounds)))


def test_a_void_round_is_not_remarked_on() -> None:
    void = sound(name="B", black_lead_check=None, void="no time")
    assert remarks_on(job_with(sound(), void)) == ()


@pytest.mark.parametrize(
    ("vin", "is_remarked"),
    # The digit of the first belongs to be X; a European number has no duty to be right.
    [("1M8GDM9A0KP042788", True), ("1M8GDM9AXKP042788", False), ("WXYZZZ12ZAB123456", False)],
)
def test_only_a_check_digit_that_must_be_right_is_remarked(vin: str, is_remarked: bool) -> None:
    job = job_with(sound())
    told = remarks_on(replace(job, vehicle=replace(job.vehicle, vin=vin)))
    assert bool(told) is is_remarked
    if told:
        assert told[0].startswith("The check digit of the VIN (position 9) is 0 and should be X:")
