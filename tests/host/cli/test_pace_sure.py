"""`pace --sure` as a person and a script meet it."""

from __future__ import annotations

import functools
import json

import pytest
from steadyturn.cli.main import code
from steadyturn.jobs import pace as job
from steadyturn.report.objects import to_json
from steadyturn.report.pace import text
from steadyturn.rig.examples import example_path
from test_pace_predict import run


@functools.cache
def found(rig: str, percent: float):
    return job.pace(example_path(rig), sure=percent)


@pytest.fixture
def pace(monkeypatch, capsys):
    """The command's exit code and text, its job done once for all tests."""
    def command(rig: str, percent: float) -> tuple[int, str]:
        result = found(rig, percent)
        monkeypatch.setattr(job, "pace", lambda *_args, **_more: result)
        return code(["pace", rig, "--sure", str(percent)]), capsys.readouterr().out
    return command


def test_json() -> None:
    sure = json.loads(to_json(found("lakeside-hut", 95)))["sure"]
    assert sure.keys() == {
        "share", "builds", "low_tpm", "high_tpm", "works_share", "best_tpm", "best_share",
        "low_error_tpm", "high_error_tpm", "works_error", "best_error", "ranking", "fan"}
    assert sure["share"] == 0.95
    assert sure["builds"] == 8192
    assert sure["low_tpm"] < sure["best_tpm"] < sure["high_tpm"]
    shares = [one["width_share"] for one in sure["ranking"]]
    assert shares == sorted(shares, reverse=True)
    assert sure["fan"].keys() == {"pace_tpm", "works_share", "quantiles_percent", "bus_v"}
    assert len(sure["fan"]["bus_v"]) == 5


def test_text_and_exit_code(pace) -> None:
    status, out = pace("lakeside-hut", 95)
    sure = found("lakeside-hut", 95).sure
    assert status == 0
    assert f"How sure: {sure.low_tpm:.0f}-{sure.high_tpm:.0f} turns/min" in out
    assert "8192" in out
    assert sure.ranking[0].key in out
    assert max(len(line) for line in out.splitlines() if not line.startswith("next:")) <= 80
    assert "nan" not in out


def test_where_no_pace_works_for_so_many(pace) -> None:
    status, out = pace("radio-tent", 99.9)
    assert status == 1
    assert "no pace works for 99.9 %" in out
    ranking = found("radio-tent", 99.9).sure.ranking
    assert ranking[0].sure_gain > 0
    first = found("radio-tent", 99.9).measure
    assert out.count("\nmeasure ") == 1
    assert f"\nmeasure {first.key}:" in out
    assert f"next: measure {first.key}, write it into radio-tent, then" in out
    shares = {one.key: one.works_share for one in ranking}
    assert shares[first.key] >= max(shares.values()) / 3


def test_where_none_works_at_all(pace) -> None:
    status, out = pace("toy-motor", 50)
    assert status == 1
    assert "the machine has to change" in " ".join(out.split())


def test_not_asked_for() -> None:
    result = job.pace_of(job.read_rig(example_path("dangerous-barn")), "barn.toml")
    assert result.sure is None
    assert "How sure" not in text(result)


@pytest.mark.parametrize("percent", ["49.9", "100", "nan", "inf", "-5", "most"])
def test_wrong_percent(percent) -> None:
    status, out, err = run("pace", "lakeside-hut", f"--sure={percent}")
    assert status == 2
    assert not out
    assert "sure" in err
    assert "Traceback" not in err


def test_broken_off(monkeypatch, capsys) -> None:
    def stop(*_args, **_more):
        raise KeyboardInterrupt

    monkeypatch.setattr(job, "sure_band", stop)
    assert code(["pace", "toy-motor", "--sure", "95"]) == 1
    assert "stopped by you" in capsys.readouterr().err
