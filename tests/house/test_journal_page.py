"""The vectors that the guide's page on the journal prints are right, by hashlib alone and by our own code."""

from __future__ import annotations

import hashlib
import re
import subprocess

from vinebook.records.journal import NO_HASH, entry_hash
from vinebook.resources import guide_folder

PAGE = (guide_folder() / "journal.md").read_text(encoding="utf-8")
HASHES = re.findall(r"\b[0-9a-f]{64}\b", PAGE)
FIPS_ABC, FIPS_EMPTY, FIRST_BODY, FIRST, SECOND_BODY, SECOND = HASHES
BODY = next(line.strip() for line in PAGE.splitlines() if line.strip().startswith('{"after"'))
SUBJECT = "#60 cluster_tally A1/2024/cluster_tally/2024-07-02/before/all/random/RQ/2/19"


def test_the_page_gives_the_examples_of_fips_180_4() -> None:
    # FIPS 180-4 and NIST's example values: the message "abc"; the empty message.
    assert hashlib.sha256(b"abc").hexdigest() == FIPS_ABC
    assert hashlib.sha256(b"").hexdigest() == FIPS_EMPTY


def test_the_second_entry_holds_the_hash_of_the_first() -> None:
    lines = [
        "vinebook entry 1",
        "2",
        "2026-01-06T09:00:00.000000Z",
        "R. Quill",
        "sqlite",
        "amend",
        SUBJECT,
        SECOND_BODY,
        FIRST,
    ]
    assert hashlib.sha256(BODY.encode()).hexdigest() == SECOND_BODY
    assert hashlib.sha256("".join(f"{line}\n" for line in lines).encode()).hexdigest() == SECOND


def test_our_own_code_gives_the_same() -> None:
    body = '{"schema":"0001"}'
    assert hashlib.sha256(body.encode()).hexdigest() == FIRST_BODY
    assert entry_hash(1, "2026-01-05T08:30:00.000000Z", "R. Quill", "sqlite", "new", "book", body, NO_HASH) == FIRST
    assert entry_hash(2, "2026-01-06T09:00:00.000000Z", "R. Quill", "sqlite", "amend", SUBJECT, BODY, FIRST) == SECOND


def test_the_shell_words_of_the_page_print_the_hash_that_it_names() -> None:
    words = PAGE.split("```sh\n")[1].split("```")[0]
    done = subprocess.run(["bash", "-c", words], capture_output=True, text=True, check=True)
    assert done.stdout.split()[0] == FIRST
