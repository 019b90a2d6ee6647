"""What is held against a reply in words, whoever composed it: short, true to itself, without the answer.

Shared by the tests of accounts and of the chapters. The words are read as a learner reads
them; the marks' own flags are never asked.
"""

from __future__ import annotations

import re

from optics.marking.habits import CATALOGUE

MOST_WORDS = 90
SKILL = r"form|sphere|cylinder|axis|add|prism|centres|heights|style|notation"
# What a sentence says is wrong, in whichever words the catalogue has for it.
DENIES = {
    "cylinder has the wrong sign": "cylinder",
    "axis stands at right angles": "axis",
    "axis is the mirror image": "axis",
    "axis is ten degrees out": "axis",
    "digits of the axis changed places": "axis",
    "axis is that of the other lens": "axis",
    "written as the cylinder": "cylinder",
    "half of the cylinder was written": "cylinder",
    "sphere was left as it was": "sphere",
    "sphere is that of the other lens": "sphere",
    "written as the sphere": "sphere",
    "taken away from the sphere": "sphere",
    "wrong side of zero": "sphere",
    "from the wrong whole dioptre": "sphere",
    "sign of the sphere was left out": "sphere",
    "eyepiece was not set": "sphere",
    "other cylinder form": "form",
    "where the lens has a cylinder": "cylinder",
    "near and not settled": "sphere",
    "written as the addition": "add",
    "half of the addition was written": "add",
    "The addition of ": "add",
    "base of the prism is named the wrong way": "prism",
    "rism was not written where the lens has it": "prism",
    "prism was read in another place": "prism",
    "The PD ": "centres",
    "distance of each eye was halved": "centres",
    "The height ": "heights",
    "height was measured": "heights",
    "style is not the one": "style",
}
# What else a reply praises, beside "Right so far", and the words that would deny it.
PRAISES = {
    "The amount is right": ("ten times too much", "Centimetres from the centre times"),
    "The distance is right": ("Those are centimetres", "prism divided by power"),
    "The size is right": ("power of the other set", "difference of the two readings"),
    "Both powers are right": ("Each of the two has the whole power",),
}


def praised(text: str) -> set[str]:
    """The skills that a reply calls right."""
    found = re.search(r"Right so far: ([a-z, ]+)\.", text)
    return set(found[1].split(", ")) if found else set()


def blamed(text: str) -> set[str]:
    """The skills that a reply calls wrong."""
    said = {skill for words, skill in DENIES.items() if words in text}
    said |= set(re.findall(rf"The (?:cylinder )?({SKILL})(?: of the \w+ (?:lens|eye))? is not", text))
    lost = {"power": "sphere", "add": "add", "prism": "prism", "PD": "centres", "height": "heights"}
    missing = re.search(r"Not written: ([^.]+)\.", text)
    return said | (
        {lost.get(each.split()[-1], each) for each in missing[1].split(", ")} if missing else set()
    )


def habits_told(text: str) -> list[str]:
    """The habits whose whole sentence stands in a reply."""
    return [entry.name for entry in CATALOGUE if entry.habit[1:] in text]


def _named(text: str, told: list[str], other: re.Match | None) -> str:
    """The names of all habits that a reply speaks of."""
    two = re.search(r"would lead to this: (.+?)\.", text)
    return "; ".join([*told, two[1] if two else "", other[1] if other else ""])


def faults_of(text: str) -> list[str]:
    """What is wrong with a reply as a piece of English to a learner; nothing for a good one."""
    faults = [] if len(text.split()) <= MOST_WORDS else [f"{len(text.split())} words"]
    faults += [f"{skill} is right and wrong" for skill in praised(text) & blamed(text)]
    faults += [
        f"{good!r} and {bad!r}"
        for good, bads in PRAISES.items()
        for bad in bads
        if good in text and bad in text
    ]
    sentences = re.split(r"(?<=[.?!]) (?=[A-Z\"])", text)
    faults += [f"{each!r} twice" for each in set(sentences) if sentences.count(each) > 1]
    faults += ["'Not yet' twice"] if text.count("Not yet") > 1 else []
    if len(told := habits_told(text)) > 1 or (told and "Two habits" in text):
        faults.append(f"{told} as if each were alone")
    other = re.search(r"it could equally be: (.+?)\. ?", text)
    pen = [
        name
        for name in ("decimal point misplaced", "minus sign left out")
        if name in _named(text, told, other)
    ]
    if pen and "notation" in praised(text):
        faults.append(f"the notation is right beside {pen[0]}")
    if other and told and told[0] in other[1].split("; or "):
        faults.append(f"{told[0]} is its own rival")
    return faults


SCOLDS = re.compile(
    r"\b(wrong again|careless|should have|must not|never|failed|stupid|lazy|obvious\w*|simply)\b", re.I
)
