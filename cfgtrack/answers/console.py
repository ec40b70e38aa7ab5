"""The console at which somebody sits: what it remembers of journals, and the keys that its user signs with.

Every journal is held against the largest tree that this console has seen in its place, whenever it is opened for
anything: so a copy put back, a lost tail of the log and a forged chain are found by the next person, whoever that is.
In a place that is new it is held against the largest that was seen anywhere.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

from cfgtrack.files.heads import Memory, Remembered, Unreadable, change_memory, keep_in_memory, read_memory
from cfgtrack.files.keys import KeyFile, damaged_in, keys_in, signer_of
from cfgtrack.files.seen_plan import keep_seen_plan, seen_plan
from cfgtrack.model.plant import Plant
from cfgtrack.model.signature import Signer
from cfgtrack.model.time import format_instant
from cfgtrack.model.trouble import BadInput, NoAnswer, Problem, Refused, Trouble, counted
from cfgtrack.store.database import Database, place_of
from cfgtrack.store.growth import CUT, REWRITTEN, Tree, fault_of_growth, present_tree
from cfgtrack.store.journal import Journal
from cfgtrack.store.signing import identity

ANOTHER, EMPTIED, DAMAGED = "another-journal", "emptied", "memory-damaged"

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
    _looked: tuple[str, str | None, Tree] | None = None

    # --- the plan -------------------------------------------------------------------------------------------

    @property
    def _plans(self) -> Path:
        return self.heads.with_name("plans.json")

    def plan_seen(self, journal: Journal) -> str | None:
        """Return the event that adopted the revision which was seen here last, None where nobody knows."""
        return seen_plan(self._plans, place_of(journal.database))

    def saw_plan(self, journal: Journal, event: str) -> None:
        """Remember the revision that is shown here now, by the event that adopted it."""
        keep_seen_plan(self._plans, place_of(journal.database), event)

    # --- heads ----------------------------------------------------------------------------------------------

    def look(self, journal: Journal, *, writing: bool = False, making: bool = False) -> None:
        """Hold a journal that was just opened against what was seen of it, and remember what is new.

        Refused where it isn't what it was and is opened for `writing`. `making`: it may be made anew, if it is empty.
        """
        place = place_of(journal.database)
        with self._memory_in_need(writing=writing):
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
            self._looked = place, name, now
            if making and name is None and place in memory.places:
                stood = memory.places[place]
                old = stood.seen or memory.journals.get(stood.journal)
                events = counted(0 if old is None else old.size, "event")
                self.notes.append(f"note: another journal stood here, of {events}; a new one is begun")
                change_memory(self.heads, lambda m: _leave(m, place))
                return
            found = held(
                memory, place, name, lambda seen: fault_of_growth(journal.database, _tree(seen), now)
            )
            if found.elsewhere and (note := _went_on(found, now)) not in self.notes:
                self.notes.append(note)
            if not found.code:
                if name is not None and _is_new(memory, place, name, now):
                    keep_in_memory(self.heads, place, name, Remembered(*now))
                return
            wrong = _beware(found, place, now)
            if writing:
                raise Refused(Problem(place, wrong.code, f"{wrong.sentence}; {wrong.todo}; {_UNTIL_THEN}"))
            if wrong not in self.found:
                self.found.append(wrong)

    def keep(self, journal: Journal) -> None:
        """Remember what a journal has become since the `look` when it was opened: here it only grew."""
        with self._memory_in_need(writing=False):
            became = place_of(journal.database), identity(journal.database), present_tree(journal.database)
            place, name, now = became
            if name is not None and became != self._looked:
                keep_in_memory(self.heads, place, name, Remembered(*now))

    def forget(self, journal: Journal, reason: str, when: int) -> Forgotten:
        """Forget what was seen of a journal, and of what stood in its place; remember it as it is now."""
        place, now = place_of(journal.database), present_tree(journal.database)
        name = identity(journal.database)
        gone: dict[str, Remembered] = {}

        def change(memory: Memory) -> None:
            stood = memory.places.pop(place, None)
            if stood is not None and stood.seen is not None:
                gone[stood.journal] = stood.seen
            for one in {name, None if stood is None else stood.journal} - {None}:
                seen = memory.journals.pop(str(one), None)
                if seen is not None and (one not in gone or gone[str(one)].size < seen.size):
                    gone[str(one)] = seen
            for one, seen in gone.items():
                root = _tree(seen).root.hex()
                told = {"at": place, "journal": one, "size": seen.size, "root": root}
                memory.forgotten.append({**told, "reason": reason, "when": format_instant(when)})
            if name is not None:
                memory.keep(place, name, Remembered(*now))

        change_memory(self.heads, change, anew=True)
        return Forgotten(place, len(gone), max((one.size for one in gone.values()), default=0), reason)

    @contextmanager
    def _memory_in_need(self, *, writing: bool) -> Iterator[None]:
        """Say what keeps this console from remembering. Where what it remembered is damaged, nothing is recorded."""
        try:
            yield
        except Unreadable:
            todo = "ask others whether the head is theirs, then `cfgtrack head forget --reason TEXT`"
            sentence = f"what this console remembers can't be read ({self.heads})"
            if writing:
                raise Refused(Problem("heads", DAMAGED, f"{sentence}; {todo}; {_UNTIL_THEN}")) from None
            self._find(DAMAGED, sentence, todo)
        except OSError as err:
            todo = "keep the head elsewhere (`cfgtrack head`)"
            said = f"this console can't remember tree heads in {self.heads}: {err.strerror}"
            self.notes.append(f"note: heads: {said}; {todo}")

    def _find(self, code: str, sentence: str, todo: str) -> None:
        found = Beware(code, sentence, todo)
        if found not in self.found:
            self.found.append(found)

    @property
    def doubted(self) -> list[Beware]:
        """What is wrong with the journal by what this console remembers of it."""
        return [one for one in self.found if one.code != DAMAGED]

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
    seen, stood = memory.journals.get(name), memory.places.get(place)
    here = None if stood is None or stood.journal != name else stood.seen
    return seen is None or seen.size < now.size or here is None or here.size < now.size


@dataclass(frozen=True, slots=True)
class Held:
    """What comes of holding a journal against what was `seen`: `code`, "" where it only grew.

    `elsewhere`: the same code for what was seen of it in another place, and this place never had.
    """

    code: str = ""
    seen: Remembered | None = None
    elsewhere: str = ""


def held(memory: Memory, place: str, name: str | None, fault: Callable[[Remembered], str]) -> Held:
    """Hold the journal that stands in a place against what is remembered; `fault` says how it continues a tree.

    A place that was seen has lost nothing as long as it continues what was seen there, whatever a copy of it went on to
    elsewhere. One that never was is held against the largest tree that was seen anywhere.
    """
    stood = memory.places.get(place)
    if stood is not None and stood.journal != name:
        seen = stood.seen or memory.journals.get(stood.journal)
        return Held(EMPTIED if name is None else ANOTHER, seen)
    largest = None if name is None else memory.journals.get(name)
    here = largest if stood is None or stood.seen is None else stood.seen
    if here is None or largest is None:
        return Held()
    if code := fault(here):
        return Held(code, here)
    went_on = "" if largest.at == place else fault(largest)
    return Held(seen=largest, elsewhere=went_on) if went_on else Held()


def _beware(found: Held, place: str, now: Tree) -> Beware:
    """Return what somebody must be told of a journal that isn't what was seen."""
    size = 0 if found.seen is None else found.seen.size
    if found.code == EMPTIED:
        sentence = f"this journal is empty, and this console has seen {counted(size, 'event')} of it"
        return Beware(EMPTIED, sentence, _MEANT)
    if found.code == ANOTHER or found.seen is None:
        events = counted(size, "event")
        sentence = f"this is another journal than the one of {events} that this console has seen here"
        return Beware(ANOTHER, sentence, f"has somebody forged it? {_MEANT}")
    there = "" if found.seen.at in ("", place) else f" in {found.seen.at}"
    known = format_instant(found.seen.known)
    since = (
        f"this console has seen {counted(size, 'event')} of this journal{there}, the last known at {known}"
    )
    if found.code == CUT:
        lost = size - now.size
        gone = "the last one is " if lost == 1 else f"the last {lost} are "
        gone += "not here" if there else "gone"
        look = f"see whether that one is meant ({found.seen.at})" if there else "look for a newer copy"
        return Beware(
            CUT, f"{since}; {gone}", f"{look}, ask others for their head (`cfgtrack head`); {_MEANT}"
        )
    sentence = f"{since}; those that are here now are not the same"
    return Beware(REWRITTEN, sentence, f"somebody changed them, or went on from an older copy: {_MEANT}")


def _went_on(found: Held, now: Tree) -> str:
    """Return the note that a copy of this journal went on elsewhere, and whether it is a fork."""
    seen = found.seen
    assert seen is not None
    is_fork = found.elsewhere == REWRITTEN or _continues(seen.at, now) is False
    what = (
        "a fork of this one: each has events that the other lacks"
        if is_fork
        else "a copy that went on by itself"
    )
    where = seen.at or "another place"
    there = f"{counted(seen.size, 'event')} of this journal were seen in {where}, here are {now.size}"
    meant = "if that was an exercise, say so: `cfgtrack head forget --reason TEXT`"
    return f"note: heads: {there}: that is {what}; be sure which of the two is the record; {meant}"


def _continues(file: str, now: Tree) -> bool | None:
    """Return whether what is in a file by now continues a tree; None where nobody can tell."""
    if not file or not Path(file).is_file():
        return None
    try:
        other = Database(file, read_only=True)
    except (Trouble, OSError):
        return None
    with closing(other), suppress(Trouble, OSError, *other.errors):
        return not fault_of_growth(other, now, present_tree(other))
    return None
