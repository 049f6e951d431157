"""The rails that every simulated control unit shares."""

import numpy as np

from backprobe.campaign.draw import Wishes, draw_vehicle

SOUND = Wishes(conditions="healthy", slips=False)


def test_a_sound_regulated_supply_stays_where_it_is_with_the_sensor_on_it() -> None:
    # Common practice, no source: plugged in, the regulated supply stays within a few tenths.
    # Number 1201 has a hungry sensor beside many others.
    seen = 0
    for number in (1201, *range(40)):
        vehicle = draw_vehicle(np.random.default_rng([45, number]), SOUND, number)
        assert vehicle.truth.fault == "none"
        wires = [pin for pin, role in vehicle.truth.roles.items() if role == "supply-regulated"]
        apart, mated = vehicle.job.rounds[:2]
        assert not apart.plugged
        assert mated.plugged
        for pin in wires:
            assert abs(apart.volts[pin].value - mated.volts[pin].value) < 0.3, number
            seen += 1
    assert seen > 10
