"""Which reading is proposed next.

Outside facts, all common practice of the trade without a published source: one resistor of 1 kohm
to ground tells a stiff supply from a pulled-up signal; the black lead is checked before anything is
believed; no load and no ohmmeter on an oxygen cell's wires; the two ends of a pick-up that are
biased alike cannot be told apart with a meter.
"""

import re
from dataclasses import replace

import numpy as np
import pytest

from backprobe.job import Job
from backprobe.job.job_file import read_job
from backprobe.services.answer import NextReading
from backprobe.services.explain import posterior_of
from backprobe.services.open_question import merged_roles, role_certainty
from backprobe.services.planning import LEAST_BITS, is_settled, plan, plan_of
from backprobe.services.steps import State, cost_minutes
from backprobe.services.summary import role_probabilities
from tests.services.sheets import EXAMPLES, SHEETS, after, taken, unplugged

UNSETTLED = ("half-a-sheet", "unplugged only", "empty round", "unchecked and low", "cell")
EVERY = (*UNSETTLED, "pick-up", "thermistor", "stands-at-two-and-a-half-volts")


def test_two_wires_at_five_volts_are_told_apart_with_the_loading_resistor() -> None:
    # The question that the example asks; its own text gives 5 V against 0.88 V.
    first = plan(after("half-a-sheet"))[0]
    assert (first.quantity, first.plugged, first.key) == ("volts_loaded", False, "on")
    assert first.terminal in ("1", "2")
    assert re.search(r"regulated supply \(about (4\.9|5\.0)\d V\)", first.text)


def test_the_proposed_reading_settles_what_it_was_to_settle() -> None:
    job = read_job(EXAMPLES / "half-a-sheet.toml")
    loaded = {"1": 0.88, "2": 4.99}  # what the example's own text says of this vehicle
    more = replace(job, rounds=(replace(job.rounds[0], volts_loaded=taken(loaded)),))
    posterior = posterior_of(more)
    role = role_probabilities(posterior)
    assert role[1].max() > 0.9
    assert all(r.quantity != "volts_loaded" for r in plan(posterior) if r.terminal in loaded)


def test_after_the_unplugged_round_the_plugged_one_or_a_load_is_proposed() -> None:
    found = plan(after("unplugged only"))
    plugged_on = any(r.plugged and r.key == "on" and r.quantity == "volts" for r in found)
    assert plugged_on or any(r.quantity == "volts_loaded" for r in found)


def test_an_empty_round_is_begun_with_plain_volts() -> None:
    first = plan(after("empty round"))[0]
    assert (first.quantity, first.plugged, first.key) == ("volts", False, "on")


def test_nothing_is_proposed_when_all_is_settled() -> None:
    posterior = after("both-wires-at-five-volts")
    assert is_settled(posterior)
    assert plan(posterior) == ()


@pytest.mark.parametrize("name", UNSETTLED)
def test_an_open_question_is_not_called_settled(name: str) -> None:
    assert not is_settled(after(name))
    assert plan(after(name))


@pytest.mark.parametrize("name", EVERY)
def test_what_was_read_in_the_same_state_is_not_proposed_again(name: str) -> None:
    posterior = after(name)
    done = {
        (r.plugged, r.key, r.rpm, r.action, quantity, pin)
        for r in posterior.problem.rounds
        for quantity in ("volts", "volts_loaded", "hertz", "duty_percent", "volts_ac")
        for pin in getattr(r, quantity)
        if name != "unchecked and low"  # there the round is not believed
    }
    proposed = {
        (r.plugged, r.key, r.rpm, r.action, r.quantity, r.terminal) for r in plan(posterior, 99)
    }
    assert not done & proposed
    assert "1-2" not in {r.terminal for r in plan(after("thermistor"), 99)}


@pytest.mark.parametrize("name", EVERY)
def test_each_proposal_can_be_carried_out_and_costs_what_its_steps_cost(name: str) -> None:
    posterior = after(name)
    last = posterior.problem.rounds[-1]
    now = State(last.plugged, last.key, last.rpm, last.action)
    for reading in plan(posterior, 99):
        wanted = State(reading.plugged, reading.key, reading.rpm, reading.action)
        assert reading.minutes == pytest.approx(cost_minutes(now, wanted, reading.quantity))
        assert reading.steps
        if reading.quantity in ("sensor_ohms", "harness_ohms", "volts_loaded"):
            assert not reading.plugged
        if reading.quantity == "harness_ohms":
            assert reading.key == "off"
        assert reading.text.endswith(".")
        assert reading.text[:-1].count(". ") == 0  # one sentence
        if reading.terminal:
            value = reading.terminal.removesuffix(" volts")
            named = value if reading.quantity == "scan" else f"terminal {reading.terminal}"
            assert named in reading.text or "-" in reading.terminal


@pytest.mark.parametrize("name", UNSETTLED)
def test_most_bits_a_minute_come_first_and_little_is_left_out(name: str) -> None:
    checks = ("black_lead_check", "battery_volts")  # come before everything, as what is read again
    every = plan(after(name), 99)
    found = [r for r in every if r.quantity not in checks and " again" not in r.text]
    rates = [r.bits / r.minutes for r in found]
    assert rates == sorted(rates, reverse=True)
    assert min(r.bits for r in found) >= LEAST_BITS
    assert plan(after(name), 2) == plan(after(name), 99)[:2]


def test_the_plan_is_the_same_every_time() -> None:
    assert plan(after("half-a-sheet")) == plan(after("half-a-sheet"))


def test_a_lead_in_doubt_is_checked_before_anything_else() -> None:
    found = plan(after("unchecked and low"))
    assert [r.quantity for r in found[:2]] == ["black_lead_check", "battery_volts"]
    assert (found[0].plugged, found[0].key) == (False, "on")
    assert "black lead's point" in found[0].text
    assert "round A" in found[0].text


def test_a_round_that_is_not_believed_is_read_again() -> None:
    posterior = after("unchecked and low")
    again = [r for r in plan(posterior) if r.quantity == "volts" and not r.plugged]
    assert again
    assert again[0].terminal in posterior.problem.rounds[0].volts
    assert "round A proves nothing" in again[0].text


def test_a_lead_that_was_checked_is_not_checked_again() -> None:
    for name in ("half-a-sheet", "unplugged only", "thermistor"):
        quantities = {r.quantity for r in plan(after(name), 99)}
        assert not quantities & {"black_lead_check", "battery_volts"}


def test_no_load_and_no_ohmmeter_on_an_oxygen_cell() -> None:
    found = plan(after("cell"), 99)
    assert not {r.quantity for r in found} & {"volts_loaded", "sensor_ohms"}


def test_which_end_of_a_pick_up_is_which_is_no_question() -> None:
    posterior = after("pick-up")
    assert role_probabilities(posterior)[0].max() < 0.9  # live end or return: even
    roles = merged_roles(posterior.bench.hypotheses, posterior.draws)
    assert role_certainty(posterior, roles).min() > 0.95
    for reading in plan(posterior, 99):
        assert "tells whether terminal" not in reading.text


def permuted(job: Job, order: str) -> Job:
    """The same readings on a connector whose terminals stand in another order."""
    by_pin = {t.pin: t for t in job.connector.terminals}
    return replace(
        job, connector=replace(job.connector, terminals=tuple(by_pin[pin] for pin in order))
    )


@pytest.mark.parametrize("order", ["321", "231"])
def test_terminals_in_another_order_give_the_same_plan(order: str) -> None:
    job = read_job(EXAMPLES / "half-a-sheet.toml")
    plain, other = (
        {(r.plugged, r.key, r.quantity, r.terminal): r for r in plan(posterior_of(j), 99)}
        for j in (job, permuted(job, order))
    )
    best = list(plain)[:2]
    assert set(best) == set(list(other)[:2])
    for key in best:
        # Draws differ with the order; what a reading tells agrees as far as they do.
        assert other[key].bits == pytest.approx(plain[key].bits, rel=0.3)


def test_renamed_terminals_rename_the_plan() -> None:
    names = {"1": "A7", "2": "B2", "3": "C"}
    sheet = SHEETS["unchecked and low"]
    renamed = replace(
        sheet,
        connector=replace(
            sheet.connector,
            terminals=tuple(replace(t, pin=names[t.pin]) for t in sheet.connector.terminals),
        ),
        rounds=(unplugged("A", {"A7": 4.72, "B2": -0.28, "C": 4.70}, battery=None, check=None),),
    )

    def key(r: NextReading, pin: str) -> tuple[object, ...]:
        return (r.plugged, r.key, r.quantity, pin, round(r.bits, 6), r.minutes)

    expected = [key(r, names.get(r.terminal, r.terminal)) for r in plan(posterior_of(sheet))]
    assert [key(r, r.terminal) for r in plan(posterior_of(renamed))] == expected


def test_bits_never_exceed_what_is_open() -> None:
    for name in UNSETTLED:
        weight = after(name).draws.weight
        most = -float(np.sum(weight * np.log2(np.maximum(weight, 1e-300))))
        open_roles = sum(
            -float(np.sum(p[p > 0] * np.log2(p[p > 0]))) for p in role_probabilities(after(name))
        )
        assert all(r.bits <= most + open_roles for r in plan(after(name), 99))


def test_no_readings_are_told_where_none_are_wanted() -> None:
    found = plan_of(after("half-a-sheet"), 0)
    assert found.readings == ()
    assert not found.settled
