"""`curehold alarms` against a running daemon: what stands, what people say, the journal."""

import json
import signal
from pathlib import Path

import pytest

from daemon import cli
from tests.e2e.test_stops import STAY, alarms_of, wait_for
from tests.e2e.workshop import opened

PINS = "release.pins_under_pressure"


NARROW = 40  # columns


def test_an_upset_is_answered_and_told_in_order(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", str(NARROW))
    config = ["--config", str(tmp_path / "shop.toml")]

    def said(*words: str) -> tuple[int, str]:
        code = cli.main(["alarms", *config, *words])
        return code, capsys.readouterr().out

    def listed(*words: str) -> list[dict[str, object]]:
        return [json.loads(line) for line in said("--json", *words)[1].splitlines()]

    fault = ("--fault", "pins_pulled@heat_up+60", *STAY)
    with opened(tmp_path, "whole_cure", *fault) as workshop:
        workshop.configure()
        with workshop.supervised() as daemon:
            wait_for(daemon, seen=lambda: (PINS, "trip") in alarms_of(workshop), workshop=workshop)
            code, out = said()
            assert code == 1
            assert max(map(len, out.splitlines())) <= NARROW
            assert f"TRIP {PINS}" in out
            assert "NOBODY HAS SEEN IT" in out
            assert said("going", "bay-2", PINS, "--who", "Ada")[0] == 0
            _, out = said()
            assert "Ada is going" in " ".join(out.split())
            code, out = said("quiet", "bay-2", PINS, "--minutes", "5", "--why", "busy")
            assert (code, "stand clear is silenced only" in out) == (1, True)
            out_of = ("out-of-service", "bay-2", "pad.mismatch")
            code, out = said(*out_of, "--why", "lead on order", "--hours", "24")
            assert code == 0, out
            assert said(*out_of, "--why", "again")[0] == 1
            assert [body["tag"] for body in listed() if body["list"] != "standing"] == [
                "pad.mismatch"
            ]
            assert said("in-service", "bay-2", "pad.mismatch")[0] == 0
            assert said("note", "bay-2", "pins were pulled by a visitor")[0] == 0
            state = workshop.status()
            assert state["permit"] == "latched", "nothing said over the socket ends a trip"
            daemon.send_signal(signal.SIGTERM)
            assert daemon.wait(30) == 0, workshop.log()
        code, out = said()
        assert (code, out) == (3, ""), "no daemon, no list"
        code, told = said("journal", "--around", PINS)
        assert code == 0
        assert max(map(len, told.splitlines())) <= NARROW
        flat = " ".join(told.split())
        for words in (
            f"TRIP {PINS}",
            "HEAT latched",
            "Ada by socket: going",
            "quiet REFUSED",
            '"lead on order"',
            '"pins were pulled by a visitor"',
            "In short, bay-2, after the first alarm:",
            ", Ada",
        ):
            assert words in flat, words
        assert flat.index(f"TRIP {PINS}") < flat.index("Ada by socket: going")
        people = listed("journal", "--only", "people", "--run", "1")
        verbs = [body["verb"] for body in people if body["event"] == "command"]
        assert verbs == ["going", "quiet", "out_of_service", "out_of_service", "in_service", "note"]
