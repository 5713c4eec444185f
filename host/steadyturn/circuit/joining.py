"""How the motors of a bank are joined, as pairs of ends and in words.

One designator (M1) stands for all motors of a rig in the parts table; what that leaves open is
said here, once, for schematic, tables, parts list and bring-up.
"""

from __future__ import annotations

from steadyturn.rig.parts_source import Bank
from steadyturn.rig.types import Rig

NTH = {1: "1st", 2: "2nd", 3: "3rd"}


def nth(number: int) -> str:
    """
    >>> nth(2), nth(11)
    ('2nd', '11th')
    """
    return NTH.get(number, f"{number}th")


def ends(bank: Bank, front: str, back: str) -> list[tuple[str, str]]:
    """(lead of a motor, what it goes to) for every lead of one row: plus of the 1st to `front`,
    minus of each to the plus of the next, minus of the last to `back`.

    >>> ends(Bank(series=2), "T1", "ground")
    [('plus of the 1st', 'T1'), ('minus of the 1st', 'plus of the 2nd'), \
('minus of the 2nd', 'ground')]
    """
    if bank.series == 1:
        return [("plus", front), ("minus", back)]
    if bank.series > 3:
        return [("plus of the 1st", front), ("minus of each", "plus of the next"),
                (f"minus of the {nth(bank.series)}", back)]
    inner = [(f"minus of the {nth(i)}", f"plus of the {nth(i + 1)}")
             for i in range(1, bank.series)]
    return [("plus of the 1st", front), *inner, (f"minus of the {nth(bank.series)}", back)]


def count_words(bank: Bank) -> str:
    """In few letters, "" for a single motor.

    >>> count_words(Bank(series=2)), count_words(Bank(parallel=3))
    ('2 in series', '3 side by side')
    >>> count_words(Bank(series=2, parallel=3))
    '3 rows side by side, each of 2 in series'
    """
    if bank.parallel == 1:
        return f"{bank.series} in series" if bank.series > 1 else ""
    if bank.series == 1:
        return f"{bank.parallel} side by side"
    return f"{bank.parallel} rows side by side, each of {bank.series} in series"


def own_diodes(bank: Bank) -> bool:
    """Has each of several rows a rectifier of its own?"""
    return bank.parallel > 1 and bank.diode_each


def rig_words(rig: Rig) -> str:
    """`words` of a rig. T1: the terminal of the net `motor`; T2, behind a bridge: the one of
    `motor_back`; rows with rectifiers of their own end at those."""
    bridge = rig.rectifier.kind == "bridge"
    front, back = "T1", "T2" if bridge else "ground"
    if own_diodes(rig.bank):
        front = "one ~ of its D1" if bridge else "the anode of its D1"
        back = "the other ~" if bridge else back
    return words(rig.bank, front, back)


def words(bank: Bank, front: str, back: str) -> str:
    """In whole, "" for a single motor. front, back: what a row's ends go to.

    >>> words(Bank(series=2), "T1", "ground")
    '2 in series: plus of the 1st to T1, minus of the 1st to plus of the 2nd, minus of the 2nd \
to ground'
    >>> words(Bank(parallel=2, diode_each=True), "D1", "ground")
    '2 side by side: of each motor plus to D1, minus to ground; each has a D1 of its own, and \
only behind the D1s they join'
    """
    count = count_words(bank)
    if not count:
        return ""
    pairs = ", ".join(f"{lead} to {goes}" for lead, goes in ends(bank, front, back))
    if bank.parallel == 1:
        return f"{count}: {pairs}"
    own = ("; each has a D1 of its own, and only behind the D1s they join"
           if own_diodes(bank) else "; plus to plus, minus to minus")
    return f"{count}: {'of each motor' if bank.series == 1 else 'in each row'} {pairs}{own}"
