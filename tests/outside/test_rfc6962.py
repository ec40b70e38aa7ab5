"""The Merkle tree against RFC 6962, RFC 9162 and another library."""

import hashlib

import pymerkle
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.store import merkle

# The leaves that the reference implementation of RFC 6962 is tested with.
LEAVES = [
    bytes.fromhex(leaf)
    for leaf in (
        "",
        "00",
        "10",
        "2021",
        "3031",
        "40414243",
        "5051525354555657",
        "606162636465666768696a6b6c6d6e6f",
    )
]
HASHES = [merkle.leaf_hash(leaf) for leaf in LEAVES]
journals = st.lists(st.binary(max_size=40), min_size=1, max_size=80)


@pytest.mark.parametrize(
    ("size", "root"),
    [
        (0, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        (1, "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d"),
        (8, "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328"),
    ],
)
def test_roots(size, root):
    """The roots are those of the reference implementation of RFC 6962."""
    assert merkle.root(HASHES[:size]).hex() == root


@given(journals)
def test_roots_of_another_library(records):
    """Any list of records has the root that pymerkle gives it."""
    other = pymerkle.InmemoryTree(algorithm="sha256")
    for record in records:
        other.append_entry(record)
    assert merkle.root(map(merkle.leaf_hash, records)) == other.get_root()


def _node(left, right):
    return hashlib.sha256(b"\x01" + left + right).digest()


def _rfc_inclusion(leaf, leaf_index, tree_size, path, root):
    """RFC 9162 section 2.1.3.2, step by step."""
    if leaf_index >= tree_size:
        return False
    fn, sn = leaf_index, tree_size - 1
    r = leaf
    for p in path:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            r = _node(p, r)
            while not fn & 1 and fn != 0:
                fn >>= 1
                sn >>= 1
        else:
            r = _node(r, p)
        fn >>= 1
        sn >>= 1
    return sn == 0 and r == root


def _rfc_consistency(first, second, first_hash, second_hash, path):
    """RFC 9162 section 2.1.4.2, step by step, for 0 < first < second."""
    if not path:
        return False
    if first & (first - 1) == 0:  # an exact power of two
        path = [first_hash, *path]
    fn, sn = first - 1, second - 1
    while fn & 1:
        fn >>= 1
        sn >>= 1
    fr = sr = path[0]
    for c in path[1:]:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            fr, sr = _node(c, fr), _node(c, sr)
            while not fn & 1 and fn != 0:
                fn >>= 1
                sn >>= 1
        else:
            sr = _node(sr, c)
        fn >>= 1
        sn >>= 1
    return fr == first_hash and sr == second_hash and sn == 0


@given(journals, st.data())
def test_inclusion_by_the_text_of_the_rfc(records, data):
    """Every inclusion proof is accepted by the algorithm of RFC 9162."""
    hashes = [merkle.leaf_hash(record) for record in records]
    size = data.draw(st.integers(1, len(hashes)))
    index = data.draw(st.integers(0, size - 1))
    proof = merkle.inclusion_proof(hashes, index, size)
    assert _rfc_inclusion(hashes[index], index, size, proof, merkle.root(hashes[:size]))


@given(journals.filter(lambda records: len(records) > 1), st.data())
def test_consistency_by_the_text_of_the_rfc(records, data):
    """Every consistency proof is accepted by the algorithm of RFC 9162."""
    hashes = [merkle.leaf_hash(record) for record in records]
    second = data.draw(st.integers(2, len(hashes)))
    first = data.draw(st.integers(1, second - 1))
    proof = merkle.consistency_proof(hashes, first, second)
    heads = merkle.root(hashes[:first]), merkle.root(hashes[:second])
    assert _rfc_consistency(first, second, *heads, proof)


@given(st.data())
def test_both_verifiers_agree(data):
    """On proofs put together at random, the tree's verifiers say what the algorithms of RFC 9162 say."""
    pool = [*HASHES, *(merkle.root(HASHES[a:b]) for a in range(8) for b in range(a + 1, 9))]
    proof = data.draw(st.lists(st.sampled_from(pool), max_size=4))
    size = data.draw(st.integers(1, 8))
    index = data.draw(st.integers(0, 8))
    leaf, head = data.draw(st.sampled_from(HASHES)), data.draw(st.sampled_from(pool))
    assert merkle.verify_inclusion(leaf, index, size, proof, head) == _rfc_inclusion(
        leaf, index, size, proof, head
    )
    if 0 < index < size:
        old = data.draw(st.sampled_from(pool))
        expected = _rfc_consistency(index, size, old, head, proof)
        assert merkle.verify_consistency(index, size, old, head, proof) == expected


def test_the_example_of_section_2_1_3():
    """The seven-leaf example of RFC 6962 section 2.1.3 (from memory) has the proofs listed there."""
    d = HASHES[:7]
    a, b, c, e, f, j = d[0], d[1], d[2], d[4], d[5], d[6]
    g, h, i = _node(a, b), _node(c, d[3]), _node(e, f)
    k = _node(g, h)
    ell = _node(i, j)
    assert merkle.root(d) == _node(k, ell)
    assert merkle.inclusion_proof(d, 0, 7) == [b, h, ell]
    assert merkle.inclusion_proof(d, 3, 7) == [c, g, ell]
    assert merkle.inclusion_proof(d, 4, 7) == [f, j, k]
    assert merkle.inclusion_proof(d, 6, 7) == [i, k]
    assert merkle.consistency_proof(d, 3, 7) == [c, d[3], g, ell]
    assert merkle.consistency_proof(d, 4, 7) == [ell]
    assert merkle.consistency_proof(d, 6, 7) == [i, j, k]
