"""The starter set of rules: apart, for it needs nothing that other questions need."""

from dataclasses import dataclass
from importlib.resources import files
from typing import Any


@dataclass(frozen=True, slots=True)
class Starter:
    """The starter set that comes with the tool: the `text` of its file, and its `rules` as they stand there."""

    text: str

    @property
    def rules(self) -> list[dict[str, Any]]:
        """The rules, each a table of TOML."""
        import tomllib

        found: list[dict[str, Any]] = tomllib.loads(self.text)["rule"]
        return found


def starter() -> Starter:
    """Return the starter set that comes with the tool."""
    return Starter((files("cfgtrack") / "rules" / "starter.toml").read_text(encoding="utf-8"))
