"""What is told of a problem, in one word, so that a table of bad input can say what each line of it earns."""

import re

_WANTED = re.compile(r"(?:there is no|is an? [a-z ]+, not a|has no) (mobile place|[a-z]+)")


def code_of(problem):
    """The code of a problem; of a name that isn't known, `unknown-` and the first sort of thing that was wanted."""
    if problem.code != "unknown":
        return problem.code
    found = _WANTED.search(problem.sentence)
    assert found is not None, problem
    return f"unknown-{found[1]}"
