"""What stands in a folder is found there, so that adding a file is all that adding a mode or a condition takes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from importlib import import_module
from pkgutil import iter_modules


def classes_in(package: str, path: Iterable[str]) -> Iterator[type]:
    """Yield the classes that the modules of a package define, by the names of the modules."""
    for found in iter_modules(path):
        module = import_module(f"{package}.{found.name}")
        for one in vars(module).values():
            if isinstance(one, type) and one.__module__ == module.__name__:
                yield one
