"""Random histories: a plant, rules, a journal written in every way, a plan, and then every question about them."""

from __future__ import annotations

from random import Random
from typing import Any

from tests.corpus.deeds import GAPS, Deed, Drafter, at, draw_sequence, jsonl, phrase, said, sheet
from tests.corpus.laws import DRAWN, draw_rules, pairs_of
from tests.corpus.paper import Paper
from tests.corpus.plants import Plant, draw_plant

RULES = 10
"""So many rules has a history; one after the other they go through all pairs of a mode and a condition."""

WRITTEN: tuple[dict[str, Any], ...] = (
    {"action": "uncap", "subjects": ["PUMP-1:F9"]},
    {"action": "begin"},
    {"action": "measure", "subjects": ["PUMP-1"]},
    {"action": "remark", "subjects": ["PUMP-1"]},
    {"action": "mate", "subjects": []},
    {"action": "place", "subjects": ["PUMP-1"], "place": "NOWHERE"},
    {"action": "place", "subjects": ["RACK"], "place": "BASE"},
    {"action": "place", "subjects": ["PUMP-1", "PANEL-1"], "place": "RACK"},
    {"action": "as-found", "subjects": ["PUMP-1"]},
    {"action": "as-found", "subjects": ["BASE:V1"], "status": "mated"},
    {"action": "as-found", "subjects": ["PUMP-1"], "place": "NOWHERE"},
    {"action": "inspect", "subjects": ["PUMP-7"]},
    {"action": "demate", "subjects": ["BASE:F1", "BASE:B1"]},
)
"""Lines as another journal may have written them: what no words on the command line can say."""


def tell_history(t: Paper, number: int) -> None:
    """Draw the history of a number, and ask everything about it."""
    r = Random(number)
    plant, now = draw_plant(r)
    t("load", t.file("plant.toml", plant.text), "--by", "survey", *r.choice(((), ("--json",))))
    t("rules", "load", t.file("rules.toml", draw_rules(r, pairs_of(number, RULES))), "--by", "lead")
    writer = _Writer(r, t, Drafter(r, now))
    writer.write()
    _Asker(r, t, plant, writer).ask()


class _Writer:
    """Writes the journal of a history, in batches and one by one."""

    def __init__(self, r: Random, t: Paper, drafter: Drafter) -> None:
        self.r, self.t, self.drafter = r, t, drafter
        self.time = 0.0
        self.number = 0
        self.names: list[str] = []
        self.found: list[str] = []

    def write(self) -> None:
        r, t = self.r, self.t
        for batch in range(r.randint(1, 3)):
            rows = [self._row() for _ in range(r.randint(4, 20))]
            form = r.choice(("csv", "jsonl"))
            file = t.file(f"batch-{batch}.{form}", sheet(rows) if form == "csv" else jsonl(rows))
            t("import", file, "--rejects", t.folder / f"rejects-{batch}", *r.choice(((), ("--json",))))
        for _ in range(r.randint(3, 8)):
            self._record()
        for _ in range(r.randint(1, 3)):
            self._amend()
        if r.random() < 0.4:
            lines = [
                {"id": f"w{n}", "happened": 1_935_400_000_000_000, **line} for n, line in enumerate(WRITTEN)
            ]
            t("import", t.file("written.jsonl", jsonl(lines)), "--rejects", t.folder / "rejects", "--json")
        if r.random() < 0.5:
            self._record()

    def _next(self) -> tuple[Deed, float, str]:
        """Return an action, when it happened (a few are told late), and its id."""
        r = self.r
        deed = self.drafter.impossible() if r.random() < 0.12 else self.drafter.draw()
        deed = said(r, deed, f"W{self.drafter.outing}" if self.drafter.open else "")
        self.number += 1
        self.time += r.choice(GAPS)
        time = self.time if r.random() < 0.93 else max(0.0, self.time - r.choice((60, 120, 600)))
        name = f"E{self.number}"
        self.names.append(name)
        if deed.action == "as-found":
            self.found.append(name)
        return deed, time, name

    def _row(self) -> dict[str, str]:
        deed, time, name = self._next()
        return deed.row(at(time), name)

    def _record(self) -> None:
        deed, time, name = self._next()
        more = [f"--{key}={value}" for key, value in deed.more.items() if key in ("by", "basis")]
        if "outing" in deed.more and deed.action not in ("begin", "end"):
            more.append(f"--outing={deed.more['outing']}")
        when = ["--at", at(time)] if self.r.random() < 0.95 else []
        self.t(*self.r.choice(((), ("record",))), *deed.words(), *when, "--id", name, *more,
               *self.r.choice(((), (), ("--json",), ("--dry-run",))))  # fmt: skip

    def _amend(self) -> None:
        """Correct, withdraw, explain or approve."""
        r, t = self.r, self.t
        self.number += 1
        name, reason = f"E{self.number}", ("--reason", "it was otherwise")
        more = r.choice(((), (), ("--json",), ("--dry-run",)))
        target = r.choice(self.names)
        choice = r.randrange(5)
        if choice == 0:
            deed = self.drafter.draw()
            when = ("--at", at(max(0.0, self.time - r.choice((0, 60, 600))))) if r.random() < 0.5 else ()
            t("correct", target, *deed.words(), *reason, "--id", name, *when, *more)
        elif choice == 1:
            t("withdraw", target, *reason, "--id", name, "--at", at(self.time), *more)
        elif choice == 2:
            t(
                "explain",
                r.choice(self.found or self.names),
                *reason,
                "--id",
                name,
                "--at",
                at(self.time),
                *more,
            )
        else:
            found = t("findings", "--at", at(self.time + 60), "--json").json.get("findings", [])
            if found and choice == 3:
                finding = r.choice(found)
                to = (*finding["subjects"][: r.randint(0, 1)], "--rule", finding["rule"])
                if r.random() < 0.5:
                    to = ("--finding", r.choice(finding["fingerprints"]))
                until = ("--until", at(self.time + r.choice((1, 600)))) if r.random() < 0.5 else ()
                t("approve", *to, "--by", "lead", *reason, "--id", name, "--at",
                  at(r.choice((0, self.time + 60))), *until, *more)  # fmt: skip
                if r.random() < 0.5:
                    t("acknowledge", *finding["fingerprints"], *reason, "--at", at(self.time + 60))


class _Asker:
    """Asks about one history."""

    def __init__(self, r: Random, t: Paper, plant: Plant, writer: _Writer) -> None:
        self.r, self.t, self.plant, self.writer = r, t, plant, writer

    def ask(self) -> None:
        r, t, writer = self.r, self.t, self.writer
        things = [*r.sample(self.plant.units, 2), r.choice(list(self.plant.ports)), r.choice(self.plant.nodes),
                  r.choice(("BASE", "ANN", "RACK", "SITE"))]  # fmt: skip
        late = at(writer.time + 7200)
        self._past(things)
        for words in (("state",), ("history",), ("review",), ("findings",), ("findings", "--at", late),
                      ("remarks", "PUMP-1"), ("diff", at(0)), ("rules", "list"), ("audit",)):  # fmt: skip
            _count(t, t.both(*words).json)
        for thing in things:
            self._either("state", thing)
            self._either("history", thing)
        self._either("history", "--from", at(60), "--to", at(writer.time / 2))
        self._either("plant")
        t.both("can", things[0])
        self._either("can", things[2])
        self._plans()
        self._rules()
        self._either("prove", r.choice(writer.names))
        for form in (("csv", "archive"), ("jsonl", "ocel"))[r.randrange(2)]:
            t("export", "--form", form)
        t(
            "draw",
            *r.choice((("--unit", things[0]), ("--medium", "fluid"), ("--loop", "A"), ("--places",), ())),
        )

    def _either(self, *words: object) -> None:
        """Ask for the text or for the JSON."""
        self.t(*words, *self.r.choice(((), ("--json",))))

    def _past(self, things: list[str]) -> None:
        """Ask at past times, as known at past times."""
        r = self.r
        for _ in range(2):
            known = f"2031-05-05T09:00:{r.randrange(3, 16):02}Z"
            moment = ("--at", at(self.writer.time * r.random()), *r.choice(((), ("--known-at", known))))
            self._either("state", r.choice(things), *moment)
            self._either("state", *moment)
            _count(self.t, self.t.both("findings", *moment).json)
            self._either("review", *moment)
            self._either("history", r.choice(things), "--known-at", known)

    def _plans(self) -> None:
        r, t = self.r, self.t
        later = at(self.writer.time + 600)
        plan = t.file("plan.toml", draw_sequence(r, self.writer.drafter.now.copy(), later))
        _count(t, t.both("check", plan, "--at", at(self.writer.time)).json)
        self._either("check", plan, "--steps", "--at", at(self.writer.time * r.random()))
        drafter = Drafter(r, self.writer.drafter.now.copy())
        for deed in (drafter.draw(), drafter.draw(), drafter.impossible(), drafter.impossible()):
            _count(t, t("check", "--do", phrase(deed), "--json", "--at", at(self.writer.time)).json)
            self._either("check", "--do", phrase(deed))

    def _rules(self) -> None:
        r, t = self.r, self.t
        first = r.randrange(len(DRAWN))
        other = t.file("other.toml", draw_rules(r, [DRAWN[(first + n) % len(DRAWN)] for n in range(3)]))
        _count(t, t("rules", "try", other, "--json").json)
        t("rules", "load", other, "--dry-run")
        names = [row["id"] for row in t("rules", "list", "--json").json.get("rules", [])]
        for name in r.sample(names, min(3, len(names))):
            self._either("rules", "explain", name)


def _count(t: Paper, answer: dict[str, Any]) -> None:
    """Count what an answer shows: breaches by mode and condition, reasons of impossible steps, clocks, cures."""
    judged = answer.get("check", answer)
    for finding in [
        f for name in ("findings", "new", "open", "past", "excused") for f in judged.get(name, [])
    ]:
        mode, _, condition = finding["rule"].partition(".")
        if condition:
            t.tally[f"breach {mode}.{condition.rpartition('.')[0]}"] += 1
        else:
            t.tally[f"seen {finding['rule']}"] += 1
        t.tally["seen findings with a cure"] += bool(finding["cures"])
        t.tally["seen findings excused"] += finding in judged.get("excused", [])
        for reason in finding.get("reasons", []):
            t.tally[f"reason {reason.get('code', '')}"] += 1
    t.tally["seen clocks"] += len(judged.get("clocks", []))
    t.tally["seen discrepancies"] += len(answer.get("discrepancies", []))
