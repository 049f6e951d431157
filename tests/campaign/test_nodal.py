"""The campaign's own solver against closed forms and against ngspice."""

import math
import re
import subprocess

import pytest

from backprobe.campaign.devices import Clamp, Consumer, Junction, OutputStage, Supply, Transistor
from backprobe.campaign.nodal import AIR_OHM, Netlist

# The solver adds AIR_OHM to every node; on kilo-ohms that is a part in 1e8 at most.
CLOSE = 1e-7


def test_loaded_divider_of_the_check_list() -> None:
    # 5 V, 2.2 kohm over 4.7 kohm, 10 Mohm across the lower: 3.4052868019 V (ngspice, arithmetic).
    net = Netlist()
    net.source("top", "battery-", 5.0, 1e-3)
    net.resistor("top", "mid", 2200.0)
    net.resistor("mid", "battery-", 4700.0)
    net.resistor("mid", "battery-", 10e6)
    volts = net.solve()
    assert volts["mid"] == pytest.approx(3.4052868019, abs=2e-6)


@pytest.mark.parametrize(("meter", "expected"), [(10e6, 2.487562), (1e6, 2.380952)])
def test_meter_pulls_a_weak_divider_down(meter: float, expected: float) -> None:
    # 100 kohm / 100 kohm on 5 V (arithmetic).
    net = Netlist()
    net.source("top", "battery-", 5.0, 1e-3)
    net.resistor("top", "mid", 1e5)
    net.resistor("mid", "battery-", 1e5)
    net.resistor("mid", "battery-", meter)
    assert net.solve()["mid"] == pytest.approx(expected, abs=1e-6)


def test_bridge_of_the_check_list() -> None:
    # 350 ohm arms, one +0.2 %, 5 V: 2.497502 mV (ngspice, arithmetic).
    net = Netlist()
    net.source("top", "battery-", 5.0, 1e-6)
    for upper, lower, node in ((350.0, 350.0, "a"), (350.0, 350.7, "b")):
        net.resistor("top", node, upper)
        net.resistor(node, "battery-", lower)
    volts = net.solve()
    assert volts["b"] - volts["a"] == pytest.approx(2.497502e-3, abs=1e-9)


def test_a_floating_node_takes_the_voltage_that_damp_air_gives_it() -> None:
    net = Netlist()
    net.source("top", "battery-", 5.0, 1.0)
    net.resistor("top", "floating", AIR_OHM)
    assert net.solve()["floating"] == pytest.approx(2.5, rel=CLOSE)


def test_current_source_sign_is_into_the_node() -> None:
    net = Netlist()
    net.current("node", 1e-3)
    net.resistor("node", "battery-", 1000.0)
    assert net.solve()["node"] == pytest.approx(1.0, rel=1e-8)


def test_a_copy_grows_without_its_original() -> None:
    net = Netlist()
    net.current("node", 1e-3)
    net.resistor("node", "battery-", 1000.0)
    grown = net.copy()
    grown.resistor("node", "battery-", 1000.0)
    assert net.solve()["node"] == pytest.approx(1.0, rel=1e-8)
    assert grown.solve()["node"] == pytest.approx(0.5, rel=1e-8)


# ngspice has no such devices; each is written as a behavioural source after the text of its class,
# with ngspice's own derivatives and its own Newton method.
LIMITED = "{w}/sqrt(1+({w}/{limit})*({w}/{limit}))+1e-4*({w})"


def _spice(lines: list[str], nodes: list[str]) -> dict[str, float]:
    prints = "\n".join(f"print v({node})" for node in nodes)
    netlist = "\n".join(
        ["title", *lines, ".options gmin=1e-14 reltol=1e-7 abstol=1e-15 vntol=1e-9", ".control"]
    )
    text = f"{netlist}\nset numdgt=10\nop\n{prints}\nquit\n.endc\n.end\n"
    done = subprocess.run(
        ["ngspice", "-b", "/dev/stdin"], input=text, capture_output=True, text=True, check=False
    )
    found = dict(re.findall(r"v\((\w+)\) = (\S+)", done.stdout))
    assert set(found) == set(nodes), done.stdout + done.stderr
    return {node: float(value) for node, value in found.items()}


@pytest.mark.needs_ngspice
@pytest.mark.parametrize("volt", [0.2, 0.7, 5.0, -3.0])
def test_junction_against_ngspice(volt: float) -> None:
    net = Netlist()
    net.source("top", "battery-", volt, 1000.0)
    net.add(Junction((net.node("top"), 0)))
    saturation = 1e-3 * math.exp(-0.6 / 0.04)
    emission = 0.04 / (1.380649e-23 * 300.15 / 1.602176634e-19)  # ngspice's 27 degC
    expected = _spice(
        [
            f"V1 s 0 {volt}",
            "R1 s top 1000",
            "D1 top 0 dd",
            f".model dd D(is={saturation:.12g} n={emission:.12g})",
        ],
        ["top"],
    )
    assert net.solve()["top"] == pytest.approx(expected["top"], abs=2e-5)


@pytest.mark.needs_ngspice
@pytest.mark.parametrize("load", [2000.0, 300.0, 30.0, 1.0])
def test_regulator_into_its_limit_against_ngspice(load: float) -> None:
    net = Netlist()
    net.add(Supply((net.node("ref"), 0), volt=5.0, ohm=0.5, limit=0.08, sink=0.002))
    net.add(Consumer((net.node("ref"), 0), ampere=0.01, full_volt=3.0))
    net.resistor("ref", "battery-", load)
    given = LIMITED.format(w="((5-v(ref))/0.5)", limit=0.08)
    taken = LIMITED.format(w="(1.6*0.01*v(ref)/3)", limit=0.01)
    start = ".nodeset v(ref)=4.98"  # from 0 V ngspice steps over the limiter and back for ever
    expected = _spice(
        [f"B1 0 ref I={given}", f"B2 ref 0 I={taken}", f"R1 ref 0 {load}", start], ["ref"]
    )
    assert net.solve()["ref"] == pytest.approx(expected["ref"], abs=1e-4)


@pytest.mark.needs_ngspice
def test_input_clamp_on_battery_voltage_against_ngspice() -> None:
    net = Netlist()
    net.source("battery", "battery-", 12.6, 0.01)
    net.source("vcc", "battery-", 5.0, 0.15)
    net.resistor("battery", "in", 100.0)
    net.add(Clamp((net.node("in"), net.node("vcc"), 0), ohm=2200.0))
    soft = "0.03*ln(1+exp((v(in)-v(vcc)-0.55)/0.03))/2200"
    expected = _spice(
        [
            "V1 a 0 12.6",
            "R1 a b 0.01",
            "R2 b in 100",
            "V2 c 0 5",
            "R3 c vcc 0.15",
            f"B1 in vcc I={soft}",
        ],
        ["in", "vcc"],
    )
    volts = net.solve()
    assert volts["in"] == pytest.approx(expected["in"], abs=1e-4)
    assert volts["vcc"] == pytest.approx(expected["vcc"], abs=1e-4)


def _stage(supply_ohm: float, ground_ohm: float) -> tuple[Netlist, list[str]]:
    """A ratiometric sensor at half of its supply, its own appetite, both feed wires resistive."""
    net = Netlist()
    net.source("ref", "battery-", 5.0, 0.1)
    net.resistor("ref", "sup", supply_ohm)
    net.resistor("sensorlow", "battery-", ground_ohm)
    net.resistor("out", "battery-", 1e5)
    net.add(Consumer((net.node("sup"), net.node("sensorlow")), ampere=0.008, full_volt=3.0))
    net.add(
        OutputStage(
            (net.node("out"), net.node("sup"), net.node("sensorlow")),
            ratio=0.5,
            volt=0.0,
            ohm=100.0,
            source_limit=0.004,
            sink_limit=0.002,
            start_volt=3.0,
        )
    )
    fed = "(v(sup)-v(sensorlow))"
    excess = f"(0.02*ln(1+exp((0.5*{fed}-{fed}+0.05)/0.02)))"
    wanted = f"((v(sensorlow)+0.5*{fed}-{excess}-v(out))/100)"
    # The output sources here: its pull-down takes current from it.
    drive = LIMITED.format(w=wanted, limit=0.004)
    awake = f"(1/(1+exp(-({fed}-3)/0.08)))"
    taken = LIMITED.format(w=f"(1.6*0.008*{fed}/3)", limit=0.008)
    lines = [
        "V1 r 0 5",
        "R1 r ref 0.1",
        f"R2 ref sup {supply_ohm}",
        f"R3 sensorlow 0 {ground_ohm}",
        "R4 out 0 100k",
        f"B1 sup sensorlow I={taken}",
        f"B2 sup out I={awake}*({drive})",
    ]
    return net, lines


@pytest.mark.needs_ngspice
@pytest.mark.parametrize(("supply", "ground"), [(0.2, 0.2), (60.0, 0.2), (0.2, 40.0), (800.0, 5.0)])
def test_ratiometric_sensor_with_bad_wires_against_ngspice(supply: float, ground: float) -> None:
    net, lines = _stage(supply, ground)
    expected = _spice(lines, ["sup", "sensorlow", "out"])
    volts = net.solve()
    for node, value in expected.items():
        assert volts[node] == pytest.approx(value, abs=1e-4), node


@pytest.mark.needs_ngspice
@pytest.mark.parametrize("pull_up", [820.0, 4700.0])
def test_open_collector_against_ngspice(pull_up: float) -> None:
    net = Netlist()
    net.source("vcc", "battery-", 5.0, 0.15)
    net.resistor("vcc", "out", pull_up)
    net.add(Transistor((net.node("out"), net.node("vcc"), 0), 0.15, 20.0, 0.03, 3.0))
    over = "(0.004*(ln(1+exp((v(out)-0.15)/0.004))-ln(1+exp(-0.15/0.004))))"
    drive = LIMITED.format(w=f"({over}/20)", limit=0.03)
    awake = "(1/(1+exp(-(v(vcc)-3)/0.08)))"
    expected = _spice(
        [
            "V1 r 0 5",
            "R1 r vcc 0.15",
            f"R2 vcc out {pull_up}",
            f"B1 out 0 I={awake}*({drive})",
        ],
        ["out"],
    )
    low = net.solve()["out"]
    assert low == pytest.approx(expected["out"], abs=1e-4)
    # Common practice: an open collector that is on stays below 0.4 to 0.6 V.
    assert 0.05 < low < 0.4
