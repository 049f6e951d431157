"""What the reader of the job file refuses, and the words it says."""

import pytest

from backprobe.errors import JobFileError
from backprobe.job import parse_job
from tests.job.good_file import GOOD


def refusal(old: str, new: str, text: str = GOOD) -> str:
    """The message for the good file with one place changed."""
    assert text.count(old) >= 1, f"{old} isn't in the file"
    with pytest.raises(JobFileError) as caught:
        parse_job(text.replace(old, new, 1), "job.toml")
    assert caught.value.remedy
    return str(caught.value)


def line_of(part: str, text: str = GOOD) -> int:
    return text[: text.index(part)].count("\n") + 1


# Each row: a part of the good file, what stands there instead, the text on whose line the message
# must point (None: the changed part itself, "": not checked here), and what the message says.
REFUSED = [
    ("format = 1\n", "\n", "", "The file doesn't say its format. Put format = 1 into its first"),
    ("format = 1", "format = 0", None, "There is no format 0. Write format = 1."),
    ("format = 1", 'format = "1"', None, 'There is no format "1". Write format = 1.'),
    (
        "format = 1",
        "format = 2",
        None,
        "The file has format 2: it was made by a newer version of backprobe. Update backprobe;",
    ),
    (
        "[meter]",
        "[metre]",
        None,
        '"metre" isn\'t a key of the job file. Did you mean "meter"?',
    ),
    (
        'title = "Hes',
        'titel = "Hes',
        None,
        '"titel" isn\'t a key of [job]. Did you mean "title"?',
    ),
    (
        'title = "Hesitates on a cold morning"',
        "# no title",
        "[job]",
        '[job] has no title. Add title = "Hesitates on a cold morning".',
    ),
    ('title = "Hesitates on a cold morning"', 'title = " "', None, "title of [job] is empty."),
    (
        'title = "Hesitates on a cold morning"',
        "title = 5",
        None,
        'title of [job] has to be a text, not 5. Put it in quotes: title = "5".',
    ),
    (
        "opened = 2026-03-02",
        'opened = "yesterday"',
        None,
        'opened of [job] is "yesterday", which is no date. Write year, month and day like',
    ),
    ("odometer_km = 148200", "odometer_km = -1", None, "odometer_km of [vehicle] is -1, not 0 to"),
    (
        "odometer_km = 148200",
        'odometer_km = "many"',
        None,
        'odometer_km of [vehicle] has to be a number, not "many". Write the number of km without',
    ),
    ("odometer_km = 148200", "odometer_km = nan", None, "odometer_km of [vehicle] is nan, not 0"),
    ("= 1.598", "= 1598", None, "displacement_l of [vehicle.engine] is 1598, not 0.02 to 40 litr"),
    ("cylinders = 4", "cylinders = 4.5", None, "cylinders of [vehicle.engine] is 4.5. Write a wh"),
    (
        '"petrol"\ni',
        '"gasoline"\ni',
        None,
        '"gasoline" can\'t be the fuel of [vehicle.engine]. Possible are "petrol", "diesel",',
    ),
    (
        '"P0113"',
        '"P4113"',
        None,
        '"P4113" isn\'t a trouble code. A code is a letter P, C, B or U, a digit from 0 to 3',
    ),
    (
        "[[code]]",
        "[code]",
        None,
        "[code] can stand several times and needs two brackets. Write [[code]].",
    ),
    ("counts = 4000", "counts = 4", None, "counts of [meter] is 4, not 100 to 1e+08 counts."),
    (
        '"0.5 % + 2 digits"',
        '"good"',
        None,
        'dc_volts of [meter]: "good" isn\'t an accuracy statement that can be read. Write',
    ),
    (
        '"10 Mohm"',
        '"10 mohm"',
        None,
        'input_resistance of [meter] is "10 mohm". A digital meter has about "10 Mohm"; take it',
    ),
    ('"10 Mohm"', '"OL"', None, 'input_resistance of [meter] is "OL".'),
    (
        'name = "intake sensor"\n',
        "\n",
        "[connector]",
        '[connector] has no name. Add name = "intake',
    ),
    ('"air-mass"', '"airmass"', None, '"airmass" can\'t be the kind of [connector]. Did you'),
    ('pin = "2"', 'pin = "1"', None, 'Pin "1" stands twice in the connector. Give each'),
    (
        'pin = "2"',
        "pin = 2",
        None,
        "pin of [connector.terminal] number 2 has to be a text, not 2. Put it in quotes: pin =",
    ),
    ('pin = "2"', 'pin = "1-2"', None, '"1-2" can\'t be a pin. A pin is one to four letters or'),
    ('pin = "2"', 'pin = "12345"', None, '"12345" can\'t be a pin.'),
    (
        'pin = "2"',
        "# none",
        "[[connector.terminal]]\n# none",
        "[connector.terminal] number 2 has no",
    ),
    (
        '"YE/BK"',
        '"yellow/black"',
        None,
        'Pin 1: "yellow/black" isn\'t a wire colour in the letters of IEC 60757. Write "YE/BK".',
    ),
    (
        '"sensor-ground"',
        '"sensor ground"',
        None,
        'Pin 2: "sensor ground" can\'t be the role of a wire. Did you mean "sensor-ground"?',
    ),
    (
        '"sensor-ground"',
        '"xyz"',
        None,
        'Pin 2: "xyz" can\'t be the role of a wire. The roles are "supply-regulated", "sup',
    ),
    ("[job]", "[[job]]", None, "There is only one job. Write [job], with one bracket."),
    ('name = "B"', 'name = "A"', None, 'There is a round "A" already. Give each round a'),
    ('name = "B"', "name = 2", None, "name of [round] number 2 has to be a text, not 2."),
    (
        'name = "B"',
        f'name = "{"B" * 41}"',
        None,
        f'"{"B" * 41}" can\'t be the name of a round. Use a letter or a word',
    ),
    ("plugged = true\n", "\n", "", "round B doesn't say plugged. Add plugged = true"),
    (
        "plugged = true",
        'plugged = "yes"',
        None,
        'plugged of round B is "yes". Write plugged = true or plugged = false, without quotes.',
    ),
    ('key = "run"\n', "\n", "", 'round B has no key. Add key = "on".'),
    (
        'key = "run"',
        'key = "running"',
        None,
        '"running" can\'t be the key of round B. Did you mean "run"?',
    ),
    ('key = "run"', 'key = "off"', "rpm", "Round B has the key off and the engine turning at 750"),
    (
        'key = "run"',
        'key = "on"',
        "rpm",
        "Round B has the key on and the engine turning at 750 rpm.",
    ),
    ("rpm = 750", "rpm = -750", None, "round B, rpm: -750 is below 0 rpm, which no reading"),
    ("rpm = 750", "rpm = 1e6", None, "round B, rpm: 1e+06 is above 25000 rpm"),
    ("rpm = 750", 'rpm = "OL"', None, "round B, rpm is over range. Write the speed."),
    (
        "rpm = 750",
        'action = "snap"',
        None,
        '"snap" can\'t be the action of round B. Possible',
    ),
    (
        "12.58",
        '"12.58 A"',
        None,
        'round A, battery_volts: "12.58 A" can\'t be read: "A" isn\'t a unit of voltage. Write it',
    ),
    ("12.58", "-12.58", None, "round A, battery_volts is below zero: the leads are exchanged."),
    ("12.58", "1258", None, "round A, battery_volts: 1258 is above 1000 V, which no reading"),
    ("12.58", "125.8", None, "round A, battery_volts is 125.8; no such battery supplies a control"),
    ("12.58", '"OL"', None, "round A, battery_volts is over range. Choose a higher range and mea"),
    ("12.58", "nan", None, 'round A, battery_volts: nan isn\'t a voltage. Write "OL" where the'),
    ("12.58", "[12.58]", None, "round A, battery_volts is [12.58], where one value belongs."),
    ("12.58", "{ V = 12.58 }", None, "round A, battery_volts is a table, where one value belongs."),
    ("12.58", "true", None, "round A, battery_volts is true, where one value belongs."),
    ("1 = 5.01", "1 = inf", None, "round A, volts 1: inf isn't a voltage."),
    ("1 = 5.01", "1 = 1e9", None, "round A, volts 1: 1e+09 is above 1000 V, which no reading"),
    ("1 = 5.01", '1 = "1.234,5"', None, 'round A, volts 1: "1.234,5" can be read in two ways.'),
    (
        "1 = 5.01",
        "9 = 5.01",
        None,
        'round A, volts: the connector has no pin "9". Its pins are "1"',
    ),
    ("1 = 5.01", "c7 = 5.01", None, 'the connector has no pin "c7". Did you mean "C7"?'),
    ("volts = { 1", "volt = { 1", None, '"volt" isn\'t a key of [round] number 1. Did you mean'),
    (
        'volts = { 1 = 5.01, 2 = "12 mV", C7 = "5.00" }',
        "volts = 5.01",
        None,
        "volts is 5.01, where a reading for each pin belongs. Put it in braces: volts",
    ),
    ("2-1 =", "2-2 =", None, 'round A, sensor_ohms: "2-2" names one pin twice. Name the two pins'),
    ("2-1 =", "2 =", None, 'round A, sensor_ohms: "2" isn\'t a pair of pins. Write two pins with'),
    ("2-1 =", "2-9 =", None, 'round A, sensor_ohms: the connector has no pin "9".'),
    (
        "C7-1 =",
        "1-2 =",
        None,
        "round A, sensor_ohms has pins 1 and 2 twice; either order means the same. Keep one",
    ),
    (
        '"2.21 kohm"',
        "-2210",
        None,
        "round A, sensor_ohms 2-1: -2210 can't be a resistance. A meter shows a resistance below",
    ),
    (
        "volts_loaded = { 1 = 1.56 }",
        "load_ohms = 0",
        None,
        'round A, load_ohms is 0. Write the resistor that was used, such as 1000 or "2.2 kohm".',
    ),
    ("volts_loaded = { 1 = 1.56 }", "load_ohms = -5", None, "round A, load_ohms is -5. Write the"),
    ("volts_loaded = { 1 = 1.56 }", 'load_ohms = "OL"', None, 'round A, load_ohms is "OL".'),
    ('ohms = "2.2 kohm"', "ohms = 0", None, "round A, fitted ohms is 0. Write the resistor"),
    (', ohms = "2.2 kohm"', "", "fitted", "round A, fitted ohms is missing. Write the resistor"),
    (
        'to = "battery negative"',
        'to = "battery minus"',
        None,
        'round A, fitted to: "battery minus" isn\'t a place for a resistor. Did you mean',
    ),
    (
        'to = "battery negative"',
        'to = "1"',
        None,
        'round A, fitted: both ends are "1". Name the two terminals between which the resistor is.',
    ),
    (
        "plugged = false",
        "plugged = true",
        "sensor_ohms",
        "Round A has sensor_ohms with the sensor plugged in; the harness and the control unit",
    ),
    (
        'key = "off"',
        'key = "on"',
        "harness_ohms",
        "Round C has harness_ohms with the key on; a resistance can only be measured on a dead",
    ),
    (
        'plugged = false\nkey = "off"',
        'plugged = true\nkey = "off"',
        "harness_ohms",
        "Round C has harness_ohms with the sensor plugged in;",
    ),
    (
        "volts_low = { 1 = 1.9 }",
        "volts_low = { 1 = 2.9 }",
        None,
        "Round B, pin 1: the lowest value 2.90 V is above the highest 2.10 V. Exchange volts_high",
    ),
    (
        'level_low = { C7 = "0.2 V" }',
        'level_low = { C7 = "5.2 V" }',
        None,
        "Round B, pin C7: the lowest level 5.20 V is above the highest 4.95 V. Exchange level_high",
    ),
    ('"4.95 V ± 60 mV"', '"4.95 V ± 60 ohm"', None, "behind the plus-minus sign stands no amount."),
    ("duty_percent = { C7 = 40 }", "duty_percent = { C7 = 140 }", None, "140 is above 100 %"),
    ("duty_percent = { C7 = 40 }", 'duty_percent = { C7 = "OL" }', None, "C7 is over range."),
    ("duty_percent = { C7 = 40 }", "volts_ac = { 1 = -0.1 }", None, "which AC volts can't be."),
    (
        '"intake air temperature" =',
        '"intake temperature" =',
        None,
        'round B, scan: "intake temperature" isn\'t a known value of a control unit. Did you mean',
    ),
    ('"66 degF"', '"66 V"', None, 'scan intake air temperature: "66 V" can\'t be read: "V" isn\'t'),
    ('"66 degF"', '"OL"', None, "round B, scan intake air temperature is over range."),
]


@pytest.mark.parametrize(("old", "new", "at", "told"), REFUSED)
def test_what_cannot_be_used_is_told_with_line_and_remedy(
    old: str, new: str, at: str | None, told: str
) -> None:
    message = refusal(old, new)
    assert told in message
    if at != "":
        changed = GOOD.replace(old, new, 1)
        line = line_of(at, changed) if at else line_of(old)
        assert message.startswith(f"job.toml, line {line}: ")


def test_a_message_names_the_line_of_the_reading_itself() -> None:
    message = refusal("harness_ohms = { 2 = 0.3 }", 'harness_ohms = { 2 = "bad" }')
    assert message == (
        f'job.toml, line {line_of("harness_ohms")}: round C, harness_ohms 2: "bad" isn\'t a'
        ' resistance that can be read. Write it like "2.2 kohm", "4k7" or "350 ohm".'
    )


def test_a_missing_key_is_placed_at_the_heading_of_its_table() -> None:
    assert refusal('title = "Hesitates on a cold morning"\n', "").startswith("job.toml, line 3: ")
    second_round = line_of('[[round]]\nname = "B"')
    assert refusal('key = "run"\n', "").startswith(f"job.toml, line {second_round}: ")


@pytest.mark.parametrize(
    ("vin", "told"),
    [
        ("1M8GDM9AXKP04278", "vin of [vehicle]: A VIN has 17 characters, this one has 16."),
        ("1M8GDM9AXKPO42788", "vin of [vehicle]: A VIN has no letter O (position 12)."),
    ],
)
def test_a_number_that_is_no_vin_is_refused(vin: str, told: str) -> None:
    assert told in refusal("odometer_km", f'vin = "{vin}"\nodometer_km')
