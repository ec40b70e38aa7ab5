"""Events in the words that people say them in, both ways: what the cases of the rules are written in."""

from __future__ import annotations

import shlex

from tests.rules.oracle.plant import SECOND
from tests.rules.oracle.state import Event

_JOINTS = {"place": "at", "lift": "by", "grip": "with"}


def said(event: Event) -> str:
    """Return an event in words.

    >>> said({"action": "place", "subjects": ["PUMP"], "place": "BAY", "happened": 0})
    'place PUMP at BAY'
    """
    action = event["action"].replace("let-go", "let go")
    subjects = event["subjects"]
    if event["action"] in ("begin", "end"):
        return f"{action} {event['outing']}"
    text = f"{action} {subjects[0]}"
    if len(subjects) == 2:
        text += f" {_JOINTS.get(event['action'], 'to')} {subjects[1]}"
    if "status" in event:
        text += f" {event['status']}"
    if event.get("place"):
        text += f" {_JOINTS.get(event['action'], 'at')} {event['place']}"
    for name, value in event.get("values", {}).items():
        text += f' {name}="{value}"'
    return text


def read(text: str, happened: int) -> Event:
    """Return the event that a phrase says happened at a time.

    >>> read('measure PUMP:F1 pressure="0 bar"', 7)
    {'action': 'measure', 'subjects': ['PUMP:F1'], 'happened': 7, 'values': {'pressure': '0 bar'}}
    """
    words = shlex.split(text.replace("let go", "let-go"))
    action, words = words[0], words[1:]
    event: Event = {"action": action, "subjects": [], "happened": happened}
    if action in ("begin", "end"):
        return {**event, "outing": words[0]}
    if action in ("place", "lift", "as-found") and len(words) > 2 and words[1] in ("at", "by"):
        return {**event, "subjects": [words[0]], "place": words[2]}
    values = dict(word.split("=", 1) for word in words if "=" in word)
    names = [word for word in words if "=" not in word and word not in ("to", "with", "from")]
    if action == "as-found":
        return {**event, "subjects": names[:1], "status": names[1]}
    return {**event, "subjects": names} | ({"values": values} if values else {})


def clock(text: str, start: int) -> int:
    """Return the time that hours, minutes and seconds from a start are.

    >>> clock("1:02:03.5", 0)
    3723500000
    """
    hours, minutes, *seconds = text.split(":")
    whole, _, fraction = (seconds[0] if seconds else "0").partition(".")
    total = (int(hours) * 60 + int(minutes)) * 60 + int(whole)
    return start + total * SECOND + int(fraction.ljust(6, "0")[:6])
