"""What holds a unit over time, against the paths of hold at each moment."""

from cfgtrack.analysis.timeline import hold_spans
from cfgtrack.model.action import Action
from cfgtrack.model.time import MINUTE
from cfgtrack.network.paths import Paths
from tests.happening import happened
from tests.show.world import AT, yard

BAGS = """
[[part]]
id = "bag"
port = [{ name = "T", kind = "tether" }, { name = "L", kind = "tether" }, { name = "H", kind = "grip" }]
[[unit]]
id = "BAG-1"
part = "bag"
[[unit]]
id = "BAG-2"
part = "bag"
"""
DONE = (
    ("engage", "BAG-1:T", "BAG-2:L"),
    ("let-go", "INA:HAND", "PUMP-2:H"),
    ("grip", "INA:HAND", "BAG-2:H"),
    ("release", "BAG-1:T", "BAG-2:L"),
)


def test_a_unit_is_held_only_where_its_holds_come_to_a_place():
    """Two bags on one tether are held by nothing until a hand has one of them: as the paths of hold say, each time."""
    world = yard(BAGS)
    ahead, events, expected = world.configuration.fork(), [], []
    for number, (action, *halves) in enumerate(DONE, 1):
        at = AT + number * MINUTE
        events.append(happened(ahead, Action(f"e{number}", action, tuple(halves), at)))
        ahead.apply(events[-1])
        expected.append(not Paths(world.networks["hold"], ahead).holding("BAG-1").is_loose)
    assert expected == [False, False, True, False]
    spans = hold_spans(world.configuration, events, ["BAG-1"], AT, AT + 9 * MINUTE)
    found = [next(s.held for s in spans if s.start <= e.happened < s.end) for e in events]
    assert found == expected
