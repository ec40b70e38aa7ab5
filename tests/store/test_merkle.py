"""The tree over the journal: what holds for every size."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.store import merkle
from cfgtrack.store.merkle import Frontier

LEAVES = [merkle.leaf_hash(str(number).encode()) for number in range(70)]
sizes = st.integers(0, len(LEAVES))


def _defined_root(leaves):
    """RFC 6962 section 2.1, as it is written there: split at the largest power of two smaller than n."""
    if not leaves:
        return merkle.EMPTY_ROOT
    if len(leaves) == 1:
        return leaves[0]
    left = 1
    while left * 2 < len(leaves):
        left *= 2
    return merkle.node_hash(_defined_root(leaves[:left]), _defined_root(leaves[left:]))


@pytest.mark.parametrize("size", range(len(LEAVES) + 1))
def test_root(size):
    """Appending leaf by leaf gives the root of the recursive definition."""
    frontier = Frontier(LEAVES[:size])
    assert frontier.size == size
    assert frontier.root() == merkle.root(LEAVES[:size]) == _defined_root(LEAVES[:size])


@given(sizes, sizes)
def test_state_is_the_whole_tree(size, more):
    """A tree restored from its state grows as the tree itself would."""
    restored = Frontier.from_bytes(Frontier(LEAVES[:size]).to_bytes())
    for leaf in LEAVES[size : size + more]:
        restored.append(leaf)
    assert restored.to_bytes() == Frontier(LEAVES[: size + more]).to_bytes()


@pytest.mark.parametrize(
    "state", [b"", b"\x00", bytes(40), bytes(7) + b"\x01", bytes(7) + b"\x03" + bytes(63)]
)
def test_state_of_wrong_length(state):
    """A state whose length doesn't fit its size is refused."""
    with pytest.raises(ValueError, match="no tree of"):
        Frontier.from_bytes(state)


def test_every_inclusion_proof_of_small_trees():
    """Each leaf of each tree up to 20 leaves has a proof that fits this leaf in this place and no other."""
    for size in range(1, 21):
        head = merkle.root(LEAVES[:size])
        for index in range(size):
            proof = merkle.inclusion_proof(LEAVES, index, size)
            fitting = [
                (leaf, place)
                for leaf in range(21)
                for place in range(-1, 22)
                if merkle.verify_inclusion(LEAVES[leaf], place, size, proof, head)
            ]
            assert fitting == [(index, index)]


def test_every_consistency_proof_of_small_trees():
    """Each pair of trees up to 20 leaves has a proof, which fits no tree with another first root."""
    for second in range(21):
        for first in range(second + 1):
            proof = merkle.consistency_proof(LEAVES, first, second)
            old, new = merkle.root(LEAVES[:first]), merkle.root(LEAVES[:second])
            assert merkle.verify_consistency(first, second, old, new, proof)
            wrong = merkle.root(LEAVES[20 : 20 + max(first, 1)])
            assert not merkle.verify_consistency(first, second, wrong, new, proof)
            if first not in (0, second):
                assert not merkle.verify_consistency(first, second, old, wrong, proof)


@given(st.data())
def test_a_changed_leaf_breaks_consistency(data):
    """When an old leaf is changed, no later tree is consistent with the head that was noted before."""
    second = data.draw(st.integers(1, len(LEAVES)))
    first = data.draw(st.integers(1, second))
    changed = list(LEAVES)
    changed[data.draw(st.integers(0, first - 1))] = merkle.leaf_hash(b"changed")
    proof = merkle.consistency_proof(changed, first, second)
    assert not merkle.verify_consistency(
        first, second, merkle.root(LEAVES[:first]), merkle.root(changed[:second]), proof
    )


@given(st.data())
def test_damaged_proofs(data):
    """A proof with one byte changed, one hash more, one less or two swapped lengths proves nothing."""
    second = data.draw(st.integers(2, len(LEAVES)))
    first = data.draw(st.integers(1, second - 1))
    index = data.draw(st.integers(0, second - 1))
    old, new = merkle.root(LEAVES[:first]), merkle.root(LEAVES[:second])
    damage = data.draw(st.sampled_from([_flip, _lengthen, _shorten, _shift]))
    inclusion = damage(merkle.inclusion_proof(LEAVES, index, second), data.draw)
    consistency = damage(merkle.consistency_proof(LEAVES, first, second), data.draw)
    assert not merkle.verify_inclusion(LEAVES[index], index, second, inclusion, new)
    assert not merkle.verify_consistency(first, second, old, new, consistency)


def _flip(proof, draw):
    place = draw(st.integers(0, len(proof) - 1))
    byte = draw(st.integers(0, merkle.HASH_SIZE - 1))
    proof[place] = proof[place][:byte] + bytes([proof[place][byte] ^ 1]) + proof[place][byte + 1 :]
    return proof


def _lengthen(proof, draw):
    proof.insert(draw(st.integers(0, len(proof))), draw(st.sampled_from(LEAVES)))
    return proof


def _shorten(proof, draw):
    del proof[draw(st.integers(0, len(proof) - 1))]
    return proof


def _shift(proof, draw):
    place = draw(st.integers(0, len(proof) - 1))
    proof[place] += b"\x00"
    return proof


def test_a_byte_moved_from_one_hash_to_the_next():
    """Hashes of the wrong length prove nothing, even where they add up to the right bytes of a node."""
    one, two = LEAVES[:2]
    head = merkle.root([one, two])
    assert merkle.verify_inclusion(one, 0, 2, [two], head)
    assert not merkle.verify_inclusion(one[:-1], 0, 2, [one[-1:] + two], head)
    assert merkle.verify_consistency(1, 2, one, head, [two])
    assert not merkle.verify_consistency(1, 2, one[:-1], head, [one[-1:] + two])


@pytest.mark.parametrize(
    ("first", "second", "old", "new", "proof"),
    [
        (2, 1, merkle.root(LEAVES[:2]), LEAVES[0], []),
        (-1, 1, merkle.EMPTY_ROOT, LEAVES[0], []),
        (0, 0, merkle.EMPTY_ROOT, LEAVES[0], []),
        (0, 1, merkle.EMPTY_ROOT, LEAVES[0], [LEAVES[1]]),
        (1, 1, LEAVES[0], LEAVES[0], [LEAVES[0]]),
        (1, 1, LEAVES[0], LEAVES[1], []),
        (3, 4, merkle.root(LEAVES[:3]), merkle.root(LEAVES[:4]), []),
    ],
)
def test_no_consistency(first, second, old, new, proof):
    """Sizes in the wrong order, a false empty tree and a proof where none is needed are all refused."""
    assert not merkle.verify_consistency(first, second, old, new, proof)


@pytest.mark.parametrize(("index", "size"), [(0, 0), (3, 3), (-1, 3), (0, 71), (0, -1)])
def test_no_such_leaf(index, size):
    """A proof for a leaf or a tree that isn't there is refused."""
    with pytest.raises(ValueError, match="leaves"):
        merkle.inclusion_proof(LEAVES, index, size)


@pytest.mark.parametrize(("first", "second"), [(2, 1), (-1, 1), (1, 71)])
def test_no_such_trees(first, second):
    """A consistency proof between trees that aren't there is refused."""
    with pytest.raises(ValueError, match="leaves"):
        merkle.consistency_proof(LEAVES, first, second)
