"""The shape of the answer as JSON, written down from the format's own description."""

from typing import Any

from backprobe.vocabulary import ACTIONS, KEYS, ROLES

# A list holds any number of what its one entry describes; a dictionary with one key "*" has any
# keys; a tuple lists the words that may stand there.
Share = ("share",)
SHAPE: dict[str, Any] = {
    "format": int,
    "file": str,
    "terminals": {"*": {"role": ROLES, "probability": Share, "roles": {"*": Share}}},
    "circuits": [{"circuit": str, "probability": Share}],
    "faults": [{"fault": str, "probability": Share, "terminals": [str]}],
    "measurement": {"trusted": Share, "rounds": {"*": Share}, "remarks": [str]},
    "estimates": [
        {
            "name": str,
            "round": str,
            "terminal": str,
            "value": float,
            "low": float,
            "high": float,
            "unit": str,
            "coverage": float,
        }
    ],
    "misfit": {"probability": Share, "readings": [str]},
    "reasons": [{"claim": str, "reading": str, "decibans": float, "text": str}],
    "next": [
        {
            "plugged": bool,
            "key": KEYS,
            "rpm": int,
            "action": ACTIONS,
            "quantity": str,
            "terminal": str,
            "bits": float,
            "minutes": float,
            "text": str,
            "cautions": [str],
        }
    ],
}


def require_shape(value: Any, shape: Any, place: str = "answer") -> None:
    """Compare a JSON value with a shape, naming the place where they part."""
    if shape is Share:
        assert isinstance(value, float | int), place
        assert 0 <= value <= 1, place
    elif isinstance(shape, tuple):
        assert value in shape, place
    elif isinstance(shape, list):
        assert isinstance(value, list), place
        for number, each in enumerate(value):
            require_shape(each, shape[0], f"{place}[{number}]")
    elif isinstance(shape, dict):
        assert isinstance(value, dict), place
        keys = value if list(shape) == ["*"] else shape
        assert set(value) == set(keys), place
        for key in keys:
            require_shape(value[key], shape.get(key, shape.get("*")), f"{place}.{key}")
    else:
        assert type(value) is shape, place
