"""Each hazard tag and each promise of docs/promises.md has a test that proves it."""

import re
from pathlib import Path

import pytest

from rules.hazards import BY_TAG
from tests.proofs import PROVED, unmatched

ROOT = Path(__file__).parents[2]
PROMISE = re.compile(r"^- `([^`]+)`", re.MULTILINE)


def test_every_claim_is_proved_and_every_proof_is_of_a_claim(request):
    proved = request.config.stash[PROVED]
    if proved is None:
        pytest.skip("only some tests were asked for; run them all to compare")
    promises = set(PROMISE.findall((ROOT / "docs" / "promises.md").read_text()))
    complaints = unmatched(set(BY_TAG), promises, proved)
    assert not complaints, "\n" + "\n".join(complaints)


def test_what_does_not_match_is_told():
    told = unmatched({"bag.burst", "bag.low"}, {"heat off first"}, {"bag.low", "bag.brust"})
    assert told == [
        "no test is marked proves('bag.burst')",
        "no test is marked proves('heat off first')",
        "proves('bag.brust') is no hazard tag and is not in docs/promises.md",
    ]
    assert unmatched({"bag.low"}, {"heat off first"}, {"bag.low", "heat off first"}) == []
