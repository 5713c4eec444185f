"""The two ways a job ends badly. `cli` turns them into exit codes; nothing else does.

WrongInput (exit 2): what the person gave cannot be used; every problem at once.
Failed (exit 1): it ran, and the answer is no, or the board or a file failed.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong.

    where: "FILE:LINE" or the option; key: the key's path; value: as it was given;
    right: what would be right; how: how to get it (may be empty).
    """

    where: str
    key: str
    value: str
    right: str
    how: str = ""

    def __str__(self) -> str:
        subject = " = ".join(part for part in (self.key, self.value) if part)
        head = f"{self.where}: {subject}" if subject else self.where
        return f"{head}: {self.right}" + (f" {self.how}" if self.how else "")


class SteadyturnError(Exception):
    """Base of both; its text is complete and fit for a person."""


class WrongInput(SteadyturnError):
    def __init__(self, *problems: Problem) -> None:
        self.problems = problems
        super().__init__("\n".join(str(p) for p in problems))


class Failed(SteadyturnError):
    """`how`: what the person can do about it."""

    def __init__(self, what: str, how: str = "") -> None:
        self.what = what
        self.how = how
        super().__init__(f"{what} {how}".strip())
