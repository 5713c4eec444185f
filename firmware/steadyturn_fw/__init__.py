"""steadyturn's firmware: one import name on the board, on the host and in tests."""

VERSION = "0.1.0"
