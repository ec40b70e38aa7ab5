"""Where the folders stand that are no code but that the package needs: `schema` and `shared`."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path


def top_folder(name: str) -> Path:
    """Return a folder of the checkout's top level: inside an installed wheel as ``_name``, else beside the package."""
    package = Path(str(files("cfgtrack")))
    installed = package / f"_{name}"
    return installed if installed.is_dir() else package.parent / name
