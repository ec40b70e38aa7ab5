"""The console at which somebody sits: what it remembers of journals, and the keys that its user signs with.

Every journal is held against the largest tree that this console has seen of it, whenever it is opened for anything: so
a copy put back, a lost tail of the log and a forged chain are found by the next person, whoever that is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from cfgtrack.files.heads import Memory, Remembered, Unreadable, change_memory, keep_in_memory, read_memory
from cfgtrack.files.keys import KeyFile, damaged_in, keys_in, signer_of
from cfgtrack.model.plant import Plant
from cfgtrack.model.signature import Signer
from cfgtrack.model.time import format_instant
from cfgtrack.model.trouble import BadInput, NoAnswer, Problem, Refused
from cfgtrack.store.database import place_of
from cfgtrack.store.growth import CUT, REWRITTEN, Tree, fault_of_growth, present_tree
from cfgtrack.store.journal import Journal
from cfgtrack.store.signing import identity

ANOTHER, EMPTIED = "another-journal", "emptied"

_MEANT = "if it was meant (a backup was restored), say so: `cfgtrack head forget --reason TEXT`"
_UNTIL_THEN = "until then nothing is recorded from here"


@dataclass(frozen=True, slots=True)
class Beware:
    """Why a journal isn't what this console has seen of it: a stable word, what is wrong, and what to do."""

    code: str
    sentence: str
    todo: str

    def __str__(self) -> str:
        return f"BEWARE: {self.code}: {self.sentence}; {self.todo}"


@dataclass(frozen=True, slots=True)
class Forgotten:
    """What a console has forgotten: of how many journals, and the size of the largest tree of them."""

    database: str
    journals: int
    size: int
    reason: str


@dataclass(slots=True)
class Console:
    """Where a console keeps what it remembers (`heads`, a file) and its user's `keys` (a folder).

    `found` is what somebody must be told whatever the answer is, `notes` what is to be told beside it.
    """

    heads: Path
    keys: Path
    found: list[Beware] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    # --- heads ----------------------------------------------------------------------------------------------

    def look(self, journal: Journal, *, writing: bool = False, making: bool = False) -> None:
        """Hold a journal that was just opened against what was seen of it, and remember what is new.

        Refused where it isn't what it was and is opened for `writing`. `making`: it may be made anew, if it is empty.
        """
        place = place_of(journal.database)
        with self._memory_in_need():
            # First what is remembered, then what there is: else what another process records between the two is missed.
            memory = read_memory(self.heads)
            try:
                name, now = identity(journal.database), present_tree(journal.database)
            except NoAnswer as err:
                if writing:
                    raise
                # Whoever asks is told, and an audit says more.
                self.notes.append(f"note: heads: not looked at: {err.problems[0].sentence}")
                return
            if making and name is None and place in memory.places:
                old = memory.journals.get(memory.places[place])
                size = 0 if old is None else old.size
                self.notes.append(f"note: another journal stood here, of {size} events; a new one is begun")
                change_memory(self.heads, lambda m: _leave(m, place))
                return
            wrong = _wrong(memory, place, name, now, journal)
            if wrong is None:
                if name is not None and _is_new(memory, place, name, now):
                    keep_in_memory(self.heads, place, name, Remembered(*now))
            elif writing:
                raise Refused(Problem(place, wrong.code, f"{wrong.sentence}; {wrong.todo}; {_UNTIL_THEN}"))
            elif wrong not in self.found:
                self.found.append(wrong)

    def forget(self, journal: Journal, reason: str, when: int) -> Forgotten:
        """Forget what was seen of a journal, and of what stood in its place; remember it as it is now."""
        place, now = place_of(journal.database), present_tree(journal.database)
        name = identity(journal.database)
        gone: dict[str, Remembered] = {}

        def change(memory: Memory) -> None:
            for one in {memory.places.pop(place, None), name} - {None}:
                if one in memory.journals:
                    gone[str(one)] = memory.journals.pop(str(one))
            for one, seen in gone.items():
                root = _tree(seen).root.hex()
                told = {"at": place, "journal": one, "size": seen.size, "root": root}
                memory.forgotten.append({**told, "reason": reason, "when": format_instant(when)})
            if name is not None:
                memory.keep(place, name, Remembered(*now))

        change_memory(self.heads, change, anew=True)
        return Forgotten(place, len(gone), max((one.size for one in gone.values()), default=0), reason)

    @contextmanager
    def _memory_in_need(self) -> Iterator[None]:
        """Say what keeps this console from remembering; nobody is kept from his work by it."""
        try:
            yield
        except Unreadable:
            todo = "ask others whether the head is theirs, then `cfgtrack head forget --reason TEXT`"
            self._find("memory-damaged", f"what this console remembers can't be read ({self.heads})", todo)
        except OSError as err:
            todo = "keep the head elsewhere (`cfgtrack head`)"
            said = f"this console can't remember tree heads in {self.heads}: {err.strerror}"
            self.notes.append(f"note: heads: {said}; {todo}")

    def _find(self, code: str, sentence: str, todo: str) -> None:
        found = Beware(code, sentence, todo)
        if found not in self.found:
            self.found.append(found)

    # --- keys -----------------------------------------------------------------------------------------------

    def signer(self, plant_of: Callable[[], Plant], wanted: str | None) -> Signer | None:
        """Return who signs here: whom `wanted` names, else the only one whose key is here and in the plant.

        BadInput where the one who is wanted has no key here that the plant knows.
        """
        kept, damaged = keys_in(self.keys), damaged_in(self.keys)
        for person, file in damaged:
            if wanted == person and all(one.person != person for one in kept):
                raise BadInput(Problem(file, "damaged-key", f"{person} can't sign with this: {_NEW_KEY}"))
        if not kept and not wanted:
            self.notes += [
                f"note: not signed: the key in {file} is damaged: {_NEW_KEY}" for _, file in damaged
            ]
            return None
        plant = plant_of()
        known = [one for one in kept if _is_known(plant, one)]
        if wanted:
            mine = [one for one in known if one.person == wanted]
            if not mine:
                here = any(one.person == wanted for one in kept)
                why = "the plant doesn't know the key that is here" if here else f"no key is in {self.keys}"
                raise BadInput(
                    Problem("--sign", "no-key", f"{wanted} can't sign: {why} (`cfgtrack key new {wanted}`)")
                )
            return signer_of(mine[0])
        if len(known) > 1:
            names = ", ".join(one.person for one in known)
            self.notes.append(f"note: not signed: the keys of {names} are here, say whose with --sign NAME")
            return None
        return signer_of(known[0]) if known else None


_NEW_KEY = "make a new one (`cfgtrack key new`), and have it loaded by somebody who can sign"


def _is_known(plant: Plant, kept: KeyFile) -> bool:
    person = plant.people.get(kept.person)
    return person is not None and person.key == kept.key


def _tree(seen: Remembered) -> Tree:
    return Tree(seen.size, seen.frontier, seen.known)


def _leave(memory: Memory, place: str) -> None:
    memory.places.pop(place, None)


def _is_new(memory: Memory, place: str, name: str, now: Tree) -> bool:
    seen = memory.journals.get(name)
    return seen is None or seen.size < now.size or memory.places.get(place) != name


def _wrong(memory: Memory, place: str, name: str | None, now: Tree, journal: Journal) -> Beware | None:
    """Return why a journal isn't what was seen of it, None where it only grew, or was never seen."""
    before = memory.places.get(place)
    if before is not None and before != name:
        seen = memory.journals.get(before)
        size = 0 if seen is None else seen.size
        if name is None:
            return Beware(
                EMPTIED, f"this journal is empty, and this console has seen {size} events of it", _MEANT
            )
        sentence = f"this is another journal than the one of {size} events that this console has seen here"
        return Beware(ANOTHER, sentence, f"has somebody forged it? {_MEANT}")
    seen = None if name is None else memory.journals.get(name)
    if seen is None:
        return None
    code = fault_of_growth(journal.database, _tree(seen), now)
    since = f"{seen.size} events of this journal, the last known at {format_instant(seen.known)}"
    if code == CUT:
        lost = seen.size - now.size
        gone = f"this console has seen {since}; " + (
            "the last one is gone" if lost == 1 else f"the last {lost} are gone"
        )
        return Beware(
            CUT, gone, f"look for a newer copy, ask others for their head (`cfgtrack head`); {_MEANT}"
        )
    if code == REWRITTEN:
        sentence = f"this console has seen {since}; those that are here now are not the same"
        return Beware(REWRITTEN, sentence, f"somebody changed them, or went on from an older copy: {_MEANT}")
    return None
