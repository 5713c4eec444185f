"""A mapping that cannot change, so that a rig can be compared, hashed and shared."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, TypeVar

V = TypeVar("V")


class FrozenMap(Mapping[str, V]):
    """Keys and values as given, in their order; values should be hashable."""

    __slots__ = ("_hash", "_items")

    def __init__(self, items: Mapping[str, V]) -> None:
        self._items = dict(items)
        self._hash = hash(frozenset(self._items.items()))

    def __getitem__(self, key: str) -> V:
        return self._items[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._items)

    def __len__(self) -> int:
        return len(self._items)

    def __hash__(self) -> int:
        return self._hash

    def __reduce__(self) -> tuple[Any, ...]:
        return FrozenMap, (self._items,)

    def __repr__(self) -> str:
        return f"FrozenMap({self._items!r})"
