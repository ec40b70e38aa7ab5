"""The starter set of rules: apart, for it needs nothing that other questions need."""

from importlib.resources import files


def starter() -> str:
    """Return the text of the starter set that comes with the tool."""
    return (files("cfgtrack") / "rules" / "starter.toml").read_text(encoding="utf-8")
