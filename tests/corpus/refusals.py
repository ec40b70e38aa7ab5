"""Bad input: names that nothing has, command lines that say too little or too much, files spoilt in every line."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from random import Random

from tests.corpus.deeds import draw_sequence
from tests.corpus.laws import CONDITIONS, MODES, Author
from tests.corpus.paper import CHECKOUT, Paper
from tests.corpus.plants import draw_plant

CLI = CHECKOUT / "tests" / "cli"
AT = ("--at", "2031-05-01T10:00:00Z")
WHY = ("--reason", "x")

THINGS = (
    "BOX-9",
    "BOX-1:X",
    "BOX-1:VOLL",
    "BOX1",
    "SHELFS",
    "box",
    "boxx",
    "WALL:",
    ":F",
    "",
    "a b",
    "fluid",
    "é",
    "W",
)
TAKE_A_THING = (("state",), ("history",), ("remarks",), ("can",), ("draw", "--unit"), ("inspect",), ("open",), ("cap",),
                ("mate",), ("lift",), ("remark",), ("measure",), ("approve", "--rule", "dead", "--by", "x", *WHY),
                ("torque",), ("mate", "BOX-2:F"), ("place", "BOX-2", "at"), ("place",), ("as-found",),
                ("as-found", "BOX-2", "at"), ("as-found", "BOX-2:F"), ("begin",), ("end",), ("push",), ("weld",),
                ("check", "--do"), ("energise",), ("demate", "BOX-1:F", "from"), ("place", "BOX-2", "at", "WALL",
                "facing"), ("draw", "--loop"), ("draw", "--medium"), ("rules", "explain"), ("rules", "show"),
                ("rules", "drop"), ("prove",), ("withdraw", *WHY), ("explain", *WHY), ("diff",), ("state", "--at"),
                ("findings", "--known-at"), ("review", "--at"), ("history", "--from"), ("export", "--known-at"),
                ("can", "BOX-1", "--at"), ("state", "--outing", "W9", "--at"), ("audit", "--kept"), ("verify",),
                ("approve", "--by", "x", *WHY, "--rule"), ("approve", "--by", "x", *WHY, "--finding"),
                ("reference",), ("reference", "thread"), ("reference", "fluid"), ("completion",), ("export", "--form"),
                ("draw", "--form"), ("cap", "BOX-2:F", "--supersedes"), ("load",), ("rules", "load"), ("rules", "try"),
                ("import",), ("restore",), ("check",), ("migrate",), ("cap", "BOX-2:F", "--basis"),
                ("correct", "E1", *WHY), ("correct", *WHY, "cap", "BOX-2:F"), ("measure", "BOX-2", "--value"),
                ("--wait",), ("draw", "--hops"))  # fmt: skip
"""Commands that end where a name, a time or a file is wanted."""

VALUES = ("voltage=1", "voltage=1 kg", "volts=1 V", "voltage=", "voltage=nan V", "voltage=1e999 V", "torque=25 Nm",
          "torque=25 J", "temperature=-300 degC", "temperature=20 C", "pressure=3 dB", "level=110 %", "x", "=1",
          "volume=-1 l", "voltage=1 V voltage=2 V", "count=1.5", "turns=1/2", "mass=1_000 kg",
          "time=5 min")  # fmt: skip
TIMES = ("noon", "2031-05-01", "10:00", "+00:10", "2031-05-01T10:00:00", "2031-02-30T10:00:00Z", "1500-01-01T00:00:00Z",
         "2300-01-01T00:00:00Z", "2031-05-01T10:00:00.0000001Z", "2031-05-01T24:00:00Z", "2031-05-01T10:00:60Z",
         "2031-05-01T10:00:00+25:00", "2031-05-01 10:00:00Z", "2031-05-01t10:00:00z",
         "٢٠٣١-05-01T10:00:00Z")  # fmt: skip
LINES: tuple[tuple[str, ...], ...] = (
    (), ("nonsense",), ("state", "--no-such"), ("--json",), ("rules",), ("rules", "nonsense"), ("--help",),
    ("--version",), ("state", "--help"), ("record",), ("check",), ("check", "x.toml", "--do", "cap X"),
    ("draw", "--places", "--loop", "A"), ("draw", "--places", "-o", "x.gif"), ("draw", "--json", "--form", "png"),
    ("export", "-o", "x.xls"), ("export", "--form", "archive", "--in-effect"), ("prove", "E1", "--kept", "1 a 2"),
    ("approve", "--rule", "dead", "--finding", "x", "--by", "x", *WHY), ("approve", "--rule", "dead", *WHY),
    ("approve", "--rule", "dead", "--by", "x", *WHY, "--from", AT[1], "--until", AT[1]),
    ("approve", "--finding", "", "--by", "x", *WHY), ("approve", "--finding", "x", "--by", "x", *WHY, *AT),
    ("acknowledge", *WHY), ("acknowledge", "", *WHY), ("acknowledge", "x", *WHY, *AT),
    ("approve", "--rule", "possible", "--do", "lift WALL", "--by", "x", *WHY, *AT),
    ("withdraw", "E1"), ("withdraw", "E1", *WHY, *AT), ("withdraw", "E1", *WHY, *AT), ("explain", "E2", *WHY, *AT),
    ("correct", "E1", "cap", "BOX-2:F", *WHY), ("cap", "BOX-2:F", "--id", "E2", *AT), ("cap", "BOX-2:F", "--id", ""),
    ("uncap", "BOX-2:F", "--supersedes", "E2", *AT), ("check", "--do", "cap 'BOX-2:F"), ("check", "--do", "remark"),
    ("check", "--do", "withdraw E1"), ("check", "--do", "begin W1"), ("begin", "W1", "--outing", "W2", *AT),
    ("remark", "BOX-1", "x", "--value", "mass=1kg", *AT), ("remark", "BOX-1", *AT), ("measure", "BOX-1", *AT),
    ("place", "BOX-2", "at", "SHELF", "facing", "up", *AT), ("place", "BOX-2", "BOX-1", "at", "SHELF", *AT),
    ("cap", "BOX-2:F", "BOX-1:F", "BOX-1:R", *AT), ("cap", "BOX-2:F", "at", "SHELF", *AT), ("lift", "BOX-2", *AT),
    ("cap", "BOX-2:F", "by=ann", "--by", "ben", *AT), ("as-found", "BOX-2:F", "mated", *AT),
    ("as-found", "BOX-2:F", "capped", "at", "SHELF", *AT), ("cap", "BOX-2:F", "outing=W1", "outing=W2", *AT),
    ("rules", "load", "r.toml", "r.toml"), ("load", "plant.db"), ("import", "plant.db"), ("restore", "plant.db"),
    ("backup", "plant.db"), ("export", "-o", "plant.db"), ("draw", "-o", "plant.db", "--form", "svg"),
    ("export", "-o", "plant.db/x.csv"), ("draw", "-o", "none/a.svg"), ("import", "rows.csv", "--rejects", "rows.csv"),
    ("state", "--db", "none.db"), ("state", "--db", "shop.toml"), ("state", "--db", "mysql://x/y"),
    ("audit", "--db", ""),
    ("reference", "thread", "M16", "--torque", "200 N*m"), ("reference", "thread", "M16", "--preload", "1 V"),
    ("reference", "fluid", "water", "--warmed", "900 K"), ("reference", "fluid", "water", "--rise", "1 N"),
    ("reference", "thread", "M16", "--warmed", "5 K"), ("import", "-"), ("diff",), ("diff", AT[1], "noon"),
    ("findings", "--at", "1990-01-01T00:00:00Z"), ("state", "--known-at", "1990-01-01T00:00:00Z"),
)  # fmt: skip
"""Command lines, each wrong in its own way; a few that are not."""


def _shop(t: Paper) -> None:
    t("load", CLI / "shop.toml", "--by", "survey")
    rules = (CLI / "shop-rules.toml").read_text(encoding="utf-8")
    own = re.sub(r'\[\[rule\]\]\nid = "may-crash".*?\n\n', "", rules, flags=re.DOTALL)
    t("rules", "load", t.file("shop-rules.toml", own))
    t("cap", "BOX-2:F", "--at", "2031-05-01T09:00:00Z", "--id", "E1")
    t("uncap", "BOX-2:F", "--at", "2031-05-01T09:30:00Z", "--id", "E2")


def names(t: Paper) -> None:
    """Give every command a name that nothing has."""
    t("state", "BOX-1")
    _shop(t)
    for words in TAKE_A_THING:
        dated = (
            words[0]
            not in (
                "diff",
                "reference",
                "completion",
                "verify",
                "load",
                "import",
                "restore",
                "prove",
                "rules",
                "history",
                "audit",
                "export",
                "migrate",
                "--wait",
            )
            and "--at" not in words
        )
        for thing in THINGS:
            t(*words, thing, *(AT if dated and "--known-at" not in words else ()))


def lines(t: Paper) -> None:
    """Say too little, too much, or nonsense."""
    _shop(t)
    t.file("rows.csv", "at,action,subject\n")
    for words in LINES:
        t(*words)
        t(*words, "--json")
    for time in TIMES:
        for line in (
            ("state", "--at", time),
            ("cap", "BOX-2:R", "--at", time),
            ("diff", time),
            ("cap", "BOX-2:R", "--outing", "W9", "--at", time),
            ("history", "--to", time),
            ("state", "--known-at", time),
        ):
            t(*line)  # fmt: skip
    for value in VALUES:
        t("measure", "BOX-2", value, *AT)
        t("check", "--do", f"measure BOX-2 {value}")
        t("import", "-", "--dry-run", stdin=f"at,action,subject,values\n{AT[1]},measure,BOX-2,{value}\n")


def tested(t: Paper) -> None:
    """What tests/cli/test_bad_input.py holds to be refused."""
    from tests.cli import test_bad_input, world

    for name, text in (("plant", world.PLANT), ("rules", world.RULES), ("good", world.GOOD)):
        t.file(f"{name}.toml", text)
    t("load", "plant.toml")
    t("rules", "load", "rules.toml")
    t("cap", "HALL:P2", "--at", "2031-05-01T09:00:00Z", "--id", "E1")
    t("uncap", "HALL:P2", "--at", "2031-05-01T09:30:00Z", "--id", "E2")
    for name, case in test_bad_input.CASES.items():
        t.note(name)
        for file, text in case.files:
            t.file(file, text.encode("latin-1"))
        t(*[word.replace("{folder}/", "") for word in case.words])


# --- files that are spoilt in one place ---------------------------------------------------------------------------

_NAME = re.compile(r"""(?:^|[{,]) *"?([a-z_]+)"? = """, re.MULTILINE)
_VALUE = re.compile(r"""(?<= )("[^"\n]*"|-?\d+(?:\.\d+)?|true|false)(?=[,\s\]}])""")
_SPOILT = (
    '"zzz"',
    "77",
    "-1",
    "true",
    "[]",
    '""',
    '["zzz"]',
    "{ zzz = 1 }",
    "2031-05-01T00:00:00Z",
    '"é x"',
    "1.5",
)


def spoilt(text: str, r: Random, most: int) -> Iterator[tuple[str, str]]:
    """Yield a TOML text with one of its fields called otherwise, left out, or of another value; and what was done."""
    found = []
    for match in _NAME.finditer(text):
        found.append((match.start(1), match.end(1), f"{match[1]}x"))
        found.append((match.start(1), match.end(1), r.choice(("id", "title", "kind", "zzz"))))
    for match in _VALUE.finditer(text):
        found += [(match.start(1), match.end(1), other) for other in r.sample(_SPOILT, 2)]
    for start, end, other in sorted(r.sample(found, min(most, len(found)))):
        line = text.count("\n", 0, start) + 1
        yield f"line {line}: {text[start:end]} is now {other}", text[:start] + other + text[end:]
    for _ in range(most // 20):
        start = r.randrange(len(text))
        yield f"cut off at {start}", text[:start]


def _try_all(t: Paper, file: str, text: str, most: int, *words: str) -> None:
    t.file(file, text)
    t(*words)
    for told, other in spoilt(text, Random(file), most):
        t.note(told)
        (t.folder / file).write_text(other, encoding="utf-8")
        t(*words)


def definitions(t: Paper) -> None:
    """Load hardware definitions that are spoilt in one place."""
    _try_all(
        t, "shop.toml", (CLI / "shop.toml").read_text(encoding="utf-8"), 400, "load", "shop.toml", "--dry-run"
    )
    for seed in range(2):
        plant, _ = draw_plant(Random(seed))
        _try_all(t, f"drawn-{seed}.toml", plant.text, 200, "load", f"drawn-{seed}.toml", "--dry-run")


def rules(t: Paper) -> None:
    """Load rules that are spoilt in one place."""
    _shop(t)
    text = (t.folder / "shop-rules.toml").read_text(encoding="utf-8")
    _try_all(t, "shop-rules.toml", text, 250, "rules", "load", "shop-rules.toml", "--dry-run")
    plant, _ = draw_plant(Random(1))
    t.db = "drawn.db"
    t("load", t.file("drawn.toml", plant.text))
    r = Random(1)
    author = Author(r)
    text = "".join(author.rule(n, r.choice(MODES), CONDITIONS[n % len(CONDITIONS)]) + "\n" for n in range(40))
    for file, head in (("empty.toml", "may_be_empty = true\n"), ("full.toml", "")):
        _try_all(t, file, head + text, 350, "rules", "load", file, "--dry-run")


def plans(t: Paper) -> None:
    """Check sequences that are spoilt in one place."""
    plant, now = draw_plant(Random(2))
    t("load", t.file("drawn.toml", plant.text))
    t("rules", "load", t.file("starter.toml", t("rules", "starter").out))
    for seed in range(3):
        plan = draw_sequence(Random(seed), now.copy(), "2031-05-01T12:00:00Z")
        _try_all(t, f"plan-{seed}.toml", plan, 80, "check", f"plan-{seed}.toml")


ROWS = (
    "at,action,subject,subject2,place,facing,status,by,basis,values,voltage,remark,outing\n"
    "{at},mate,BOX-2:R,WALL:R,,,,ann,reported,,,,\n"
    "{at},measure,BOX-1,,,,,ann,,pressure=1bar,1 V,,W1\n"
    '{at},remark,BOX-1,,,,,,,,,"a long, long remark",\n'
    "{at},place,BOX-2,,WALL,up,,,,,,,\n"
    "{at},as-found,WALL:F3,,,,capped,,,,,,\n"
)


def rows(t: Paper) -> None:
    """Import rows that are spoilt in one cell, as CSV and as JSON Lines."""
    _shop(t)
    r = Random(0)
    whole = ROWS.replace("{at}", AT[1])
    cells = [match.span() for match in re.finditer(r"[^,\n]*", whole)]
    for start, end in cells:
        for other in r.sample(
            ("zzz", "", '"', "a,b", "BOX-9:F", "\0", "mate", "noon", "é", "1", "W1", "x\ny"), 2
        ):
            text = whole[:start] + other + whole[end:]
            t("import", "-", "--dry-run", stdin=text)
            t("import", "-", "--json", "--dry-run", "--rejects", "rejects", stdin=text)
    line = (
        f'{{"id": "L1", "at": "{AT[1]}", "action": "measure", "subject": "BOX-1", "values": "voltage=1V"}}\n'
    )
    written = t("export").out.splitlines()[-1] + "\n"
    for form in (line, written):
        for match in re.finditer(r'"[^"]*"|\d+|[{}:,]', form):
            for other in r.sample(
                ('"zzz"', "7", "null", "[]", "{}", "", "1e999", '"\\ud800"', "-1", "true"), 2
            ):
                text = form[: match.start()] + other + form[match.end() :]
                t("import", "-", "--form", "jsonl", "--dry-run", "--rejects", "rejects", stdin=text)


PLACES_OF_REFUSAL: dict[str, Callable[[Paper], None]] = {
    one.__name__: one for one in (names, lines, tested, definitions, rules, plans, rows)
}
