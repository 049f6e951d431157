"""A simulated vehicle: the job that a technician writes about it, and what is true of it."""

from collections.abc import Mapping
from dataclasses import dataclass

from backprobe.campaign.circuit import Circuit
from backprobe.campaign.day import Day
from backprobe.campaign.faulting import Fault
from backprobe.campaign.meter import TrueMeter
from backprobe.campaign.readings import RoundState
from backprobe.job.model import Job


@dataclass(frozen=True, slots=True)
class TrueValue:
    """A value that the program may estimate: as in the answer, with the truth."""

    name: str
    round: str
    terminal: str
    value: float


@dataclass(frozen=True, slots=True)
class Truth:
    """What is true of a simulated vehicle.

    Parameters
    ----------
    roles : Mapping[str, str]
        Role of each pin's wire.
    interchangeable : tuple of frozenset of str
        Pins that no reading tells apart.
    fault : str
        Name of the fault, or "none".
    fault_pins : tuple of str
        Pins that it sits on.
    severity : float
        How bad it is: ohms, volts or a factor, by kind; 0 without a fault.
    circuit : str
        The trade's words for the circuit.
    bad_rounds : Mapping[str, str]
        Rounds whose measurement is not what the file says, each with what is wrong with it.
    weak_battery : bool
        The battery is nearly flat; its voltage is in the job.
    slips : tuple of str
        Readings that were written down wrong.
    estimates : tuple of TrueValue
        True values of what the program estimates.
    """

    roles: Mapping[str, str]
    interchangeable: tuple[frozenset[str], ...]
    fault: str
    fault_pins: tuple[str, ...]
    severity: float
    circuit: str
    bad_rounds: Mapping[str, str]
    weak_battery: bool
    slips: tuple[str, ...]
    estimates: tuple[TrueValue, ...]


@dataclass(frozen=True, slots=True)
class Simulation:
    """What stays behind the job: circuit, fault, meter, the true state in every round."""

    healthy: Circuit
    circuit: Circuit
    fault: Fault
    meter: TrueMeter
    pins: Mapping[str, str]  # pin -> key of its wire
    states: tuple[RoundState, ...]
    day: Day  # goes on to further rounds where someone asks for more


@dataclass(frozen=True, slots=True)
class Vehicle:
    """A job with its truth, and the simulation that can answer more readings."""

    job: Job
    truth: Truth
    simulation: Simulation
