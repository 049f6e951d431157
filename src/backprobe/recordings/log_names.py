"""From the name above a logged column to the quantity that it means, scored word by word.

Names and abbreviations are those of [j1979] and [j1930], from memory.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from itertools import product, zip_longest
from typing import Any, Final

from backprobe.recordings.log_units import AIR_A_STROKE, known_log_unit

ENOUGH: Final = 0.7
"""Share of words in common from which a name is taken for a quantity (this project's choice)."""

_BANKS: Final = ("1", "2")
_SENSORS: Final = ("1", "2", "3", "4")
_TOKEN: Final = re.compile(r"[a-z]+|\d+")
_UNNUMBERED: Final = 0.9
_CAMEL: Final = re.compile(r"(?<=[a-z])(?=[A-Z])")
_OXYGEN: Final = re.compile(r"\bh?o2")
_ELIDED: Final = re.compile(r"\b[dl]['’]")
_INPUTS: Final = {"V": " volts", "Hz": " hertz"}  # what the control unit sees at its input


@dataclass(frozen=True, slots=True)
class Phrase:
    """Words without their order, and numbers in their order (bank, sensor)."""

    words: frozenset[str]
    places: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class KnownQuantity:
    """A quantity that may be logged.

    Parameters
    ----------
    name, unit : str
        In the job file's words; the unit that its values are converted to.
    low, high : float
        What it can be at all, in that unit.
    aliases : tuple of Phrase
        Words under which it goes.
    """

    name: str
    unit: str
    low: float
    high: float
    aliases: tuple[Phrase, ...]


@dataclass(frozen=True, slots=True)
class NameMatch:
    """What a name was taken for.

    Parameters
    ----------
    quantity, unit : str
        The quantity and the unit that its values are to be converted to; empty where none fits.
    score : float
        Share of words in common, 0 to 1.
    rivals : tuple of str
        Other quantities that fit as well; then ``quantity`` is empty.
    """

    quantity: str = ""
    unit: str = ""
    score: float = 0.0
    rivals: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Words:
    same: Mapping[str, str]
    filler: frozenset[str]
    other: frozenset[str]


def match_name(name: str, unit: str = "") -> NameMatch:
    """Find the quantity that a logged name means.

    Parameters
    ----------
    name : str
        As the file has it: "MAF", "Short Term Fuel Trim - Bank 1", "STFT1".
    unit : str
        As the file has it; empty where there is none. A unit of another kind rules a quantity out.

    Returns
    -------
    NameMatch
        Without a quantity where no name comes near, or two come equally near.
    """
    given = phrase_of(name)
    found = _match(given, unit)
    for word, unit_in_name in (("volts", "V"), ("hertz", "Hz"), ("hz", "Hz")):
        if not found.quantity and word in given.words and unit in ("", unit_in_name):
            found = _match(Phrase(given.words - {word}, given.places), unit_in_name)
    return found


def _match(given: Phrase, unit: str) -> NameMatch:
    kind = known_log_unit(unit)
    best: dict[str, float] = {}
    for known in known_quantities():
        wanted = _wanted_unit(known, unit if kind is None else kind.unit, is_known=kind is not None)
        if wanted is None:
            continue
        score = max(_likeness(given, alias) for alias in known.aliases)
        if score >= ENOUGH:
            best[known.name + wanted[1]] = score
    if not best:
        return NameMatch()
    top = max(best.values())
    winners = [found for found, score in best.items() if score > top - 1e-9]
    if len(winners) > 1:
        return NameMatch(score=top, rivals=tuple(winners))
    return NameMatch(winners[0], unit_of_quantity(winners[0]), top)


def unit_of_quantity(quantity: str) -> str:
    """Give the unit to which a quantity's values are converted; empty for an unknown one."""
    for suffix, unit in ((" volts", "V"), (" hertz", "Hz")):
        if quantity.endswith(suffix) and quantity not in _by_name():
            return unit
    known = _by_name().get(quantity)
    return "" if known is None else known.unit


@cache
def quantity_names() -> tuple[str, ...]:
    """Names of all quantities, those with " volts" and " hertz" left out."""
    return tuple(_by_name())


def phrase_of(name: str) -> Phrase:
    """Part a name into words and numbers.

    Accents are dropped and words that add nothing left out; "STFT1" is a word and a number,
    "HO2S11" the oxygen sensor at bank 1, sensor 1.
    """
    words = _language()
    text = unicodedata.normalize("NFKD", name.replace("ß", "ss").replace("_", " "))
    text = _CAMEL.sub(" ", text.encode("ascii", "ignore").decode()).lower()
    text = _ELIDED.sub(" ", _OXYGEN.sub("oxygen ", text))
    tokens = _TOKEN.findall(text)
    found: list[str] = []
    places: list[str] = []
    for token, following in zip_longest(tokens, tokens[1:], fillvalue=""):
        if token.isdigit():
            # "11" behind a sensor's name is bank 1, sensor 1.
            places += token if re.fullmatch("[12][1-4]", token) else [token]
        elif not (token in ("b", "s") and following.isdigit()):
            found.append(words.same.get(token, token))
    kept = frozenset(found) - words.filler
    return Phrase(kept or frozenset(found), tuple(places))


@cache
def known_quantities() -> tuple[KnownQuantity, ...]:
    """All quantities of the table, one for each bank and sensor."""
    found: list[KnownQuantity] = []
    for table in _table()["quantity"]:
        banks = _BANKS if "{b}" in table["name"] else ("",)
        sensors = _SENSORS if "{s}" in table["name"] else ("",)
        found += [_quantity(table, *place) for place in product(banks, sensors)]
    return tuple(found)


def _quantity(table: Mapping[str, Any], bank: str, sensor: str) -> KnownQuantity:
    def filled(text: str) -> str:
        return text.replace("{b}", bank).replace("{s}", sensor)

    low, high = table["limits"]
    aliases = tuple(phrase_of(filled(alias)) for alias in table["aliases"])
    return KnownQuantity(filled(table["name"]), table["unit"], float(low), float(high), aliases)


def _likeness(given: Phrase, alias: Phrase) -> float:
    """Dice's coefficient of two sets of words; nothing where one makes it something else."""
    extra = given.words - alias.words
    if extra & _language().other:
        return 0.0
    likeness = 2.0 * len(given.words & alias.words) / (len(given.words) + len(alias.words))
    if given.places == alias.places:
        return likeness
    # An engine with one bank, or one such sensor, often has no number: the first is meant.
    if set(given.places) | set(alias.places) == {"1"}:
        return _UNNUMBERED * likeness
    return 0.0


def _wanted_unit(known: KnownQuantity, unit: str, *, is_known: bool) -> tuple[str, str] | None:
    """Give unit and suffix of the name, None where the unit is of another kind."""
    if not unit or not is_known or unit == known.unit:
        return known.unit, ""
    if unit in _INPUTS and known.unit != "":
        return unit, _INPUTS[unit]
    if unit == AIR_A_STROKE and known.unit == "g/s":
        return known.unit, ""
    return None


def _by_name() -> dict[str, KnownQuantity]:
    return {known.name: known for known in known_quantities()}


@cache
def _language() -> _Words:
    words = _table()["words"]
    return _Words(words["same"], frozenset(words["filler"]), frozenset(words["other"]))


@cache
def _table() -> dict[str, Any]:
    text = files("backprobe.recordings").joinpath("log_names.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)
