"""What a diagram and the control unit say, held against the readings."""

from dataclasses import replace

from backprobe.job import Connector, Indication, Round, Terminal
from backprobe.services.answer import CircuitAnswer, Misfit, Reason
from backprobe.services.witnesses import diagram_witness, scan_witnesses
from tests.web.filled import answer

TEMPERATURE = "coolant temperature"
LABEL = f"A scan {TEMPERATURE}"


def plug(first: str, second: str = "") -> Connector:
    """A connector as a diagram shows it."""
    return Connector("plug", terminals=(Terminal("1", "", first), Terminal("2", "", second)))


def test_a_diagram_agrees_contradicts_or_is_not_decided() -> None:
    told = answer()
    assert diagram_witness(plug("signal-thermistor"), told)["1"].agreement == "agrees"
    assert diagram_witness(plug("supply-battery"), told)["1"].agreement == "contradicts"
    unsure = replace(
        told.terminals[0], probability=0.6, roles={"signal-thermistor": 0.6, "shield": 0.4}
    )
    open_one = replace(told, terminals=(unsure,))
    assert diagram_witness(plug("shield"), open_one)["1"].agreement == "open"
    assert diagram_witness(plug("shield"), None)["1"].agreement == "open"
    assert set(diagram_witness(plug("shield"), told)) == {"1"}  # nothing is said of the other


def scanned(value: float = 85.0, **more: object) -> Round:
    """A round with a value of the control unit."""
    scan = {TEMPERATURE: Indication(value)}
    return Round("A", plugged=True, key="on", scan=scan, **more)  # type: ignore[arg-type]


def test_a_value_agrees_or_contradicts_by_its_weight_or_misfit() -> None:
    told = answer()
    ((_, _, agrees),) = scan_witnesses((scanned(),), told)
    assert (agrees.agreement, agrees.says) == ("agrees", "85 °C")
    assert "Very strong evidence for" in agrees.words  # 21 decibans
    against = replace(told, reasons=(Reason("fault open:sensor-ground", LABEL, -14.0, "Too low."),))
    ((_, _, contradicts),) = scan_witnesses((scanned(),), against)
    assert (contradicts.agreement, contradicts.readings) == ("contradicts", "Too low.")
    # What speaks against an explanation that is not held anyway is no contradiction.
    other = Reason("fault none", LABEL, -40.0, "It fits another one better.")
    assert (
        scan_witnesses((scanned(),), replace(told, reasons=(other, *told.reasons)))[0][2].agreement
        == "agrees"
    )
    misfit = replace(told, misfit=Misfit(0.001, (LABEL,)))
    assert scan_witnesses((scanned(),), misfit)[0][2].agreement == "contradicts"
    silent = replace(told, reasons=())
    assert scan_witnesses((scanned(),), silent)[0][2].agreement == "open"
    assert scan_witnesses((scanned(void="slipped"),), told) == ()


def test_a_value_that_no_likely_circuit_has_is_another_sensors() -> None:
    told = answer()
    thermistor = replace(told, circuits=(CircuitAnswer("temperature, thermistor", 0.98),))

    def seen(name: str) -> tuple[str, str]:
        each = Round("A", plugged=True, key="on", scan={name: Indication(2.0)})
        ((_, _, found),) = scan_witnesses((each,), thermistor)
        return found.agreement, found.words

    assert seen("air mass flow")[0] == "contradicts"
    assert "another sensor's" in seen("air mass flow hertz")[1]
    assert seen("intake air temperature")[0] == "open"  # a thermistor may be any
    assert seen("engine speed")[0] == "open"  # a condition, whatever the connector is
    counted = (CircuitAnswer("air mass, frequency", 0.06),)
    unsure = replace(told, circuits=(*thermistor.circuits, *counted))
    each = Round("A", plugged=True, key="on", scan={"air mass flow": Indication(2.0)})
    assert scan_witnesses((each,), unsure)[0][2].agreement == "open"


def test_the_unit_s_own_supply_is_held_against_the_battery_posts() -> None:
    def seen(unit: float, posts: float = 12.6) -> tuple[str, str]:
        scan = {"control unit supply": Indication(unit)}
        battery = Indication(posts)
        each = Round("A", plugged=True, key="on", scan=scan, battery_volts=battery)
        ((_, _, found),) = scan_witnesses((each,), None)
        return found.agreement, found.words

    assert seen(12.4)[0] == "agrees"
    assert seen(10.9)[0] == "contradicts"
    assert "1.70 V are missing" in seen(10.9)[1]
    assert "more than the battery posts have" in seen(13.9)[1]
