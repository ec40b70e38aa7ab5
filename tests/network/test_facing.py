"""What of two mated halves meets what, and what is told where their contacts don't belong together."""

from __future__ import annotations

import pytest

from cfgtrack.files.definition import parse_definition
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.network.facing import faced_by, mismatches
from tests.happening import happened

PLANT = """
[[part]]
id = "cord"
flexible = true
port = [
  { name = "A", kind = "electrical-connector", contacts = ["1", "2"], contact = [{ name = "D", medium = "data" }] },
  { name = "B", kind = "electrical-connector", contacts = ["1", "2"], contact = [{ name = "D", medium = "data" }] },
]
[[part]]
id = "odd"
port = [
  { name = "P", kind = "electrical-connector", contacts = ["2"], contact = [{ name = "1", medium = "data" }] },
]
[[part]]
id = "plain"
port = [{ name = "P", kind = "electrical-connector" }]
[[unit]]
id = "C"
part = "cord"
[[unit]]
id = "C2"
part = "cord"
[[unit]]
id = "O"
part = "odd"
[[unit]]
id = "N"
part = "plain"
[[unit]]
id = "M"
part = "plain"
"""


def plant() -> Configuration:
    """Return cords with contacts, a plug whose contacts are others, and plugs without any."""
    return Configuration(parse_definition({"f.toml": PLANT}).plant())


@pytest.mark.parametrize(
    ("pair", "met"),
    [
        (("C:A", "C2:B"), {"C:A": ["C2:B"], "C:A:1": ["C2:B:1"], "C:A:D": ["C2:B:D"], "C:B:1": []}),
        (("C:A", "O:P"), {"C:A:1": [], "C:A:2": ["O:P:2"], "C:A:D": [], "O:P:1": [], "O:P:2": ["C:A:2"]}),
        (("C:A", "N:P"), {"C:A": ["N:P"], "C:A:1": ["N:P"], "C:A:D": [], "N:P": ["C:A:1", "C:A:2"]}),
    ],
)
def test_what_a_contact_meets(pair: tuple[str, str], met: dict[str, list[str]]) -> None:
    """A contact meets that of its name if it is of its medium, or a port without any; such a port all of its medium."""
    now = plant()
    assert not any(faced_by(now, end) for end in met)
    now.apply(happened(now, Action("e", "mate", pair, 1)))
    assert {end: faced_by(now, end) for end in met} == met


def test_who_joins_what_does_not_belong_together_is_told() -> None:
    """Whoever mates halves is told which of their contacts face none or another medium, once, and not when parting."""
    now = plant()
    mate = happened(now, Action("e", "mate", ("O:P", "C:A"), 1))
    (told,) = mismatches(now, mate)
    assert told.startswith("the contacts of ")
    assert "O:P has no contact D" in told
    assert "contact 1 is" in told
    now.apply(mate)
    assert list(mismatches(now, mate)) == []
    assert list(mismatches(now, happened(now, Action("f", "demate", ("O:P", "C:A"), 2)))) == []
    (plain,) = mismatches(now, happened(now, Action("g", "mate", ("C:B", "N:P"), 3)))
    assert plain.endswith("N:P names no contacts, and C:B has contacts 1, 2, D")
    assert list(mismatches(now, happened(now, Action("h", "mate", ("C:B", "C2:A"), 4)))) == []


def test_what_is_found_joined_is_told() -> None:
    """Found mated is joined, too."""
    now = plant()
    found = happened(now, Action("e", "as-found", ("O:P", "C:A"), 1, status="mated"))
    assert len(list(mismatches(now, found))) == 1
