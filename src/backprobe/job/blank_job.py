"""A job file to fill in: the usual rounds, what belongs into each, and the cautions with it."""

from typing import Final

from backprobe.job.model import Connector, Job
from backprobe.job.writer import text
from backprobe.vocabulary import CONNECTOR_KINDS, FORMAT, ROLES

_HEAD: Final = """\
# A job: one connector on one vehicle. Fill in what you know and leave the rest as it is.
# Behind # stands a remark; where a key stands behind it, such as battery_volts, take the # away
# once there is a value. A text stands in quotes. A value is a number in the key's own unit, or a
# text as the meter shows it: 5.01, "5.00", "12 mV", "2.21 kohm", "OL" (over range).
#
# The maker's instructions and local rules come first. Never probe airbag circuits, nor the orange
# high-voltage cables of electric and hybrid vehicles.
"""
_METER: Final = """\
[meter]                    # from its data sheet; the number of counts gives the size of a digit
counts = 4000
dc_volts = "0.5 % + 2 digits"
ohms = "0.8 % + 3 digits"
input_resistance = "10 Mohm"
"""
_ROUND_A: Final = """\
# ---------------------------------------------------------------- round A: unplugged, key on
# Key OFF first, then unplug the sensor, then key on; the engine stays off. Measure at the harness
# side of the connector. Don't push a probe into a female terminal: it spreads, and the next fault
# is yours.
# Prove the black lead before anything else: battery_volts across the battery posts, then
# black_lead_check from the positive post to the point where the black lead will stay. Both must
# be nearly equal; if they aren't, find a better point.
[[round]]
name = "A"
plugged = false
key = "on"
black_lead = "battery negative"
# battery_volts = "12.58"
# black_lead_check = "12.57"
volts = {{}}                 # each terminal to the black lead: {{ {volts} }}

# Two wires at 5 V? A known resistor of 1 kohm from the terminal to the black lead's point tells a
# stiff supply from a pull-up. Not on oxygen sensors, airbag or high-voltage circuits.
load_ohms = 1000
volts_loaded = {{}}          # the volts with that resistor: {{ {first} = "1.56" }}

# Only between pins of the unplugged sensor, and only where it is a thermistor, a coil, a heater or
# a track: never measure resistance on a live circuit, nor on an oxygen cell.
sensor_ohms = {{}}           # {{ {pair} = "2.21 kohm" }}
note = ""
"""
_ROUND_B: Final = """\
# ---------------------------------------------------------------- round B: plugged in, key on
# Key OFF before plugging in, then key on; the engine stays off. Probe from the back, beside the
# wire. Prove the black lead again: it may have moved.
[[round]]
name = "B"
plugged = true
key = "on"
black_lead = "battery negative"
# battery_volts = "12.45"
# black_lead_check = "12.44"
# ambient_celsius = 19     # only if the sensing element is known to have this temperature
volts = {{}}                 # {{ {volts} }}
scan = {{}}                  # what the control unit says: {{ "coolant temperature" = "81 degC" }}
note = ""
"""
_ROUND_C: Final = """\
# ---------------------------------------------------------------- round C: plugged in, idling
# Key OFF before touching the connector. Brake on, out of gear, exhaust gas led away; hands, leads
# and sleeves clear of belts, fans (they start by themselves) and hot parts.
# On a switching signal DC volts are the mean, not the height: take volts_high and volts_low with
# the meter's min/max hold, or hertz and duty_percent.
[[round]]
name = "C"
plugged = true
key = "run"
rpm = 750                  # as it really is
black_lead = "battery negative"
# battery_volts = "14.10"
# black_lead_check = "14.09"
volts = {{}}                 # {{ {volts} }}
volts_high = {{}}
volts_low = {{}}
hertz = {{}}                 # {{ {first} = "85 Hz" }}
duty_percent = {{}}
scan = {{}}                  # {{ "air mass flow" = "3.2 g/s" }}
note = ""

# Another round is another [[round]] with a name of its own, for instance cranking (key = "crank"),
# at 2500 rpm, with action = "snap throttle", or key off and unplugged with harness_ohms.
# A round that doesn't count stays: write why, such as void = "the black lead had slipped off".
"""


_VEHICLE: Final = """\
[vehicle]
description = ""           # such as "1.6 litre petrol hatchback"
vin = ""                   # 17 characters
# odometer_km = 148200

# [[code]]                 # one for each trouble code that was read, before clearing any
# code = "P0113"
# status = "stored"        # stored, pending, permanent
"""


def write_blank_job(job: Job) -> str:
    """Write a job file with title, connector and three empty rounds, ready to be filled in."""
    pins = job.connector.pins
    fields = {
        "first": pins[0],
        "pair": f"{pins[0]}-{pins[1]}",
        "volts": f'{pins[0]} = "5.01", {pins[1]} = "12 mV"',
    }
    parts = [
        _HEAD,
        f"format = {FORMAT}\n",
        _job_part(job),
        _VEHICLE,
        _METER,
        _connector_part(job.connector),
        *(part.format(**fields) for part in (_ROUND_A, _ROUND_B, _ROUND_C)),
    ]
    return "\n".join(parts)


def _job_part(job: Job) -> str:
    opened = f"opened = {job.opened.isoformat()}\n" if job.opened else ""
    return (
        f"[job]\ntitle = {text(job.title)}\n"
        'complaint = ""             # in the customer\'s words: when, how often, hot or cold\n'
        f'{opened}technician = ""\n'
    )


def _connector_part(connector: Connector) -> str:
    kinds = ", ".join(CONNECTOR_KINDS)
    roles = ",\n# ".join(", ".join(ROLES[i : i + 5]) for i in range(0, len(ROLES), 5))
    terminals = "".join(
        f"\n[[connector.terminal]]\npin = {text(terminal.pin)}\n"
        f"colour = {text(terminal.colour)}\ndiagram = {text(terminal.diagram)}\n"
        for terminal in connector.terminals
    )
    return (
        f"[connector]\nname = {text(connector.name)}\n"
        f"kind = {text(connector.kind)}\n# Kinds: {kinds}.\n"
        '# Colours in the letters of IEC 60757, the stripe behind a slash: "YE/BK".\n'
        "# diagram: the role that a wiring diagram gives the wire, where one is at hand:\n"
        f"# {roles}.\n{terminals}"
    )
