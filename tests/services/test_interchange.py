"""Which wires no meter can tell apart.

Facts of the trade (common practice, no source): the two ends of a pick-up or of a knock sensor that
are biased alike are interchangeable for a meter; an oxygen cell's are not, its return is stiff.
"""

import numpy as np

from backprobe.families.loader import load_families
from backprobe.services.interchange import _alike_by_options, alike_wires
from tests.services.sheets import after

FAMILIES = {f.id: f for f in load_families()}


def alike(family: str) -> set[str]:
    return {
        str(FAMILIES[family].values[name].choices[int(code)])
        for options, _ in _alike_by_options(FAMILIES[family])
        for name, code in options.items()
        if name != "clamp"  # of both ends alike, whichever it is
    }


def test_ends_are_alike_only_where_they_are_biased_alike() -> None:
    assert alike("pick-up-biased") == {"both alike", "both at ground"}
    assert alike("pick-up-screened") == {"biased", "both at ground"}
    assert alike("knock-two-wire") == {"both biased", "both at ground"}


def test_a_grounded_return_is_never_alike() -> None:
    assert not alike("pick-up-grounded")
    for family in FAMILIES.values():
        if family.kind == "oxygen":
            assert not list(_alike_by_options(family))


def test_two_ends_at_one_bias_are_alike_in_nearly_all_draws() -> None:
    posterior = after("pick-up")
    found = alike_wires(posterior.bench.hypotheses, posterior.draws).any(axis=1)
    assert float(posterior.draws.weight[found].sum()) > 0.9


def test_a_thermistor_has_no_such_wires() -> None:
    posterior = after("thermistor")
    heavy = posterior.draws.weight > 1e-3
    found = alike_wires(posterior.bench.hypotheses, posterior.draws)
    assert not np.any(found[heavy])
