"""Read pytest's JUnit report, print its totals, and fail unless tests ran and every one passed."""

import sys
from pathlib import Path
from xml.etree import ElementTree as ET


def main(report: Path) -> int:
    """Print `N passed, N failed, N skipped` and the names of the skipped; 0 if all of them passed, else 1."""
    cases = list(ET.parse(report).iter("testcase"))  # noqa: S314 - written by our own pytest a moment ago
    failed = [case for case in cases if case.find("failure") is not None or case.find("error") is not None]
    skipped = [case for case in cases if case.find("skipped") is not None]
    for case in skipped:
        print(f"skipped: {case.get('classname')}::{case.get('name')}")
    print(f"{len(cases) - len(failed) - len(skipped)} passed, {len(failed)} failed, {len(skipped)} skipped")
    return 0 if cases and not failed and not skipped else 1


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
