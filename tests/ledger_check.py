#!/usr/bin/env python3
"""Checks the chain of a ledger without any code of Rigday: python3 ledger_check.py rigday.db [SEQ LINK]

leaf = SHA-256(0x00, version, each field with its length in front), link = SHA-256(0x01, link before, leaf);
the link before the first event is 32 zero bytes. Lengths and version: eight bytes, the largest first.
"""
import hashlib
import sqlite3
import sys

FIELDS = """seq id ledger site happened_ms recorded_ms zone offset_min uid login person host session program
clock_back kind body""".split()


def main(path, *head):
    file = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    file.row_factory = sqlite3.Row
    link, seq = bytes(32), 0
    for row in file.execute("SELECT * FROM event ORDER BY seq"):
        leaf = hashlib.sha256(b"\0" + row["ver"].to_bytes(8, "big"))
        for name in FIELDS:
            field = row[name] if isinstance(row[name], bytes) else str(row[name]).encode()
            leaf.update(len(field).to_bytes(8, "big") + field)
        link = hashlib.sha256(b"\1" + link + leaf.digest()).digest()
        if (row["seq"], row["leaf"], row["link"]) != (seq + 1, leaf.digest(), link):
            sys.exit(f"event {seq + 1}: not as it was recorded")
        seq += 1
    if head and (str(seq), link.hex()) != head:
        sys.exit(f"the head is {seq} {link.hex()}")
    print(seq, link.hex())


main(*sys.argv[1:])
