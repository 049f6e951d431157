"""One small parser for readings as people write them, and the way back to words.

Understood are "12 mV", "2,41 V", "4k7", "2.2 kΩ", "66 degF", "11.5 kg/h" and what a meter shows
when it is over range ("OL"). Anything that could mean two things is an error that asks.
Inside, values are plain floats: volt, ohm, hertz, ampere, degree Celsius, percent, gram per second,
kilopascal, revolutions per minute.
"""

from backprobe.quantities.accuracy import AccuracyStatement, parse_accuracy
from backprobe.quantities.reading import Quantity, parse_quantity
from backprobe.quantities.wording import format_quantity

__all__ = ["AccuracyStatement", "Quantity", "format_quantity", "parse_accuracy", "parse_quantity"]
