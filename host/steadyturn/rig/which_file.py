"""Which kind of file a text is, so that a wrong one is told in one line and not key by key."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from steadyturn.errors import Problem, WrongInput

RIG, PARTS, READINGS = "rig file", "parts file", "file of readings"
_READ = frozenset(("locked", "open", "loaded", "short", "run", "stall", "in_out", "plateau"))
_ABOUT = {RIG: "one machine", PARTS: "motors and converters to choose from",
          READINGS: "what a meter showed"}
_WANTED = {RIG: "'steadyturn new' writes one.",
           PARTS: "'steadyturn size --new drawer.toml' writes one to fill in.",
           READINGS: "'steadyturn bench --new readings.toml' writes one to fill in."}


def kind_of(tree: Mapping[str, Any]) -> str:
    """RIG, PARTS or READINGS; "" where its sections leave it open.

    >>> kind_of({"motor": [{}], "converter": [{}]}), kind_of({"motor": {}, "converter": {}})
    ('parts file', 'rig file')
    >>> kind_of({"meter": {}, "open": [{}]}), kind_of({"motor": {}})
    ('file of readings', '')
    """
    motor, converter, stage = (tree.get(name) for name in ("motor", "converter", "stage"))
    if isinstance(motor, list) and not isinstance(converter, dict) and not (
            isinstance(stage, list)):
        return PARTS
    if isinstance(motor, dict) and isinstance(converter, dict):
        return RIG
    if motor is None and converter is None and any(
            isinstance(tree.get(name), list) for name in _READ):
        return READINGS
    return ""


def refuse_other(tree: Mapping[str, Any], name: str, wanted: str) -> None:
    """WrongInput where the tree of the file `name` is another kind of file than wanted."""
    found = kind_of(tree)
    if found and found != wanted:
        raise WrongInput(Problem(name, "", "", f"this is a {found} ({_ABOUT[found]}); wanted is a "
                                 f"{wanted} ({_ABOUT[wanted]}).", _WANTED[wanted]))
