"""What becomes of an action in a test's world: the event that it is, or why it can't be."""

from cfgtrack.model.action import Action
from cfgtrack.model.configuration import View
from cfgtrack.model.event import Event
from cfgtrack.model.possibility import Impossible, Refusal, resolve


def happened(view: View, action: Action) -> Event:
    """Return the event that an action is where the hardware is now. It must be possible."""
    outcome = resolve(view, action)
    assert isinstance(outcome, Event), outcome.refusals
    return outcome


def refused(view: View, action: Action) -> tuple[Refusal, ...]:
    """Return why an action is impossible where the hardware is now, nothing if it is possible."""
    outcome = resolve(view, action)
    return outcome.refusals if isinstance(outcome, Impossible) else ()
