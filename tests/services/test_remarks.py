"""Remarks on the measurement itself, each kind once in words."""

from dataclasses import replace

import pytest

from backprobe.job import Connector, Indication, Job, Round, Terminal
from backprobe.job.job_file import read_job
from backprobe.services.engine import Posterior
from backprobe.services.explain import posterior_of
from backprobe.services.misfit import misfit
from backprobe.services.remarks import remarks
from backprobe.services.summary import best_roles, trust
from backprobe.vocabulary import ROLES
from tests.services.sheets import EXAMPLES, SHEETS, job, taken, unplugged


def said(posterior: Posterior) -> tuple[str, ...]:
    return remarks(posterior, trust(posterior), misfit(posterior).probability)


def thermistor(**changes: object) -> Job:
    """The sound thermistor's sheet, its round changed."""
    (r,) = SHEETS["thermistor"].rounds
    return replace(SHEETS["thermistor"], rounds=(replace(r, **changes),))  # type: ignore[arg-type]  # names of fields


def test_a_sound_sheet_needs_no_remark() -> None:
    assert said(posterior_of(thermistor())) == ()


def test_a_bad_lead_is_named_with_its_point_and_what_is_missing() -> None:
    # 12.60 V across the posts, 11.80 V from battery positive to the point: 0.8 V are lost.
    found = said(posterior_of(read_job(EXAMPLES / "painted-bracket.toml")))
    (lead,) = [r for r in found if "black lead" in r]
    assert "is not a sound ground point" in lead
    assert "Move it to battery negative" in lead


def lead_at(point: str, share: float, check: float = 11.8) -> str:
    """The remark on a black lead on a point, trusted by so much, 12.6 V across the posts."""
    posterior = posterior_of(thermistor(black_lead=point, black_lead_check=Indication(check)))
    name = posterior.problem.rounds[0].name
    doubted = replace(trust(posterior), rounds={name: share}, lead={name: share})
    (found,) = [r for r in remarks(posterior, doubted, 1.0) if r.startswith(f"Round {name}: ")]
    return found


def test_a_bad_lead_on_battery_negative_is_not_sent_there() -> None:
    bad = lead_at("battery negative", 0.01)
    assert "had no sound contact on battery negative" in bad
    assert "Clean the post, check the lead and its clip" in bad
    assert "are missing against the battery posts" in bad
    assert "Move it" not in bad
    assert "Move it to battery negative" in lead_at("bracket", 0.01)


def test_a_doubtful_lead_is_checked_where_it_is_clipped() -> None:
    assert "to its clip" in lead_at("battery negative", 0.7)
    assert 'the black lead\'s point "bracket" is in doubt' in lead_at("bracket", 0.7)


def test_a_little_missing_at_battery_negative_is_not_mended_by_moving_there() -> None:
    found = lead_at("battery negative", 0.95, check=12.53)
    assert found.endswith("Clean the post, and check the lead and its clip.")
    assert lead_at("bracket", 0.95, check=12.53).endswith("or note what it stands at.")


def test_readings_of_a_distrusted_round_are_not_named_one_by_one() -> None:
    odd = {"volts": taken({"1": 5.0, "2": -7.0}), "volts_loaded": taken({"1": 9.0, "2": 11.0})}
    posterior = posterior_of(thermistor(**odd))
    sound = trust(posterior)
    name = posterior.problem.rounds[0].name
    doubted = replace(sound, rounds={name: 0.01}, lead={name: 0.01})
    assert [r for r in remarks(posterior, sound, 0.0) if "fit" in r]
    assert not [r for r in remarks(posterior, doubted, 0.0) if "fit" in r]


def test_everything_low_without_a_check_puts_the_lead_in_doubt() -> None:
    found = said(posterior_of(SHEETS["unchecked and low"]))
    assert any("black lead" in r and "battery negative" in r for r in found)


def test_a_dead_round_asks_for_the_key() -> None:
    # A sound thermistor shows 5 V open; with the key off nothing stands anywhere.
    (on_key,) = SHEETS["thermistor"].rounds
    dead = replace(
        on_key, name="B", volts=taken({"1": 0.0, "2": 0.001}), volts_loaded={}, sensor_ohms={}
    )
    sheet = replace(SHEETS["thermistor"], rounds=(on_key, dead))
    posterior = posterior_of(sheet)
    assert trust(posterior).key["B"] < 0.9
    found = [r for r in said(posterior) if "key" in r]
    assert len(found) == 1
    assert "Round B" in found[0]


def test_a_low_battery_at_rest_is_said() -> None:
    low = {"battery_volts": Indication(11.6), "black_lead_check": Indication(11.6)}
    found = [r for r in said(posterior_of(thermistor(**low))) if r.startswith("Battery low")]
    assert len(found) == 1
    assert "A (11.6" in found[0]
    # Public battery tables: 12.65 V full, 12.06 V a quarter.
    assert "12.65 V is full" in found[0]


def test_a_battery_that_is_not_charged_is_said() -> None:
    run = {
        "key": "run",
        "rpm": 800.0,
        "battery_volts": Indication(12.4),
        "black_lead_check": Indication(12.4),
    }
    found = [r for r in said(posterior_of(thermistor(**run))) if "charging" in r]
    assert len(found) == 1


def test_a_charged_battery_and_a_cranking_one_are_not_remarked() -> None:
    for key, volts in (("run", 14.1), ("crank", 10.2), ("on", 12.5)):
        both = {"battery_volts": Indication(volts), "black_lead_check": Indication(volts)}
        found = said(posterior_of(thermistor(key=key, **both)))
        assert not any("attery low" in r or "charging" in r for r in found), key


@pytest.mark.parametrize(("volts", "fits"), [(1562.5, "1.562 V"), (0.0015625, "1.5")])
def test_a_unit_off_by_a_thousand_is_asked_about(volts: float, fits: str) -> None:
    # Millivolts noted as volts, and volts as millivolts, beside readings that agree: 5 x 1 / 3.2 V.
    rounds = [
        replace(SHEETS["thermistor"].rounds[0], name=n, volts_loaded=taken({"1": 1.5625}))
        for n in "ABC"
    ]
    rounds[1] = replace(rounds[1], volts_loaded=taken({"1": volts}))
    found = said(posterior_of(replace(SHEETS["thermistor"], rounds=tuple(rounds))))
    (slip,) = [r for r in found if "by a thousand" in r]
    assert slip.startswith("B: volts with load at 1 would fit as ")
    assert "Read it again" in slip
    assert fits[:3] in slip


def test_volts_that_no_wire_carries_are_taken_for_millivolts() -> None:
    # A signal may stand anywhere, so nothing is expected of it; but no wire carries 812 V.
    sheet = job(
        "123", unplugged("A", {"1": 5.01, "2": 0.005, "3": 812.0}, battery=None, check=None)
    )
    (slip,) = [r for r in said(posterior_of(sheet)) if "by a thousand" in r]
    assert "would fit as 812 mV" in slip


def test_a_lone_odd_reading_is_read_again() -> None:
    rounds = [replace(SHEETS["thermistor"].rounds[0], name=n) for n in "ABC"]
    rounds[1] = replace(rounds[1], volts_loaded=taken({"1": 3.9}))
    found = said(posterior_of(replace(SHEETS["thermistor"], rounds=tuple(rounds))))
    (odd,) = [r for r in found if "does not fit what is likeliest" in r]
    assert odd.startswith("B: volts with load at 1 ")
    assert "min/max" in odd


def switching(*, counted: bool) -> Posterior:
    """A three-wire Hall sensor, running: 5 V supply, a mean of 2.4 V on the signal, ground."""
    plain = unplugged("A", {"1": 5.0, "2": 5.0, "3": 0.003}, loaded={"1": 4.99, "2": 3.2})
    hertz = taken({"2": 120.0}) if counted else {}
    stopped = Round(
        "B",
        plugged=True,
        key="on",
        battery_volts=Indication(12.5),
        black_lead_check=Indication(12.5),
        volts=taken({"1": 5.0, "2": 0.2, "3": 0.006}),
    )
    running = replace(
        stopped,
        name="C",
        key="run",
        rpm=800.0,
        battery_volts=Indication(14.1),
        black_lead_check=Indication(14.1),
        volts=taken({"1": 5.0, "2": 2.4, "3": 0.008}),
        volts_ac=taken({"2": 2.4}),
        hertz=hertz,
    )
    return posterior_of(job("123", plain, stopped, running))


def test_a_switching_signal_read_in_volts_is_to_be_counted() -> None:
    posterior = switching(counted=False)
    assert ROLES[best_roles(posterior)[1]] == "signal-switching"
    (found,) = [r for r in said(posterior) if "switching signal" in r]
    assert found.startswith("Terminal 2 ")
    assert "hertz and duty" in found
    assert not [r for r in said(switching(counted=True)) if "switching signal" in r]


def test_of_a_switching_signal_only_what_was_not_taken_is_asked_for() -> None:
    posterior = switching(counted=False)
    rounds = [
        replace(r, duty_percent=taken({"2": 0.48})) if r.key == "run" else r
        for r in posterior.problem.job.rounds
    ]
    timed = posterior_of(replace(posterior.problem.job, rounds=tuple(rounds)))
    (found,) = [r for r in said(timed) if "switching signal" in r]
    assert found.endswith("Take hertz.")


def test_a_supply_that_was_never_read_is_asked_for() -> None:
    # A four-wire sensor with thermistor: the 5 V on its wire comes through its own pull-up.
    terminals = (
        Terminal("1", diagram="supply-regulated"),
        Terminal("2", diagram="signal-analogue"),
        Terminal("3", diagram="signal-thermistor"),
        Terminal("4", diagram="sensor-ground"),
    )
    sheet = unplugged("A", {"2": 0.0, "3": 5.0, "4": 0.003}, loaded={"3": 1.56})
    some = Job("a job", Connector("sensor", terminals=terminals), rounds=(sheet,))
    (found,) = [r for r in said(posterior_of(some)) if "pull-up" in r]
    assert "terminal 1" in found
    read = replace(sheet, volts=taken({"1": 5.0, "2": 0.0, "3": 5.0, "4": 0.003}))
    again = said(posterior_of(replace(some, rounds=(read,))))
    assert not [r for r in again if "measure that itself" in r]


def test_readings_that_fit_nothing_are_to_be_repeated_first() -> None:
    odd = {
        "volts": taken({"1": 5.0, "2": -7.0}),
        "volts_loaded": taken({"1": 9.0, "2": 11.0}),
        "sensor_ohms": {("1", "2"): Indication(0.5)},
    }
    posterior = posterior_of(thermistor(**odd))
    assert misfit(posterior).probability < 0.001
    assert any("fit nothing that is modelled" in r for r in said(posterior))
