"""The plan in the record: on both databases, by several writers at once, by users of a server and their roles."""

from __future__ import annotations

import threading
from dataclasses import replace
from pathlib import Path

import pytest

from cfgtrack.answers import steps
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.plan import adopt, drop
from cfgtrack.answers.progress import progress
from cfgtrack.answers.proposing import as_run
from cfgtrack.answers.steps import Stepped, done, skip
from cfgtrack.files.definition import parse_definition
from cfgtrack.model.action import Action
from cfgtrack.model.people import Person
from cfgtrack.model.plan import body_of
from cfgtrack.model.time import parse_instant
from cfgtrack.model.trouble import Refused
from cfgtrack.store.audit import audit
from cfgtrack.store.journal import open_journal
from cfgtrack.store.security import apply, grants
from cfgtrack.store.upkeep import rebuild
from tests.store.conftest import Server
from tests.store.test_security import USER, as_user

START = parse_instant("2031-05-01T08:00:00Z")
NOW = parse_instant("2031-05-01T12:00:00Z")
DEFINITION = parse_definition(
    {
        "plant.toml": """
place = [{ id = "BAY" }]
part = [{ id = "panel", port = [{ name = "V1", kind = "valve" }, { name = "V2", kind = "valve" }] }]
unit = [{ id = "P", part = "panel" }]
"""
    }
)
PLAN = """
[[outing]]
id = "N1"
[[outing.track]]
name = "ann"
steps = [
    { id = "A1", do = "open P:V1" }, { id = "A2", do = "open P:V2" }, { id = "A3", do = "inspect P" },
    { id = "A4", do = "shut P:V1" },
]
"""


def begun(url: str, folder: Path) -> Asking:
    """Return how a question is put to a journal with a plan in force."""
    with open_journal(url, clock=lambda: START) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
    asking = Asking(url, recorder="ann", clock=lambda: NOW)
    (folder / "plan.toml").write_text(PLAN)
    adopt(replace(asking, at=START), folder / "plan.toml", event_id="first")
    return asking


def states(asking: Asking) -> list[str]:
    """Return the state of each step."""
    return [one.state for one in progress(replace(asking, clock=lambda: NOW + 1)).steps]


def expect_sound(url: str) -> None:
    """Fail unless the journal is sound, and what is derived from it is what is derived anew."""
    with open_journal(url, clock=lambda: NOW + 2) as journal:
        assert [fault.sentence for fault in audit(journal.database).faults] == []


def test_a_plan_goes_on_either_database_alike(url: str, tmp_path: Path) -> None:
    """Adopted, done, skipped, withdrawn, rebuilt, dropped: both databases say the same, and the audit finds nothing."""
    asking = begun(url, tmp_path)
    done(asking, ["A1..A2"])
    skip(asking, ["A3"], reason="dark")
    assert states(asking) == ["done", "done", "skipped", "left"]
    with open_journal(url, clock=lambda: NOW) as journal:
        journal.record([Action("W", "withdraw", (), NOW, withdraws="A2@firs", reason="no")])
    assert states(asking) == ["done", "left", "skipped", "left"]
    rebuild(url)
    assert states(asking) == ["done", "left", "skipped", "left"]
    drop(asking, reason="it rains")
    expect_sound(url)


@pytest.mark.parametrize("said", [done, None])
def test_two_writers_of_one_step_write_one_event(
    said: object, url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two consoles have seen that a step is left, and both say that it is done, or skip it: one event, no refusal."""
    asking = begun(url, tmp_path)
    both, seen = threading.Barrier(2, timeout=20), threading.local()

    def together(*given: object) -> object:
        found = as_run(*given)  # type: ignore[arg-type]
        if not getattr(seen, "once", False):
            seen.once = True
            both.wait()
        return found

    monkeypatch.setattr(steps, "as_run", together)
    answers: list[Stepped] = []
    troubles: list[BaseException] = []

    def say(number: int) -> None:
        mine = replace(asking, recorder=f"console {number}", clock=lambda: NOW + number)
        try:
            answers.append(done(mine, ["A1"]) if said is done else skip(mine, ["A1"], reason=f"{number}"))
        except BaseException as err:  # noqa: BLE001 - told below
            troubles.append(err)

    writers = [threading.Thread(target=say, args=(number,)) for number in (1, 2)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert troubles == []
    assert sorted(one.state for answer in answers for one in answer.steps) == ["already", "recorded"]
    with open_journal(url, clock=lambda: NOW + 5) as journal:
        assert len([e for e in journal.entries() if e.event.step == "A1"]) == 1
    expect_sound(url)


def test_killed_between_two_steps_of_a_range_none_is_there(
    sqlite_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A range is one transaction: what breaks off before it is kept leaves nothing, and it goes through afterwards."""
    asking = begun(sqlite_url, tmp_path)
    from cfgtrack.store.append import Appender

    write = Appender._write

    def broken(self: Appender, where: str, event: object, **more: object) -> object:
        if where == "A2":
            raise KeyboardInterrupt
        return write(self, where, event, **more)  # type: ignore[arg-type]

    with monkeypatch.context() as patch:
        patch.setattr(Appender, "_write", broken)
        with pytest.raises(KeyboardInterrupt):
            done(asking, ["A1..A3"])
    assert states(asking) == ["left"] * 4
    done(asking, ["A1..A3"])
    assert states(asking) == ["done"] * 3 + ["left"]


def _people(server: Server, url: str, roles: set[str]) -> str:
    """Let a user of the server be a person with these roles; return the URL as he opens it."""
    mine = as_user(server, url)
    people = {
        "ann": Person("ann", roles=frozenset(roles), user=USER),
        "boss": Person("boss", roles=frozenset({"administer", "define"})),
    }
    with open_journal(url, clock=lambda: START + 5) as journal:
        journal.load(replace(DEFINITION, people=people), by=None, recorder=None)
        apply(journal.database, grants(journal.database, journal.plant()).statements)
    return mine


def test_on_a_server_who_records_does_steps_and_who_defines_adopts(server: Server, tmp_path: Path) -> None:
    """A mere user does and skips steps with `record`; to adopt takes `define`, by the tool and by the server alike."""
    url = server.fresh()
    begun(url, tmp_path)
    mine = _people(server, url, {"record"})
    asking = Asking(mine, recorder="ann", clock=lambda: NOW)
    done(asking, ["A1..A2"])
    skip(asking, ["A3"], reason="dark")
    assert states(asking) == ["done", "done", "skipped", "left"]
    with pytest.raises(Refused, match="define"):
        adopt(asking, _changed(tmp_path))
    with pytest.MonkeyPatch.context() as patch:
        # Somebody goes round the tool.
        patch.setattr("cfgtrack.store.permit.may", lambda *_: None)
        with pytest.raises(Exception, match="hasn't the role define"):
            adopt(asking, _changed(tmp_path))
    expect_sound(url)


def test_on_a_server_a_user_who_defines_adopts(server: Server, tmp_path: Path) -> None:
    """Who has the role adopts the next revision and drops it; a text with another digest the server refuses."""
    url = server.fresh()
    begun(url, tmp_path)
    asking = Asking(_people(server, url, {"record", "define", "correct"}), recorder="ann", clock=lambda: NOW)
    assert adopt(asking, _changed(tmp_path)).revision.number == 2
    done(asking, ["A1"])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("cfgtrack.model.gate.fault_of_plan", lambda _: "")
        with (
            open_journal(asking.database, clock=lambda: NOW) as journal,
            pytest.raises(Exception, match="sha256"),
        ):
            journal.record(
                [Action("x", "adopt", (), NOW, recorder="ann", body={**body_of("a", "b"), "text": "c"})]
            )
    drop(asking, reason="it rains")
    expect_sound(url)


def _changed(folder: Path) -> Path:
    file = folder / "changed.toml"
    file.write_text(PLAN.replace("inspect P", "inspect P:V1"))
    return file
