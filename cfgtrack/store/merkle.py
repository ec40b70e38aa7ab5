"""The Merkle tree over the journal, and the two proofs it gives.

An inclusion proof shows that an event is in the journal that a tree head stands for; a consistency proof that
a later journal still begins with the earlier one. Both are a few hashes long, whatever the journal's size.

Source: RFC 6962 sections 2.1 to 2.1.2, with SHA-256. Hashes are 32 bytes; leaves are counted from 0. No I/O.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from hashlib import sha256

HASH_SIZE = 32
EMPTY_ROOT = sha256(b"").digest()


def leaf_hash(record: bytes) -> bytes:
    """The hash of one leaf: SHA-256 of 0x00 and the record."""
    return sha256(b"\x00" + record).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """The hash of an inner node: SHA-256 of 0x01 and the hashes of its two children."""
    return sha256(b"\x01" + left + right).digest()


class Frontier:
    """A tree that only grows, kept as the roots of its full subtrees: one for each binary 1 of its size.

    Appending costs one hash on the average and at most log2(size), as the root does.
    """

    __slots__ = ("_peaks", "_size")

    def __init__(self, leaf_hashes: Iterable[bytes] = ()) -> None:
        self._size = 0
        self._peaks: list[bytes] = []  # the largest subtree first
        for leaf in leaf_hashes:
            self.append(leaf)

    @property
    def size(self) -> int:
        """The number of leaves."""
        return self._size

    def append(self, leaf: bytes) -> None:
        """Add a leaf, given by its `leaf_hash`, on the right."""
        full = self._size
        while full & 1:  # a full subtree as large as the new one stands to its left
            leaf = node_hash(self._peaks.pop(), leaf)
            full >>= 1
        self._peaks.append(leaf)
        self._size += 1

    def root(self) -> bytes:
        """The tree head over all leaves so far."""
        if not self._peaks:
            return EMPTY_ROOT
        root = self._peaks[-1]
        for peak in self._peaks[-2::-1]:
            root = node_hash(peak, root)
        return root

    def to_bytes(self) -> bytes:
        """The whole state: the size in 8 bytes, big end first, then the subtree roots, the largest first."""
        return self._size.to_bytes(8, "big") + b"".join(self._peaks)

    @classmethod
    def from_bytes(cls, state: bytes) -> Frontier:
        """The tree whose `to_bytes` gave `state`. Raises ValueError when the length doesn't fit the size."""
        frontier = cls()
        frontier._size = int.from_bytes(state[:8], "big")
        frontier._peaks = [state[at : at + HASH_SIZE] for at in range(8, len(state), HASH_SIZE)]
        if len(state) != 8 + HASH_SIZE * frontier._size.bit_count():
            raise ValueError(f"no tree of {frontier._size} leaves has a state of {len(state)} bytes")
        return frontier


def root(leaf_hashes: Iterable[bytes]) -> bytes:
    """The tree head over a list of leaf hashes."""
    return Frontier(leaf_hashes).root()


def inclusion_proof(leaf_hashes: Sequence[bytes], index: int, size: int) -> list[bytes]:
    """The audit path of leaf `index` in the tree of the first `size` leaves, from the leaf up (2.1.1).

    Raises ValueError when there is no such leaf or tree.
    """
    _check_within(size, len(leaf_hashes))
    if not 0 <= index < size:
        raise ValueError(f"a tree of {size} leaves has no leaf {index}")
    path = []
    start, end = 0, size
    while end - start > 1:
        middle = start + _left_size(end - start)
        if index < middle:
            path.append(root(leaf_hashes[middle:end]))
            end = middle
        else:
            path.append(root(leaf_hashes[start:middle]))
            start = middle
    return path[::-1]


def verify_inclusion(leaf: bytes, index: int, size: int, proof: Sequence[bytes], head: bytes) -> bool:
    """Whether `proof` shows that the leaf hash `leaf` is leaf `index` of a tree of `size` and root `head`."""
    if not 0 <= index < size or not _are_hashes(leaf, *proof):
        return False
    sides = _sides(index, size)
    if len(proof) != len(sides):
        return False
    for sibling, is_left in zip(proof, reversed(sides), strict=True):
        leaf = node_hash(sibling, leaf) if is_left else node_hash(leaf, sibling)
    return leaf == head


def consistency_proof(leaf_hashes: Sequence[bytes], first: int, second: int) -> list[bytes]:
    """The proof that the tree of the first `second` leaves begins with that of the first `first` (2.1.2).

    Empty when `first` is 0 (every tree begins with the empty one) or the sizes are equal. Raises ValueError
    when there are no such trees.
    """
    _check_within(second, len(leaf_hashes))
    _check_within(first, second)
    if first in (0, second):
        return []
    proof = []
    start, end = 0, second
    while first != end:
        middle = start + _left_size(end - start)
        if first <= middle:
            proof.append(root(leaf_hashes[middle:end]))
            end = middle
        else:
            proof.append(root(leaf_hashes[start:middle]))
            start = middle
    if start:  # the old tree's last full subtree; from 0 on it is the old tree itself, which the verifier has
        proof.append(root(leaf_hashes[start:end]))
    return proof[::-1]


def verify_consistency(
    first: int, second: int, first_head: bytes, second_head: bytes, proof: Sequence[bytes]
) -> bool:
    """Whether `proof` shows that the tree of size `second` and root `second_head` begins with the first."""
    if not 0 <= first <= second or not _are_hashes(first_head, second_head, *proof):
        return False
    if first in (0, second):
        expected = EMPTY_ROOT if first == 0 else second_head
        return not proof and first_head == expected and (second > 0 or second_head == EMPTY_ROOT)
    sides, from_start = _sides_of_prefix(first, second)
    if len(proof) != len(sides) + (not from_start):
        return False
    old, *siblings = [first_head, *proof] if from_start else proof
    new = old
    for sibling, is_left in zip(siblings, reversed(sides), strict=True):
        if is_left:
            old, new = node_hash(sibling, old), node_hash(sibling, new)
        else:
            new = node_hash(new, sibling)
    return old == first_head and new == second_head


def _sides(index: int, size: int) -> list[bool]:
    """For each level from the root down to leaf `index`: whether its sibling there is on the left."""
    sides = []
    while size > 1:
        left = _left_size(size)
        sides.append(index >= left)
        index, size = (index - left, size - left) if index >= left else (index, left)
    return sides


def _sides_of_prefix(first: int, second: int) -> tuple[list[bool], bool]:
    """The same down to the last full subtree of the first `first` leaves, and whether it begins at leaf 0."""
    sides = []
    from_start = True
    while first != second:
        left = _left_size(second)
        beyond = first > left
        sides.append(beyond)
        first, second = (first - left, second - left) if beyond else (first, left)
        from_start = from_start and not beyond
    return sides, from_start


def _are_hashes(*values: bytes) -> bool:
    """Whether all have the length of a hash: two wrong lengths could add up to the right bytes of a node."""
    return all(len(value) == HASH_SIZE for value in values)


def _left_size(size: int) -> int:
    """The largest power of two smaller than `size`, which is at least 2: the leaves on the left."""
    return 1 << (size - 1).bit_length() - 1


def _check_within(size: int, available: int) -> None:
    if not 0 <= size <= available:
        raise ValueError(f"expected a tree of 0 to {available} leaves, found {size}")
