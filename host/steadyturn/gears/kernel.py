"""The library that makes bodies, manifold3d (extra 'print'), where it is installed."""

from __future__ import annotations

from typing import Any

from steadyturn import extras
from steadyturn.errors import Failed


class NoKernel(Failed):
    """The library that makes bodies is missing."""


def kernel() -> Any:
    """manifold3d, or NoKernel with how to get it."""
    try:
        import manifold3d
    except ImportError:
        raise NoKernel("the library manifold3d is missing: parts to print cannot be made.",
                       extras.install("print")) from None
    return manifold3d
