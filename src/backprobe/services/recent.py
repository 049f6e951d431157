"""What was used last, under a key, and no more than so many of it."""

from __future__ import annotations

from collections import OrderedDict
from typing import Generic, TypeVar

Value = TypeVar("Value")


class Recent(Generic[Value]):
    """Keeps the ``most`` values that were put last; forgets the oldest beyond."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._values: OrderedDict[str, Value] = OrderedDict()

    def get(self, key: str) -> Value | None:
        """The value under a key, None where it was never put or is forgotten."""
        return self._values.get(key)

    def put(self, key: str, value: Value) -> None:
        """Keep a value under a key, in the place of an older one."""
        self._values[key] = value
        self._values.move_to_end(key)
        while len(self._values) > self._most:
            self._values.popitem(last=False)

    def pop(self, key: str) -> Value | None:
        """The value under a key, which is kept no longer."""
        return self._values.pop(key, None)
