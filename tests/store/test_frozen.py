"""What a migration says is never changed once it has been handed out: databases stand as it left them."""

import hashlib
from pathlib import Path

SCHEMA = Path(__file__).parents[2] / "schema"
KEPT = Path(__file__).parent / "released" / "migrations.sha256"


def test_a_migration_that_was_handed_out_stays_as_it_is() -> None:
    """Each step of the schema is byte for byte what it was: the audit compares a server's functions word by word.

    A new step adds its line (`sha256sum` in the schema's folder); what an older one got wrong a newer one mends.
    """
    kept = {name: digest for digest, name in map(str.split, KEPT.read_text().splitlines())}
    steps = (*SCHEMA.glob("versions/0*.py"), *SCHEMA.glob("postgresql/0*.sql"))
    assert {str(s.relative_to(SCHEMA)): hashlib.sha256(s.read_bytes()).hexdigest() for s in steps} == kept
