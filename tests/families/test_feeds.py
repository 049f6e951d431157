"""Battery feeds that wait for the engine, and battery voltage inside the control unit.

Common practice, no source, but where a closed form is named: Ohm's law.
"""

from dataclasses import replace

import pytest

from backprobe.core.circuit.plan import Mode
from backprobe.families.fault_edits import LIFT_SHARE, SEVERITY
from backprobe.families.faults import faults_of
from backprobe.families.schema import STATES, Driven, Prior, options_of
from tests.core.circuit.drawn_up import Case, Subject, solve
from tests.families.trade_bench import BATTERY, FAMILIES, METER, Bench

FED = [f.id for f in FAMILIES.values() if any(w.to == "feed" for w in f.wires)]


@pytest.mark.parametrize("name", FED)
def test_a_feed_whose_relay_is_open_is_dead_and_nothing_floats(name: str) -> None:
    family = FAMILIES[name]
    subject = Subject(family)
    place = [w.to for w in family.wires].index("feed")
    for closed in (0.0, 1.0):
        values = subject.central("key-on") | {"feed-relay": closed, "feed-loss": 0.0}
        volts = values["battery-volts"] * closed
        case = Case(Mode.UNPLUGGED, subject.levels[0], values)
        found = solve([subject], [[case]])
        assert found.settled.all()
        assert found.voltage[0, 0, place] == pytest.approx(volts, abs=0.02)


@pytest.mark.parametrize("name", FED)
def test_while_the_engine_turns_every_relay_is_closed(name: str) -> None:
    relay = FAMILIES[name].driven["feed-relay"]
    for state in set(STATES) - {"key-on", "sweep-low", "sweep-high"}:
        assert relay.prior(state).kind == "fixed"
        assert relay.prior(state).a == 1.0


@pytest.mark.parametrize("loss", [0.0, -0.6, -1.1])
@pytest.mark.parametrize(
    ("wire", "name"), [("signal", "hall-battery"), ("signal", "switch-two-wire")]
)
def test_a_pull_up_inside_stands_below_the_battery_by_its_protection(
    loss: float, wire: str, name: str
) -> None:
    known: dict[str, float | str] = {
        "pull-up": 4700.0,
        "pull-up-feed": "battery",
        "input-ohm": 1e6,
        "cu-battery-loss": loss,
    }
    shown = Bench(name, known).volts(wire, plugged=False)
    # A divider: the pull-up over the input's own resistance and the meter side by side.
    low = 1.0 / (1.0 / 1e6 + 1.0 / METER)
    assert shown == pytest.approx((BATTERY + loss) * low / (low + 4700.0), abs=0.005)


@pytest.mark.parametrize("share", [0.5, 0.8, 1.0])
def test_a_ground_is_lifted_by_the_share_of_the_current_that_returns(share: float) -> None:
    family = FAMILIES["thermistor-two-wire"]
    for fault in (f for f in faults_of(family) if f.kind == "ground-lifted"):
        subject = Subject(family, fault)
        still = {SEVERITY: 1.0, LIFT_SHARE: share, "inner-offset": 0.0, "rail-offset": 0.0}
        values = subject.central("idle") | still
        place = [w.name for w in family.wires].index("ground")
        for part in (0.0, 1.0):
            case = Case(Mode.UNPLUGGED, subject.levels[0], values | {"fault.lifted": part})
            found = solve([subject], [[case]])
            assert found.voltage[0, 0, place] == pytest.approx(share, abs=1e-3)


RELAY = Driven("share", states={"key-on": Prior("choice", choices=(0.0, 1.0), weights=(0.5, 0.5))})


@pytest.mark.parametrize(
    "driven",
    [
        replace(RELAY, repeat=0.03),  # a little off, it would be neither
        replace(RELAY, unit="ohm"),
        replace(RELAY, states={**RELAY.states, "idle": Prior("fixed", 0.5)}),
        replace(RELAY, states={**RELAY.states, "idle": Prior("uniform", 0.0, 1.0)}),
    ],
)
def test_nothing_depends_on_what_may_be_neither_nought_nor_one(driven: Driven) -> None:
    assert options_of(RELAY) == ("0", "1")
    assert options_of(driven) == ()
