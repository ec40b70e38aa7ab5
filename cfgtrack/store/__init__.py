"""The record: the journal, its proofs, the state cache. The only part that knows SQL."""
