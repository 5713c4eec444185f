"""The one table of commands: it feeds help, parsing and dispatch.

Each row: stage, command name, module in this package, one line of help. A module
is imported only when its command is asked for, and holds a click command called
`command`. To add a command, add a row and a module.
"""

from __future__ import annotations

STAGES = ("Plan", "Make", "Set up", "Use", "Try")

COMMANDS: tuple[tuple[str, str, str, str], ...] = (
    ("Plan", "new", "new", "Write a rig file from at most eight questions."),
    ("Plan", "check", "check", "Check a rig file and list what is assumed in it."),
    ("Plan", "size", "size", "What can be built from what is at hand."),
    ("Plan", "pace", "pace", "The paces that work, and what limits them."),
    ("Plan", "predict", "predict", "One pace, steady or in time: volts, amps, torque, losses."),
    ("Plan", "charge", "charge", "Minutes, percent and effort for a charge."),
    ("Plan", "bench", "bench", "A motor's or the machine's constants, by meter or board."),
    ("Make", "gears", "gears", "Gear trains that mesh, bear the load, and can be printed."),
    ("Make", "wiring", "wiring", "Schematic, parts list, places and wires of the circuit."),
    ("Make", "bringup", "bringup", "A sheet to bring the machine up, with this rig's readings."),
    ("Make", "card", "card", "The card for inside the lid: lamp, pace, faults, bypass."),
    ("Set up", "flash", "flash", "Bring a board's firmware and settings up to date."),
    ("Set up", "retune", "retune", "Move everything to another motor, ratio or converter."),
    ("Set up", "calibrate", "calibrate", "Correct the board's volts and amps by a multimeter."),
    ("Set up", "ports", "ports", "The serial ports, and which are boards of ours."),
    ("Set up", "completion", "completion", "Have a shell complete commands and files."),
    ("Use", "watch", "watch", "Live view of a running board."),
    ("Use", "pull", "pull", "Copy the journal off the board into the library."),
    ("Use", "review", "review", "What was delivered, and how the pace was."),
    ("Use", "sessions", "sessions", "The outings in the library: when, and what each delivered."),
    ("Use", "export", "export", "The library as CSV or Parquet, for other programs."),
    ("Try", "demo", "demo", "The whole job without hardware."),
    ("Try", "twin", "twin", "A virtual board on a port of this machine."),
)
