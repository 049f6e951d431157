"""Causes of fuel trims in the words of the trade: what it is, why it looks so, what proves it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from backprobe.core.engine.trim_pattern import NONE, UNMODELLED


@dataclass(frozen=True, slots=True)
class CauseWords:
    """How one cause is told.

    Parameters
    ----------
    short : str
        A few words, as a rival is named.
    name : str
        A whole clause without full stop.
    why : str
        What it does to the trims, and why.
    proof : str
        What has to be seen before a part is bought.
    """

    short: str
    name: str
    why: str
    proof: str


CAUSE_WORDS: Final[Mapping[str, CauseWords]] = {
    NONE: CauseWords(
        "nothing wrong",
        "nothing is wrong that the trims would show",
        "Totals within about 10 % that follow no pattern are what sound engines have.",
        "",
    ),
    "unmetered-air": CauseWords(
        "an intake leak",
        "air gets in behind the air-mass sensor (intake leak)",
        "The leak passes the same air at idle and at 2500: much against little, a few per cent"
        " against a lot. So the trim is high at idle and fades with air flow.",
        "The leak is seen or heard (smoke, soapy water), and with it closed the idle trim falls.",
    ),
    "air-mass-low": CauseWords(
        "an air-mass sensor that reads low",
        "the air-mass sensor tells too little air (or air gets past it before the throttle)",
        "A sensor that is low by a share asks for that share of fuel at every load; a split duct"
        " between sensor and throttle looks the same.",
        "Air flow at full load is low for the displacement, duct sound, supply and ground good"
        " under load; a known good sensor brings the trims back.",
    ),
    "air-mass-high": CauseWords(
        "an air-mass sensor that reads high",
        "the air-mass sensor tells too much air",
        "High by a share, it takes that share of fuel away at every load.",
        "Part number and air guide compared; a known good sensor brings the trims back.",
    ),
    "air-mass-dirty": CauseWords(
        "a dirty air-mass sensor",
        "the air-mass sensor is dirty",
        "A film on the element tells too much air at idle and too little at high flow: trims below"
        " zero at idle and above it under load.",
        "Air flow at full load is low for the displacement; the trims flatten after cleaning as the"
        " maker allows, or with a known good sensor.",
    ),
    "air-mass-ground": CauseWords(
        "a lifted air-mass sensor ground",
        "the ground of the air-mass sensor is lifted",
        "Some tens of millivolts on its own ground add to a voltage signal: much air too many at"
        " idle, little under load.",
        "Millivolts between the sensor's ground and battery negative, engine running, gone with a"
        " temporary ground.",
    ),
    "fuel-weak": CauseWords(
        "weak fuel delivery",
        "too little fuel is delivered (pump, filter, line, regulator, clogged injectors)",
        "What a weak pump can't deliver is missing most at high load; clogged injectors or low"
        " pressure are missing the same share everywhere.",
        "Rail pressure falls under load; with it sound, the injectors' flow is measured.",
    ),
    "fuel-ethanol": CauseWords(
        "fuel with much ethanol",
        "the fuel holds much more ethanol than the control unit reckons with",
        "Ethanol needs less air, so more fuel goes to the same air at every load.",
        "Alcohol content of the fuel measured.",
    ),
    "fuel-leak": CauseWords(
        "fuel leaking in",
        "fuel gets in that nobody asked for (dripping injector, regulator diaphragm, fuel in oil)",
        "A drip is the same at idle and under load: much against little fuel, a few per cent"
        " against a lot.",
        "Pressure falls after stopping and the leaking place is seen; oil smells of fuel or not.",
    ),
    "fuel-pressure-high": CauseWords(
        "fuel pressure too high",
        "fuel pressure is too high (regulator, pinched return)",
        "Every injection brings more, about the same share at every load.",
        "Rail pressure above the maker's figure at idle and under load.",
    ),
    "purge": CauseWords(
        "tank vapour (purge)",
        "tank vapour is drawn in (purge valve open, canister full)",
        "Vapour is fuel: it takes trim away at low load, and comes and goes with the valve.",
        "With the purge hose closed the trims come back; with it open they go again.",
    ),
    "exhaust-leak": CauseWords(
        "an exhaust leak before the oxygen cell",
        "air gets into the exhaust before the oxygen cell",
        "Between pulses the exhaust draws air in; the cell sees it as lean. It fades as the flow"
        " rises.",
        "The leak is seen (smoke, soot) before the cell, and with it closed the trim falls.",
    ),
    "bank-air": CauseWords(
        "an air leak on one bank",
        "air gets in at the runners of one bank",
        "Only that bank's share of the air is there to thin it, so it shows on that bank, at idle.",
        "The leak is seen at that bank's gaskets, and with it closed the trim falls.",
    ),
    "bank-injectors": CauseWords(
        "injectors of one bank",
        "the injectors of one bank deliver too little or too much",
        "A share is missing or too much at every load, on that bank alone.",
        "Flow of the injectors compared between banks; exchanged injectors take it along.",
    ),
    "oxygen-cell": CauseWords(
        "a wrong oxygen cell",
        "an oxygen cell (or its wiring) holds the wrong mixture for right",
        "The control unit follows its cell, so the trim is off by the same share at every load.",
        "The cell answers a forced rich and a forced lean mixture wrongly, its ground and wires"
        " being sound; another measurement of the exhaust disagrees.",
    ),
    UNMODELLED: CauseWords(
        "something not modelled",
        "something that isn't modelled here, or trims that don't belong together",
        "The pattern isn't one that any single cause makes: two causes at once, a cold or open-loop"
        " reading, banks mixed up, an adaptation reset shortly before.",
        "Clear adaptations as the maker allows, drive, read all points again.",
    ),
}


def banks_words(banks: Sequence[bool]) -> str:
    """Say which bank a cause sits on; nothing where there is one bank or both are touched."""
    if all(banks):
        return ""
    return f"bank {list(banks).index(True) + 1}"


def trim_words(percent: float) -> str:
    """Write a trim with its sign: "+12 %", "-3 %"."""
    rounded = round(percent)
    return f"{rounded:+d} %" if rounded else "0 %"
