"""Signatures against RFC 8032: its test vectors, and its own way to verify, written out here, over RFC 8785's bytes."""

from __future__ import annotations

from hashlib import sha512
from pathlib import Path

import pytest
import rfc8785
from cryptography.hazmat.primitives import serialization as form
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from cfgtrack.files.keys import KeyFile, signer_of
from cfgtrack.model.action import Action
from cfgtrack.model.signature import Signed, fault_of_key
from cfgtrack.store.signing import is_good, sign

# RFC 8032 section 7.1, TEST 1 to 3: secret key, public key, message, signature.
VECTORS = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        (
            "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46b"
            "d25bf5f0595bbe24655141438e7a100b"
        ),
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        (
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c"
            "387b2eaeb4302aeeb00d291612bb0c00"
        ),
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        (
            "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc659"
            "4a7c15e9716ed28dc027beceea1ec40a"
        ),
    ),
]


def kept(folder: Path, seed: str) -> KeyFile:
    """Write a secret key of the RFC as a key file, as `make_key` does; return it with its public half."""
    private = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(seed))
    text = private.private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, form.NoEncryption())
    key = f"ed25519:{private.public_key().public_bytes_raw().hex()}"
    path = folder / "ANN.pem"
    path.touch(mode=0o600)
    path.write_bytes(f"cfgtrack key of ANN: {key}\n".encode() + text)
    return KeyFile("ANN", key, str(path))


@pytest.mark.parametrize(("secret", "public", "message", "signature"), VECTORS)
def test_keys_and_signatures_are_those_of_the_standard(
    secret: str, public: str, message: str, signature: str, tmp_path: Path
) -> None:
    """A secret key of the RFC has the RFC's public key, and signs its message as it says."""
    signer = signer_of(kept(tmp_path, secret))
    assert signer.key == f"ed25519:{public}"
    assert signer.sign(bytes.fromhex(message)).hex() == signature
    assert verifies(bytes.fromhex(public), bytes.fromhex(message), bytes.fromhex(signature))


@pytest.mark.parametrize("remark", [None, "näht ©", "\U0001f527 \x7f \u2028"])
def test_what_is_signed_is_verified_by_the_standards_alone(remark: str | None, tmp_path: Path) -> None:
    """Whoever has RFC 8032 and RFC 8785 alone verifies a signature, and no other action under it."""
    action = Action("e1", "uncap", ("Y:F",), 1_000_001, by="ANN", remark=remark)
    signed = sign(action, signer_of(kept(tmp_path, VECTORS[0][0])), "ab" * 32).signed
    assert signed is not None
    key, signature = bytes.fromhex(VECTORS[0][1]), bytes.fromhex(signed.signature)
    assert verifies(key, rfc8785.dumps(signed.signs), signature)
    assert is_good(signed)
    assert not verifies(key, rfc8785.dumps({**signed.signs, "by": "BO"}), signature)


# --- RFC 8032, sections 5.1.3 and 5.1.7: decoding a point, and verifying --------------------------------------------

P = 2**255 - 19
L = 2**252 + 27742317777372353535851937790883648493
D = -121665 * pow(121666, P - 2, P) % P
Point = tuple[int, int]
_Y = 4 * pow(5, P - 2, P) % P


def _x(y: int, sign_bit: int) -> int | None:
    x2 = (y * y - 1) * pow(D * y * y + 1, P - 2, P) % P
    x = pow(x2, (P + 3) // 8, P)
    if (x * x - x2) % P:
        x = x * pow(2, (P - 1) // 4, P) % P
    if (x * x - x2) % P or (x == 0 and sign_bit):
        return None
    return P - x if x & 1 != sign_bit else x


def _added(a: Point, b: Point) -> Point:
    t = D * a[0] * b[0] * a[1] * b[1] % P
    x = (a[0] * b[1] + a[1] * b[0]) * pow(1 + t, P - 2, P) % P
    y = (a[1] * b[1] + a[0] * b[0]) * pow(1 - t, P - 2, P) % P
    return x, y


def _times(n: int, point: Point) -> Point:
    found: Point = (0, 1)
    while n:
        if n & 1:
            found = _added(found, point)
        point = _added(point, point)
        n >>= 1
    return found


def _point(text: bytes) -> Point | None:
    number = int.from_bytes(text, "little")
    y = number & (1 << 255) - 1
    x = _x(y, number >> 255)
    return None if x is None or y >= P else (x, y)


def verifies(public: bytes, message: bytes, signature: bytes) -> bool:
    """Whether a signature is good, as section 5.1.7 says."""
    a, r = _point(public), _point(signature[:32])
    s = int.from_bytes(signature[32:], "little")
    x = _x(_Y, 0)
    if a is None or r is None or s >= L or x is None:
        return False
    k = int.from_bytes(sha512(signature[:32] + public + message).digest(), "little") % L
    return _times(s, (x, _Y)) == _added(r, _times(k, a))


# --- points that are nobody's key -----------------------------------------------------------------------------------

# The five points of order 1, 2, 4 and 8 up to sign, as implementations list them that refuse them (from memory); that
# they are of that order is worked out below by the formulas of section 5.1.4.
SMALL = {
    "0100000000000000000000000000000000000000000000000000000000000000": 1,
    "ecffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f": 2,
    "0000000000000000000000000000000000000000000000000000000000000000": 4,
    "0000000000000000000000000000000000000000000000000000000000000080": 4,
    "26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05": 8,
    "26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc85": 8,
    "c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac037a": 8,
    "c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac03fa": 8,
}


@pytest.mark.parametrize("public", SMALL)
def test_a_point_of_small_order_is_nobodys_key(public: str) -> None:
    """By each of the eight a signature that nobody made is good, says the standard, or its library; not here."""
    point = _point(bytes.fromhex(public))
    assert point is not None
    assert _times(SMALL[public], point) == (0, 1)
    assert fault_of_key(f"ed25519:{public}") is not None
    made_up = "01" + "00" * 63  # the neutral point, and 0
    said = ({"id": f"e{n}"} for n in range(200))
    forged = (Signed("ANN", f"ed25519:{public}", "ab" * 32, one, made_up) for one in said)
    taken = [
        one
        for one in forged
        if verifies(bytes.fromhex(public), rfc8785.dumps(one.signs), bytes.fromhex(made_up))
    ]
    assert taken
    assert not any(map(is_good, taken))


@pytest.mark.parametrize(
    "public",
    [
        "02" + "00" * 31,  # no x has this y
        "0100000000000000000000000000000000000000000000000000000000000080",  # x is 0, and said to be odd
        "edffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f",  # 2^255 - 19, which is 0
        "ff" * 32,
    ],
)
def test_what_is_no_point_is_no_key(public: str) -> None:
    """What section 5.1.3 can't decode, or decodes twice, is refused."""
    assert _point(bytes.fromhex(public)) is None
    assert fault_of_key(f"ed25519:{public}") == "these bytes are no point of the curve"


def test_any_key_that_is_made_is_one() -> None:
    """Keys of the RFC and of the library are taken, and random bytes are a point as the RFC decodes them."""
    made = [
        Ed25519PrivateKey.from_private_bytes(bytes([n]) * 32).public_key().public_bytes_raw()
        for n in range(50)
    ]
    for public in (*(bytes.fromhex(vector[1]) for vector in VECTORS), *made):
        assert fault_of_key(f"ed25519:{public.hex()}") is None
    drawn = [sha512(bytes([n])).digest()[:32] for n in range(100)]
    points = [one for one in drawn if _point(one) is not None]
    assert 20 < len(points) < 80
    for one in drawn:
        assert (fault_of_key(f"ed25519:{one.hex()}") is None) == (one in points)
