"""One vehicle's day: the true state that it is in, round after round."""

from dataclasses import replace

from backprobe.campaign.block import Moment, Story
from backprobe.campaign.circuit import Circuit
from backprobe.campaign.plan import RoundPlan, Trouble
from backprobe.campaign.readings import BlackLead, RoundState
from backprobe.campaign.spreads import Random, chance, even, log_even, pick
from backprobe.vocabulary import BATTERY_NEGATIVE


def draw_story(rng: Random) -> Story:
    """Draw the day: the weather, a cold or warm engine, the height above the sea."""
    ambient = even(rng, -12.0, 38.0)
    engine = ambient if chance(rng, 0.5) else even(rng, max(ambient, 30.0), 96.0)
    return Story(ambient, engine, 101.3 - log_even(rng, 0.2, 15.0), 58.0)


class Day:
    """Weather, battery and engine of one vehicle; what a state was like once, it is like again."""

    def __init__(self, circuit: Circuit, trouble: Trouble, rng: Random) -> None:
        self.circuit = circuit
        self.trouble = trouble
        self.rng = rng
        self.story = draw_story(rng)
        weak = trouble.weak_battery
        self.charger = chance(rng, 0.06) and not weak
        self.rested = even(rng, 9.5, 11.6) if weak else even(rng, 11.9, 12.75)
        self.point = pick(rng, (0.88, BATTERY_NEGATIVE), (0.08, "engine block"), (0.04, "body"))
        self._standing: dict[str, dict[str, float]] = {}

    def round_state(self, plan: RoundPlan) -> RoundState:
        """Draw the true state of the vehicle in a round."""
        battery = _battery(plan.key, self.rested, self.charger, self.trouble, self.rng)
        low = self._moment(plan, plan.state, battery)
        if plan.name in self.trouble.asleep:
            low = replace(low, awake=False)
        high = None
        if plan.action:
            high = self._moment(plan, plan.state.replace("low", "high"), battery)
        lead = _lead(self.trouble.leads.get(plan.name, ""), self.point, self.rng)
        return RoundState(plan.name, low, low if high else None, high, lead)

    def _moment(self, plan: RoundPlan, state: str, battery: float) -> Moment:
        rng = self.rng
        if state not in self._standing:
            self._standing[state] = {}
            for block in self.circuit.blocks:
                drawn = block.quantities(self.circuit.values, state, self.story, rng)
                self._standing[state] |= drawn
        rpm = {
            "run": even(rng, 1900.0, 2700.0) if state == "raised" else even(rng, 650.0, 1050.0),
            "crank": even(rng, 170.0, 290.0),
        }.get(plan.key, 0.0)
        return Moment(
            plugged=plan.plugged,
            awake=plan.key != "off",
            running=plan.key == "run",
            cranking=plan.key == "crank",
            rpm=float(round(rpm, -1)),
            battery=battery,
            quantities=dict(self._standing[state]),
        )


def _battery(key: str, rested: float, charger: bool, trouble: Trouble, rng: Random) -> float:
    weak = trouble.weak_battery
    if key == "run":
        if weak:
            return even(rng, 11.0, 13.2)
        return pick(rng, (0.92, even(rng, 13.2, 14.9)), (0.08, even(rng, 12.4, 13.2)))
    if key == "crank":
        return even(rng, 6.0, 9.4) if weak else even(rng, 9.4, 11.4)
    return even(rng, 12.9, 13.9) if charger else rested + even(rng, -0.08, 0.04)


def _lead(kind: str, usual: str, rng: Random) -> BlackLead:
    """A bad point: lifted and steady, lifted and changing, or hardly connected at all."""
    sign = 1.0 if chance(rng, 0.85) else -1.0
    # Half of the bad points were meant to be the battery's post: a dirty clamp, a broken lead.
    point = pick(rng, (0.5, usual), (0.25, "engine block"), (0.25, "bracket"))
    if kind == "lifted":
        ohm = log_even(rng, 0.01, 30.0)
        return BlackLead(ohm, sign * log_even(rng, 0.1, 3.5), point=point)
    if kind == "wandering":
        ohm, volt = log_even(rng, 1.0, 3e4), sign * even(rng, 0.2, 4.0)
        return BlackLead(ohm, volt, wander=even(rng, 0.15, 0.8), point=point)
    if kind == "floating":
        ohm, volt = log_even(rng, 3e5, 2e7), sign * even(rng, 0.0, 3.0)
        return BlackLead(ohm, volt, wander=even(rng, 0.1, 0.6), point=point)
    # A sound point away from the post stands some ten millivolts off it.
    far = 0.0 if usual == BATTERY_NEGATIVE else even(rng, -0.01, 0.03)
    return BlackLead(log_even(rng, 0.005, 0.2), even(rng, -0.004, 0.012) + far, point=usual)
