"""What `new` says: its questions, and where to go next."""

from __future__ import annotations

from typing import Any

from steadyturn.report.style import wrap

_WORDS = {
    "motor_volts": "the motor's volts", "motor_rpm": "its speed", "motor_ohm": "its ohms",
    "motors": "how many motors", "ratio": "the gear ratio", "converter": "the converter",
    "load": "what is charged", "board": "the board",
}


def question_text(question: Any) -> str:
    """A question on one line, with what may be answered."""
    if question.choices:
        return f"{question.ask} ({', '.join(question.choices)})"
    if question.example:
        return f"{question.ask} ({question.example})"
    unit = f" {question.unit}" if question.unit else ""
    return f"{question.ask} ({question.low:g} to {question.high:g}{unit})"


def text(result: Any) -> str:
    """What was written, what had to be assumed, and the next step."""
    lines = [f"Wrote {result.file}."]
    for name, words in result.understood.items():
        lines.append(f"Read {_WORDS.get(name, name)} as {words}.")
    if result.assumed:
        words = ", ".join(_WORDS.get(name, name) for name in result.assumed)
        lines += [wrap(f"Assumed for now, each with a remark on it in the file: {words}."),
                  "", wrap(_guessed(result))]
    lines += [wrap(f"Mind: {note}") for note in result.notes]
    lines += ["", f"next: {result.next[0]}", f"then: {result.next[1]}"]
    return "\n".join(lines) + "\n"


def _guessed(result: Any) -> str:
    """What the guesses are worth, and what to do about them."""
    if result.low_tpm is None:
        found = "With these guesses no pace works: 'pace' says what would help."
    else:
        found = (f"With these guesses it works at {result.low_tpm:.0f} to {result.high_tpm:.0f} "
                 "turns/min.")
        if result.dangerous:
            found += " But it is DANGEROUS AS BUILT: 'check' says what it needs."
    return (f"{found} That is no machine of yours yet: before you build or buy, write in what you "
            "have - the motor's nameplate first, or measure it ('steadyturn bench').")
