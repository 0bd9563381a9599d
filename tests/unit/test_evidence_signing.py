"""Canonical JSON, signatures and trees, held to the examples of their standards."""

import hashlib
import json
import math
import struct

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given
from hypothesis import strategies as st

from steadybead_domain.evidence.jws import (
    SignatureError,
    canonical,
    decode,
    encode,
    open_token,
    public_bytes,
    sign,
    thumbprint,
    verify,
)
from steadybead_domain.evidence.merkle import PathError, Tree, root_of_path, tree_hash

# RFC 8037, A.1, A.3, A.4, from memory: Ed25519 is deterministic, so they check themselves
KEY = Ed25519PrivateKey.from_private_bytes(decode("nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A"))
PUBLIC = "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo"
THUMBPRINT = "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k"
EXAMPLE = (
    "eyJhbGciOiJFZERTQSJ9.RXhhbXBsZSBvZiBFZDI1NTE5IHNpZ25pbmc."
    "hgyY0il_MGCjP0JzlnLWG1PPOt7-09PGcvMg3AIbQR6dWbhijcNR4ki4iylGjg5BhVsPt9g7sVvpAr_MuM0KAg"
)
# RFC 7515, appendix A.1.1: head and payload of the first example, line breaks and all
RFC_7515_HEAD = '{"typ":"JWT",\r\n "alg":"HS256"}'
RFC_7515_HEAD_TEXT = "eyJ0eXAiOiJKV1QiLA0KICJhbGciOiJIUzI1NiJ9"


def test_rfc_8037_a_4_signature_of_ed25519() -> None:
    assert encode(public_bytes(KEY)) == PUBLIC
    assert sign(b"Example of Ed25519 signing", KEY, {"alg": "EdDSA"}) == EXAMPLE
    assert verify(EXAMPLE, decode(PUBLIC)) == b"Example of Ed25519 signing"


def test_rfc_8037_a_3_thumbprint() -> None:
    assert thumbprint(decode(PUBLIC)) == THUMBPRINT


def test_rfc_7515_base64url() -> None:
    assert encode(RFC_7515_HEAD.encode()) == RFC_7515_HEAD_TEXT
    assert decode("A-z_4ME") == bytes([3, 236, 255, 224, 193])  # RFC 7515, appendix C
    assert encode(bytes([3, 236, 255, 224, 193])) == "A-z_4ME"


@pytest.mark.parametrize("text", ["A-z_4MF", "A-z_4ME=", "A-z_4M", "A+z/4ME", "A-z _4ME", "é"])
def test_base64url_that_would_be_written_otherwise_is_refused(text: str) -> None:
    with pytest.raises(SignatureError):
        decode(text)


# RFC 8785, appendix B: bits of a double and its text (from memory)
NUMBERS = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
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
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}


@pytest.mark.parametrize("bits", NUMBERS)
def test_rfc_8785_appendix_b_numbers(bits: str) -> None:
    (value,) = struct.unpack(">d", bytes.fromhex(bits))
    assert canonical(value).decode() == NUMBERS[bits]


def test_rfc_8785_3_2_3_sorting_and_3_2_2_example() -> None:
    keys = ["\u20ac", "\r", "\ufb33", "1", "\U0001f600", "\u0080", "\u00f6"]
    written = json.loads(canonical(dict.fromkeys(keys, 0)))
    assert list(written) == ["\r", "1", "\u0080", "\u00f6", "\u20ac", "\U0001f600", "\ufb33"]
    given_text = (
        '{"numbers":[333333333.33333329,1E30,4.50,2e-3,0.000000000000000000000000001],'
        r'"string":"\u20ac$\u000F\u000aA\'\u0042\u0022\u005c\\\"\/","literals":[null,true,false]}'
    ).replace("\\'", "'")
    expected = (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )
    assert canonical(json.loads(given_text)).decode() == expected


def test_a_token_of_ours_names_its_signer_and_nothing_else_opens() -> None:
    token = sign(b"{}", KEY)
    opened = open_token(token)
    assert (opened.payload, opened.fingerprint) == (b"{}", THUMBPRINT)
    with pytest.raises(SignatureError):
        open_token(EXAMPLE)  # sound, but its head does not name the key


@given(st.integers(0, 10_000), st.integers(0, 7))
def test_every_changed_bit_of_a_token_is_found(place: int, bit: int) -> None:
    token = bytearray(sign(b'{"a":1}', KEY).encode())
    token[place % len(token)] ^= 1 << bit
    with pytest.raises(SignatureError):
        open_token(token.decode("latin-1"))


def test_a_signature_with_its_order_added_is_refused() -> None:
    """S + L verifies in careless implementations: a second text for one signature."""
    head, payload, signature = sign(b"{}", KEY).split(".")
    order = 2**252 + 27742317777372353535851937790883648493
    raw = decode(signature)
    other = (int.from_bytes(raw[32:], "little") + order).to_bytes(32, "little")
    with pytest.raises(SignatureError):
        open_token(f"{head}.{payload}.{encode(raw[:32] + other)}")


# transparency-dev/merkle testonly/constants.go: leaves and roots (RFC 6962, RFC 9162)
LEAVES = ["", "00", "10", "2021", "3031", "40414243", "5051525354555657"]
LEAVES += ["606162636465666768696a6b6c6d6e6f"]
ROOT_8 = "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328"
# the same project's inclusion proofs, leaf (from 1) and size of tree (from memory)
PATHS = {
    (1, 8): [
        "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
        "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
    ],
    (6, 8): [
        "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
        "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    ],
    (3, 3): ["fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125"],
    (2, 5): [
        "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
        "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
    ],
}


def hashed(leaves: list[str]) -> list[bytes]:
    return [hashlib.sha256(b"\x00" + bytes.fromhex(x)).digest() for x in leaves]


def test_the_known_root_of_eight_leaves() -> None:
    assert tree_hash(hashed(LEAVES)).hex() == ROOT_8
    assert tree_hash([]) == hashlib.sha256(b"").digest()


@pytest.mark.parametrize(("leaf", "size"), PATHS)
def test_known_inclusion_paths(leaf: int, size: int) -> None:
    tree = Tree(hashed(LEAVES[:size]))
    assert [h.hex() for h in tree.path(leaf - 1)] == PATHS[leaf, size]


@given(st.integers(1, 70), st.data())
def test_every_path_leads_to_the_root_and_no_other_leaf_does(
    size: int, data: st.DataObject
) -> None:
    leaves = [hashlib.sha256(bytes([i])).digest() for i in range(size)]
    tree = Tree(leaves)
    place = data.draw(st.integers(0, size - 1))
    path = tree.path(place)
    assert len(path) <= math.ceil(math.log2(size)) if size > 1 else path == []
    assert root_of_path(leaves[place], place, size, path) == tree.root == _by_definition(leaves)
    other = hashlib.sha256(b"other").digest()
    assert root_of_path(other, place, size, path) != tree.root
    with pytest.raises(PathError):
        root_of_path(leaves[place], place, size, [*path, other])
    if path:
        with pytest.raises(PathError):
            root_of_path(leaves[place], place, size, path[:-1])


def _by_definition(leaves: list[bytes]) -> bytes:
    """RFC 9162, 2.1.1, word by word."""
    if len(leaves) == 1:
        return leaves[0]
    k = 1
    while k * 2 < len(leaves):
        k *= 2
    left, right = _by_definition(leaves[:k]), _by_definition(leaves[k:])
    return hashlib.sha256(b"\x01" + left + right).digest()
