"""A slip of a power of ten in what was measured is told, wherever it shows."""

import json

import pytest

from running import in_process

READ = ("--bare-hz", "6900", "--loaded-hz", "3100")
LUGS = ("10=480", "7=170", "5=72", "3=30", "1=9")


def at(*readings: str) -> tuple[str, ...]:
    return tuple(word for one in readings for word in ("--ohms", one))


@pytest.mark.parametrize(
    ("command", "says"),
    [
        (("pickup", "--resistance", "8.2k", *READ, "--added", "470p"), []),
        (
            ("pickup", "--resistance", "8.2", *READ, "--added", "470p"),
            ["8.2 Ω cannot be a winding resistance, usual are 1 kΩ to 30 kΩ; did you mean 8k2?"],
        ),
        (
            ("pickup", "--resistance", "8.2k", *READ, "--added", "470n"),
            ["4.51 mH cannot be a pickup inductance", "did you mean 4.51 H?",
             "119 nF cannot be a winding capacitance", "did you mean 119p?"],
        ),
        (("taper", "--lugs", *at(*(f"{one}k" for one in LUGS))), []),
        (
            ("taper", "--lugs", *at(*LUGS)),
            ["480 Ω cannot be a volume pot, usual are 50 kΩ to 1.5 MΩ; did you mean 480k?"],
        ),
        (
            ("taper", *at("10=8.1", "8=170", "6=135", "4=80", "2=35")),
            ["674 Ω cannot be a volume pot", "8.2 Ω cannot be a winding resistance"],
        ),
        (
            ("taper", "--lugs", *at(*(f"{one}k" for one in LUGS)),
             *(word for one in LUGS for word in ("--second", one))),
            ["480 Ω cannot be a second gang"],
        ),
        (("cable", "--length", "4.5 m"), []),
        (("cable", "--length", "450 m"), ["450 m cannot be a cable length", "did you mean 4.5 m?"]),
        (("cable", "--length", "45 m"), ["45 m is odd for a cable length"]),
    ],
)  # fmt: skip
def test_what_is_found_is_no_such_part(command: tuple[str, ...], says: list[str]) -> None:
    text = in_process(*command)
    odd = json.loads(in_process(*command, "--json"))["odd"]
    assert bool(odd) == bool(says)
    assert all(sentence in text and sentence[-1] in ".?" for sentence in odd)
    assert all(words in " ".join(odd) for words in says)
