"""Compare a text with the file that holds it as a person has read it. CFGTRACK_GOLDEN=write writes the files anew."""

import os
from pathlib import Path

_FOLDER = Path(__file__).parent / "golden"


def assert_golden(name: str, text: str) -> None:
    """Fail when `text` is not what the golden file says."""
    path = _FOLDER / name
    if os.environ.get("CFGTRACK_GOLDEN") == "write":
        path.write_text(f"{text.rstrip()}\n", encoding="utf-8")
    assert f"{text.rstrip()}\n" == path.read_text(encoding="utf-8")
