"""Canonical JSON against RFC 8785 itself."""

import struct

import pytest

from cfgtrack.store.canonical import NotCanonical, canonical_json

# RFC 8785 appendix B: the bits of a double, and its text. From memory; test_the_numbers_read_back holds every
# text to its bits.
NUMBERS = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}


def _double(bits):
    return struct.unpack(">d", bytes.fromhex(bits))[0]


@pytest.mark.parametrize(("bits", "text"), NUMBERS.items())
def test_appendix_b(bits, text):
    """A number is written as RFC 8785 appendix B writes it."""
    assert canonical_json({"n": _double(bits)}) == f'{{"n":{text}}}'.encode()


@pytest.mark.parametrize(("bits", "text"), NUMBERS.items())
def test_the_numbers_read_back(bits, text):
    """The texts above are the doubles they stand beside."""
    assert float(text) == _double(bits)


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000"])
def test_appendix_b_refuses(bits):
    """Not-a-number and infinity are errors (RFC 8785 appendix B, from memory)."""
    with pytest.raises(NotCanonical):
        canonical_json({"n": _double(bits)})


def test_section_3_2_2():
    """The sample object of RFC 8785 sections 3.2.2 and 3.2.4 (from memory) has the bytes given there."""
    record = {
        "numbers": [333333333.33333329, 1e30, 4.50, 2e-3, 0.000000000000000000000000001],
        "string": "\u20ac$\u000f\u000aA'\u0042\u0022\u005c\\\"/",
        "literals": [None, True, False],
    }
    assert (
        canonical_json(record)
        == (
            '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
            '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
        ).encode()
    )


def test_section_3_2_3():
    """Members are sorted by UTF-16 code units, as in the sample of RFC 8785 section 3.2.3 (from memory)."""
    record = {
        "\u20ac": "Euro Sign",
        "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "\U0001f600": "Emoji: Grinning Face",
        "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis",
    }
    assert (
        canonical_json(record)
        == (
            '{"\\r":"Carriage Return","1":"One","\u0080":"Control","ö":"Latin Small Letter O With Diaeresis",'
            '"€":"Euro Sign","😀":"Emoji: Grinning Face","\ufb33":"Hebrew Letter Dalet With Dagesh"}'
        ).encode()
    )
