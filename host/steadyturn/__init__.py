"""steadyturn: plan, build, run and review a hand-turned phone charger."""

__version__ = "0.1.0"
