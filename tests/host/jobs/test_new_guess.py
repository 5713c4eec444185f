"""What `new` supposes where nobody answers."""

import re
from pathlib import Path

from steadyturn.jobs.check import check
from steadyturn.jobs.hazards import hazards_of
from steadyturn.jobs.new import new_rig
from steadyturn.jobs.retune_parts import find
from steadyturn.jobs.retune_text import Wanted, changed_text
from steadyturn.model.band import find_band
from steadyturn.report.new import text as new_text
from steadyturn.rig.file import read_rig, read_rig_text


def test_what_nobody_answers_is_a_machine_that_works_and_readmes_next_steps_do(tmp_path):
    """The README from `new` on, with Enter to all: its retune has a band too."""
    path = tmp_path / "my.toml"
    result = new_rig(path, {})
    assert result.high_tpm - result.low_tpm > 12
    assert not result.dangerous
    assert check(path).safe
    assert check(path).given_count == 0
    assert "works at" in new_text(result)
    assert "no machine of yours yet" in " ".join(new_text(result).split())
    readme = (Path(__file__).parents[3] / "README.md").read_text(encoding="utf-8")
    line = next(one for one in readme.splitlines() if "retune my.toml --motor" in one)
    motor, series, ratio = re.search(
        r'--motor "(.+)" --series (\d+) --ratio (\S+)', line).groups()
    rig = read_rig_text(changed_text(path.read_text(), read_rig(path), Wanted(
        find("motor", motor, None), None, int(series), None, ratio), "2026-03-01", "x"), "x")
    band = find_band(rig, deep=False)
    assert band.feasible
    assert not any(h.refuses for h in hazards_of(rig, band))
    # an answer is kept, and where nothing works with it that is said
    result = new_rig(path, {"motors": "1", "converter": "boost"}, force=True)
    assert read_rig(path).bank.series == 1
    assert result.low_tpm is None
    assert "no pace works" in new_text(result)
