"""Checks a file of evidence without rinseward: python3 check_evidence.py EVIDENCE KEY

Written from the description at the head of src/core/evidence.rs, RFC 6962 and C2SP signed-note.
Needs the package «cryptography». KEY is the public key that signed the checkpoint, or its file. Ends with 0
where everything holds; else it names what does not, and ends with 1.
"""

import base64
import hashlib
import json
import struct
import sys

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey


def sha(data):
    return hashlib.sha256(data).digest()


def node(left, right):
    return sha(b"\x01" + left + right)


def signed_text(note, key):
    """The text of the note, once the key is found to have signed it."""
    name, key_id, encoded = key.strip().split("+", 2)
    public = Ed25519PublicKey.from_public_bytes(base64.b64decode(encoded)[1:])
    text, signatures = note.rsplit("\n\n", 1)
    for line in signatures.splitlines():
        _, signer, stamped = line.split(" ", 2)
        stamped = base64.b64decode(stamped)
        if signer == name and stamped[:4].hex() == key_id:
            public.verify(stamped[4:], (text + "\n").encode())
            return text.split("\n")
    raise ValueError("the checkpoint is not signed by this key")


def root_of(low, high, first, end, before, leaves, after):
    """Root over records low to high; what lies outside the stretch is taken from the proof."""
    if high <= first:
        return before.pop(0)
    if low >= end:
        return after.pop(0)
    if high - low == 1:
        return leaves[low - first]
    middle = low + (1 << (high - low - 1).bit_length() - 1)
    return node(root_of(low, middle, first, end, before, leaves, after),
                root_of(middle, high, first, end, before, leaves, after))


def root_by_proof(leaf, low, high, index, proof):
    """Root over records low to high by the inclusion proof of one of them, lowest hash first."""
    if high - low == 1:
        return leaf
    middle = low + (1 << (high - low - 1).bit_length() - 1)
    if index < middle:
        return node(root_by_proof(leaf, low, middle, index, proof[:-1]), proof[-1])
    return node(proof[-1], root_by_proof(leaf, middle, high, index, proof[:-1]))


def trace_hash(trace):
    data = b""
    for readings in (trace["rinse"], trace["wash"]):
        data += struct.pack(">Q", len(readings))
        data += b"".join(struct.pack(">qd", at, celsius) for at, celsius in readings)
    return sha(data).hex()


def check(path, key):
    lines = [json.loads(line) for line in open(path, encoding="utf-8")]
    header, entries, trailer = lines[0], lines[1:-1], lines[-1]
    first, end = header["first"], header["end"]
    _, size, root = signed_text(header["checkpoint"], key)
    size, root = int(size), base64.b64decode(root)
    leaves = []
    for entry in entries:
        index, leaf = entry["index"], sha(b"\x00" + entry["record"].encode())
        if leaf.hex() != entry["leaf"]:
            raise ValueError(f"record {index} was changed")
        proof = [bytes.fromhex(one) for one in entry.get("proof", [])]
        if first <= index < end:
            if index != first + len(leaves):
                raise ValueError(f"record {first + len(leaves)} is missing")
            leaves.append(leaf)
        elif root_by_proof(leaf, 0, size, index, proof) != root:
            raise ValueError(f"record {index} is not sealed")
        record = json.loads(entry["record"])
        if "trace" in entry and trace_hash(entry["trace"]) != record["body"]["cycle"]["trace_sha256"]:
            raise ValueError(f"the readings of record {index} were changed")
    before, after = ([bytes.fromhex(one) for one in header[side]] for side in ("before", "after"))
    if len(leaves) != end - first or root_of(0, size, first, end, before, leaves, after) != root or before or after:
        raise ValueError("the records do not lead to the root that is sealed")
    if (trailer["records"], trailer["apart"]) != (len(leaves), len(entries) - len(leaves)):
        raise ValueError("the last line counts otherwise")
    print(f"whole: records {first} to {end - 1} and {trailer['apart']} apart, of {size} that are sealed")


if len(sys.argv) != 3:
    print(__doc__, file=sys.stderr)
    sys.exit(2)
evidence, key = sys.argv[1:]
if "+" not in key:
    key = open(key, encoding="utf-8").read()
try:
    check(evidence, key)
except (InvalidSignature, KeyError, IndexError, TypeError, ValueError) as error:
    sys.exit(f"NOT WHOLE: {error or 'the signature does not fit'}")
