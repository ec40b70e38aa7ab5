"""Where a plant has sites, as a user meets it: who could do it, who must be named, who was found elsewhere."""

from __future__ import annotations

import pytest

from tests.cli.asked import WORKING
from tests.cli.conftest import Command
from tests.model.test_presence import WORLD


@pytest.fixture
def works(empty: Command) -> Command:
    """Give the command on a plant with sites."""
    empty.ok("load", empty.file("works.toml", WORLD))
    empty.ok("rules", "load", empty.file("rules.toml", WORKING))
    return empty


def test_a_single_action_is_proposed_by_somebody(works: Command) -> None:
    """Without a doer, or with one who is no person or machine, a proposed action says nothing: say who."""
    nobody = works("check", "--do", "open X:V")
    assert (nobody.status, nobody.out) == (2, "")
    assert "--do: missing: say by whom, as in ANN: this plant has sites" in nobody.err
    place = works("check", "--do", "open X:V by BAY")
    assert place.status == 2
    assert "BAY is a place, not a person or machine; there are ANN, BAG, CRANE, DAN" in place.err
    away = works("check", "--do", "open Y:V by ANN")
    assert away.status == 3
    assert "ANN is at BAY; Y:V is at STORE" in away.out
    assert works("check", "--do", "remark Y dusty").status == 0
    for lifted in ("lift X by ANN", "lift X by CRANE by ANN", "place X at STORE by ANN"):
        said = works("check", "--do", lifted)
        assert (said.status in (0, 3), said.err) == (True, "")


def test_can_tells_who_could(works: Command) -> None:
    """What may be done is listed with those who are there; nobody there, or not who is asked for, is said."""
    assert "open X:V  ANN, CRANE, DAN" in works.ok("can", "X:V")
    asked = works("can", "Y:F", "--by", "ANN")
    assert (asked.status, asked.err.strip()) == (0, "note: Y:F is at STORE; ANN is at BAY")
    assert works("can", "Y:F").err.strip() == "note: Y:F is at STORE, and nobody is there"
    unknown = works("can", "X:V", "--by", "ENN")
    assert unknown.status == 4
    assert "there is no person or machine ENN; known: ANN, BAG, CRANE, DAN" in unknown.err


def test_a_record_tells_who_was_found_elsewhere(works: Command) -> None:
    """What somebody did elsewhere than the record had him is recorded, and open until it is explained."""
    done = works.ok("open", "Y:V", "--by", "ANN", "--id", "E1", "--at", "2031-05-01T08:00:00Z")
    assert "DISCREPANCY the record said ANN at BAY; it stays open until it is explained:" in done
    open_ones = works.ok("findings")
    assert "1 open discrepancy" in open_ones
    assert "ANN at STORE: open Y:V" in open_ones
    assert "ANN  E1" in open_ones
    works.ok("explain", "E1", "--reason", "went over the yard")
    assert "No open discrepancies" in works.ok("findings")


@pytest.mark.parametrize(
    ("by", "told"), [((), "nobody says who did it"), (("--by", "night shift"), "night shift is no person")]
)
def test_of_whom_nobody_knows_presence_is_not_judged(works: Command, by: tuple[str, ...], told: str) -> None:
    """A record without a doer of the plant says that nobody's presence was judged, and an import of how many."""
    answer = works("open", "Y:V", *by)
    assert answer.status == 0
    assert answer.err.startswith(f"note: {told}")
    assert works("remark", "Y", "dusty", *by).err == ""
    rows = (
        "at,action,subject,by\n2031-05-01T08:00:00Z,inspect,Y,Ms Smith\n2031-05-01T08:01:00Z,inspect,X,ANN\n"
    )
    fed = works("import", "-", stdin=rows)
    assert (fed.status, fed.err) == (
        0,
        "note: of 1 of them nobody of the plant is said to have done it: presence isn't judged\n",
    )


def test_nothing_of_it_is_told_without_sites(empty: Command) -> None:
    """A plant without sites names nobody and misses nobody."""
    empty.ok(
        "load",
        empty.file(
            "works.toml",
            WORLD.replace("site = true\n", "").replace(', site = "STORE"', "").replace(', site = "BAY"', ""),
        ),
    )
    empty.ok("rules", "load", empty.file("rules.toml", WORKING))
    assert empty("open", "Y:V").err == ""
    assert empty("check", "--do", "cap Y:F by ENN").status == 0
    assert "by" not in empty.ok("can", "X:F").splitlines()[3]


def test_a_lock_box_does_nothing_by_itself(works: Command) -> None:
    """A record said to be a lock box's doing says how to tell who did it; said so, there is nothing to note."""
    works.ok("load", works.file("keys.toml", '[[place]]\nid = "KEYS"\nlock_box = true\n'))
    boxed = works("record", "lock", "X:V", "--by", "KEYS", "--at", LATER)
    assert boxed.status == 0
    told = "KEYS is a lock box, and somebody does it, so whether he was there isn't judged"
    assert boxed.err.strip() == f"note: {told} (lock X:V with KEYS --by NAME)"
    works.ok("withdraw", boxed.out.split()[1].rstrip(":"), "--reason", "said otherwise")
    said = works("record", "lock", "X:V", "with", "KEYS", "--by", "ANN", "--at", LATER)
    assert (said.status, said.err) == (0, "")
    assert "KEYS" in works.ok("state", "X:V")


LATER = "2031-05-01T08:50:00Z"
