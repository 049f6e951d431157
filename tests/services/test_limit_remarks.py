"""Remarks by the limits in force, on sheets whose readings follow from Ohm's law."""

from collections.abc import Mapping
from dataclasses import replace

import pytest

from backprobe.job import Connector, Indication, Job, Round, Terminal
from backprobe.services.engine import Posterior
from backprobe.services.explain import posterior_of
from backprobe.services.limits import BATTERY_AT_REST, SENSOR_GROUND, Limits
from backprobe.services.misfit import misfit
from backprobe.services.remarks import remarks
from backprobe.services.summary import trust
from tests.services.sheets import taken, unplugged

FREE = unplugged("A", {"1": 5.0, "2": 0.0}, loaded={"1": 1.5625})
THERMISTOR = ("signal-thermistor", "sensor-ground")
PRESSURE = ("supply-regulated", "signal-analogue", "sensor-ground")


def said(posterior: Posterior, *own: tuple[str, float, float]) -> tuple[str, ...]:
    return remarks(posterior, trust(posterior), misfit(posterior).probability, Limits(own))


def job(roles: tuple[str, ...], *rounds: Round) -> Job:
    terminals = tuple(Terminal(str(n), diagram=r) for n, r in enumerate(roles, start=1))
    return Job("a sheet", Connector("sensor", terminals=terminals), rounds=rounds)


def plugged(volts: Mapping[str, float], **changes: object) -> Round:
    found = Round(
        "B",
        plugged=True,
        key="on",
        battery_volts=Indication(12.6),
        black_lead_check=Indication(12.6),
        volts=taken(volts),
    )
    return replace(found, **changes)  # type: ignore[arg-type]  # names of fields


def grounds(found: tuple[str, ...]) -> list[str]:
    return [each for each in found if ", sensor ground, " in each]


def test_a_ground_lifted_by_its_own_current_is_told_in_ohms() -> None:
    # 5 / (2200 + 2210 + 50) = 1.1211 mA: 56 mV over 50 ohm; between the 0.05 and 0.10 V of a trade
    # journal's series, yet 50 ohm is far more than a wire has.
    found = said(posterior_of(job(THERMISTOR, FREE, plugged({"1": 2.5336, "2": 0.056}))))
    (ground,) = grounds(found)
    assert ground == (
        "Terminal 2, sensor ground, stands 56 mV above the black lead's point in round B: in the "
        "grey zone from 50 mV to 100 mV, on which sources differ. This sensor's own 1.1 mA adds "
        "56 mV of it: about 50 ohm in its return, over 10 ohm. Look at its contacts before its "
        "wire."
    )


def test_a_drop_that_looks_small_is_judged_by_its_current() -> None:
    # 30 ohm: 5 / (2200 + 2210 + 30) = 1.126 mA, 33.8 mV; the signal at 5 - 2.477 = 2.523 V.
    found = said(posterior_of(job(THERMISTOR, FREE, plugged({"1": 2.523, "2": 0.0338}))))
    (ground,) = grounds(found)
    assert "stands 33.8 mV above" in ground
    assert "which looks like little. This sensor's own 1.1 mA" in ground
    assert "about 30 ohm in its return, over 10 ohm" in ground


def test_a_sound_ground_needs_no_remark() -> None:
    # 1 ohm at 1.1 mA is 1 mV; a control unit's own current lifts its ground by some more.
    sound = plugged({"1": 2.507, "2": 0.004})
    assert said(posterior_of(job(THERMISTOR, FREE, sound))) == ()


def test_a_ground_lifted_by_others_is_looked_for_elsewhere() -> None:
    free = replace(FREE, volts=taken({"1": 5.0, "2": 0.07}))
    found = said(posterior_of(job(THERMISTOR, free, plugged({"1": 2.54, "2": 0.072}))))
    (ground,) = grounds(found)
    assert "Unplugged it stands at 70 mV already" in ground
    assert "ohm" not in ground


def test_without_a_known_current_both_usual_ones_are_told() -> None:
    # 70 mV are 70 ohm at 1 mA and 7 ohm at 10 mA (Ohm's law).
    free = unplugged("A", {"1": 5.0, "2": 0.0}, loaded={"1": 4.99})
    sheet = job(PRESSURE, free, plugged({"1": 5.0, "2": 2.0, "3": 0.07}))
    (ground,) = grounds(said(posterior_of(sheet)))
    assert ground.startswith("Terminal 3, sensor ground, stands 70 mV")
    assert "That is 70 ohm at 1 mA, 7 ohm at 10 mA." in ground


def test_a_ground_behind_a_bad_black_lead_is_not_judged() -> None:
    # 0.9 V are missing between the posts and the black lead's point.
    lifted = plugged({"1": 2.5, "2": -0.8}, black_lead_check=Indication(11.7), black_lead="bracket")
    other = replace(lifted, name="C", volts=taken({"1": 2.6, "2": 0.08}))
    assert not grounds(said(posterior_of(job(THERMISTOR, FREE, lifted, other))))


def test_an_open_ground_is_no_drop() -> None:
    # The ground open: both wires stand at 5 V, which no one calls a drop.
    found = said(posterior_of(job(THERMISTOR, FREE, plugged({"1": 5.0, "2": 4.98}))))
    assert not grounds(found)


def test_a_limit_of_ones_own_moves_the_zone() -> None:
    free = unplugged("A", {"1": 5.0, "2": 0.0}, loaded={"1": 4.99})
    posterior = posterior_of(job(PRESSURE, free, plugged({"1": 5.0, "2": 2.0, "3": 0.03})))
    assert not grounds(said(posterior))
    (ground,) = grounds(said(posterior, (SENSOR_GROUND, 0.02, 0.025)))
    assert "over 25 mV" in ground


@pytest.mark.parametrize(
    ("key", "volts", "words"),
    [
        ("on", 12.3, "Battery at rest or with the key on in round B (12.30 V): in the grey zone"),
        ("run", 13.1, "Battery while the engine runs in round B (13.10 V): in the grey zone"),
        ("crank", 9.8, "Battery while the engine is cranked in round B (9.80 V): in the grey zone"),
        ("crank", 9.0, "Battery low while cranking in round B (9.00 V)"),
    ],
)
def test_a_battery_between_low_and_good(key: str, volts: float, words: str) -> None:
    both = {"battery_volts": Indication(volts), "black_lead_check": Indication(volts)}
    sheet = job(THERMISTOR, FREE, plugged({"1": 2.507, "2": 0.004}, key=key, **both))
    posterior = posterior_of(sheet)
    (battery,) = [r for r in said(posterior) if "Battery" in r]
    assert battery.startswith(words)
    if key == "on":
        lower = said(posterior, (BATTERY_AT_REST, 12.0, 11.8))
        assert not [r for r in lower if "Battery" in r]


def test_a_black_lead_a_little_off_is_said_though_it_is_trusted() -> None:
    off = plugged({"1": 2.507, "2": 0.004}, black_lead_check=Indication(12.54))
    posterior = posterior_of(job(THERMISTOR, FREE, off))
    assert trust(posterior).lead["B"] > 0.9
    (lead,) = [r for r in said(posterior) if "black lead" in r]
    assert "60 mV are missing, in the grey zone from 50 mV to 100 mV" in lead


def test_a_supply_a_little_low() -> None:
    # A monitor's window goes down to 4.7 V, common practice to 4.9 V.
    free = unplugged("A", {"1": 4.8, "2": 0.0, "3": 0.002}, loaded={"1": 4.79})
    sheet = job(PRESSURE, free, plugged({"1": 4.8, "2": 2.0, "3": 0.005}))
    (supply,) = [r for r in said(posterior_of(sheet)) if "regulated supply" in r]
    assert supply.startswith("Terminal 1, regulated supply, reads 4.80 V in round A: in the grey")


def test_a_feed_that_loses_volts_and_carries_ripple() -> None:
    # 14.1 V at the posts, 13.2 V at the feed: 0.9 V; AC 120 mV, more than any page allows.
    roles = ("supply-battery", "signal-switching", "sensor-ground")
    free = unplugged("A", {"1": 12.55, "2": 5.0, "3": 0.002}, loaded={"1": 12.5, "2": 2.0})
    running = plugged(
        {"1": 13.2, "2": 2.4, "3": 0.008},
        key="run",
        rpm=800.0,
        battery_volts=Indication(14.1),
        black_lead_check=Indication(14.1),
        volts_ac=taken({"1": 0.12}),
        hertz=taken({"2": 120.0}),
    )
    found = [r for r in said(posterior_of(job(roles, free, running))) if "battery feed" in r]
    assert len(found) == 2
    assert "reads 900 mV less than the battery posts in round B: over 800 mV" in found[0]
    assert "carries 120 mV of AC in round B: over 100 mV" in found[1]
