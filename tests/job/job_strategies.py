"""Hypothesis strategies for jobs as a file can hold them."""

from datetime import date

from hypothesis import strategies as st

from backprobe.job import (
    Code,
    Connector,
    Engine,
    Fitted,
    Indication,
    Job,
    Meter,
    Round,
    Terminal,
    Vehicle,
)
from backprobe.standards.trouble_code import code_from_bytes
from backprobe.vocabulary import (
    ACTIONS,
    BATTERY_NEGATIVE,
    CODE_STATUSES,
    CONNECTOR_KINDS,
    ENGINE_CYCLES,
    FUELS,
    INDUCTIONS,
    KEYS,
    ROLES,
    SCAN_UNITS,
)

# Single-line texts are stored without blanks around them; free texts as they are.
FREE_TEXT = st.text(
    st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=40
).map(lambda text: text.replace("\r", ""))
LABEL = FREE_TEXT.map(str.strip).filter(bool)
NAME = st.text(
    st.characters(categories=["L", "N", "P", "S"], include_characters=" "), max_size=20
).map(str.strip)
FRAME = st.dictionaries(NAME.filter(bool), FREE_TEXT.map(str.strip), max_size=3)
PIN = st.from_regex(r"[A-Za-z0-9]{1,4}", fullmatch=True)


def bare(low: float, high: float) -> st.SearchStrategy[Indication]:
    """A bare number: nothing is known of its digits."""
    return st.floats(low, high, allow_subnormal=False).map(lambda x: Indication(x + 0.0))


@st.composite
def written_volts(draw: st.DrawFn) -> Indication:
    """Volts as a text, trailing zeros and all: the value is worked out here from the digits."""
    count = draw(st.integers(-99_999, 99_999))
    decimals = draw(st.integers(0, 3))
    sign = "-" if count < 0 else ""
    whole, part = divmod(abs(count), 10**decimals)
    digits = f"{sign}{whole}" + (f".{part:0{decimals}d}" if decimals else "")
    if abs(float(digits)) <= 900 and draw(st.booleans()):
        return Indication(float(digits) + 0.0, written=digits)
    return Indication(float(digits) * 1e-3 + 0.0, written=f"{digits} mV")


def over_range() -> st.SearchStrategy[Indication]:
    return st.sampled_from(["OL", "O.L", "ol"]).map(
        lambda text: Indication(float("inf"), over_range=True, written=text)
    )


VOLTS = bare(-60, 60) | written_volts() | over_range()
OHMS = bare(0, 1e9) | over_range()
BATTERY = bare(0, 30) | st.just(Indication(12.5, written="12.50"))


@st.composite
def rounds(draw: st.DrawFn, name: str, pins: tuple[str, ...]) -> Round:
    def at_pins(values: st.SearchStrategy[Indication]) -> dict[str, Indication]:
        some = draw(st.dictionaries(st.sampled_from(pins), values, max_size=3))
        return {pin: some[pin] for pin in pins if pin in some}

    pairs = [(a, b) for i, a in enumerate(pins) for b in pins[i + 1 :]]
    places = st.sampled_from((*pins, BATTERY_NEGATIVE))
    plugged = draw(st.booleans())
    key = draw(st.sampled_from(KEYS))
    ends = st.tuples(places, places).filter(lambda both: both[0] != both[1])
    resistor = st.floats(0.1, 1e7)
    return Round(
        name=name,
        plugged=plugged,
        key=key,
        rpm=draw(st.floats(0, 8000)) if key in ("crank", "run") else 0.0,
        action=draw(st.sampled_from(ACTIONS)),
        black_lead=draw(LABEL),
        battery_volts=draw(st.none() | BATTERY),
        black_lead_check=draw(st.none() | bare(-1, 30)),
        ambient_celsius=draw(st.none() | st.floats(-40, 120).map(lambda x: x + 0.0)),
        volts=at_pins(VOLTS),
        # Far apart, so that the highest is never below the lowest.
        volts_high=at_pins(bare(30, 60)),
        volts_low=at_pins(bare(-60, 29)),
        level_high=at_pins(bare(30, 60) | st.just(Indication(44.0, written="44.0 V ± 1 V"))),
        level_low=at_pins(bare(-60, 29)),
        volts_ac=at_pins(bare(0, 60)),
        hertz=at_pins(bare(0, 1e5)),
        duty_percent=at_pins(bare(0, 100)),
        sensor_ohms=(
            {} if plugged else draw(st.dictionaries(st.sampled_from(pairs), OHMS, max_size=3))
        ),
        harness_ohms={} if plugged or key != "off" else at_pins(OHMS),
        load_ohms=draw(st.just(1000.0) | resistor),
        volts_loaded=at_pins(VOLTS),
        fitted=tuple(Fitted(*both, draw(resistor)) for both in draw(st.lists(ends, max_size=2))),
        scan=draw(st.dictionaries(st.sampled_from(tuple(SCAN_UNITS)), bare(0, 100), max_size=3)),
        void=draw(st.just("") | LABEL),
        note=draw(FREE_TEXT),
    )


@st.composite
def jobs(draw: st.DrawFn) -> Job:
    pins = tuple(draw(st.lists(PIN, min_size=2, max_size=8, unique=True)))
    colours = st.sampled_from(["", "BK", "YE/BK", "GNYE"])
    names = draw(st.lists(NAME.filter(bool), max_size=3, unique=True))
    nonzero_bytes = st.tuples(st.integers(1, 255), st.integers(0, 255))
    return Job(
        title=draw(LABEL),
        complaint=draw(FREE_TEXT),
        recent_work=draw(FREE_TEXT),
        opened=draw(st.none() | st.dates(date(1990, 1, 1), date(2090, 1, 1))),
        technician=draw(FREE_TEXT),
        vehicle=Vehicle(
            description=draw(FREE_TEXT),
            vin=draw(st.sampled_from(["", "1M8GDM9AXKP042788", "11111111111111111"])),
            odometer_km=draw(st.none() | st.floats(0, 1e6)),
            engine=Engine(
                displacement_l=draw(st.none() | st.floats(0.05, 20)),
                cylinders=draw(st.none() | st.integers(1, 16)),
                cycle=draw(st.sampled_from(["", *ENGINE_CYCLES])),
                fuel=draw(st.sampled_from(["", *FUELS])),
                induction=draw(st.sampled_from(["", *INDUCTIONS])),
            ),
        ),
        codes=tuple(
            Code(code_from_bytes(*pair), draw(st.sampled_from(CODE_STATUSES)), draw(FRAME))
            for pair in draw(st.lists(nonzero_bytes, max_size=3))
        ),
        meter=Meter(
            counts=draw(st.integers(1000, 500_000)),
            dc_volts=draw(st.sampled_from(["0.5 % + 2 digits", "±(0.025 % + 5 counts)"])),
            input_resistance=draw(st.sampled_from([1e7, 1.1e7]) | st.floats(1e4, 1e9)),
        ),
        connector=Connector(
            name=draw(LABEL),
            kind=draw(st.sampled_from(CONNECTOR_KINDS)),
            terminals=tuple(
                Terminal(pin, draw(colours), draw(st.sampled_from(["", *ROLES]))) for pin in pins
            ),
        ),
        rounds=tuple(draw(rounds(name, pins)) for name in names),
    )
