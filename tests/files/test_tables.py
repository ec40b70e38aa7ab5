"""Tables: columns that are mapped, what they make, and what is told of those that are wrong."""

import pytest

from cfgtrack.files.definition import parse_definition
from cfgtrack.model.trouble import BadInput
from tests.files.malformed import MALFORMED, PARTS


def told_of(text, sheets):
    """What is told of a definition that is wrong."""
    with pytest.raises(BadInput) as caught:
        parse_definition({"x.toml": text}, sheets=sheets)
    return caught.value.problems


@pytest.mark.parametrize("name", MALFORMED)
def test_a_malformed_sheet_is_refused_with_everything_that_is_wrong(name):
    """Each error is told with file, sheet, row and column, and what was expected; all at once, and nothing else."""
    sheet = MALFORMED[name]
    text = f'{PARTS}[[table]]\nfile = "{sheet.file}"\n{sheet.mapping}'
    found = told_of(text, {sheet.file: sheet.content})
    joined = " " if sheet.told[0][0].startswith("row") else ""
    assert [(p.where, p.code) for p in found] == [
        (f"{sheet.file}{joined}{where}", code) for where, code, _ in sheet.told
    ]
    for problem, (_, _, words) in zip(found, sheet.told, strict=True):
        assert words in problem.sentence
