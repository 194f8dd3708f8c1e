"""What is said of poses that were found: what was asked, how alike they are, where they differ."""

from __future__ import annotations

import math
from collections.abc import Iterator

from silhouette.records import CANNOT_TELL, Note
from silhouette.records_find import Asked, Found, Hit, LikePicture
from silhouette.show import words, words_rings
from silhouette.show.words_turn import WAYS

LIKE = ((0.7, "very like it"), (0.3, "like it"), (0.1, "somewhat like it"), (0.0, "little like it"))
"""How alike, by the least likeness. 2,000 outlines of 500 rendered poses, half of them as if drawn quickly, were held
against other bodies in the same poses: of the 1,426 whose first hit was very like, 95 in 100 had found their pose, of
the 417 whose first was like it 82 in 100. With their own pose left out 1 in 8 still had one that was very like."""
LEAST_LIKE, NONE_LIKE = 0.1, "None of them is much like it."
KINDS = {"photograph": "photograph", "silhouette": "silhouette", "drawing": "drawing"}
GAPS = {"small": "a small gap or a larger one", "fair": "a fair gap or a larger one", "big": "a big gap"}
ARMS = {"over-head": "a hand over the head"}
YOUR_PICTURE = "Your picture"
NO_DIFFERENCE = "no part differs by much"
NOTES = {"filled in": "It is drawn as a line: all inside it counts as figure. Fill it in yourself, and leave the gaps "
                      "white, if it has any."}
HOW = ("The filled figure is the pose, the line is your picture laid over it. What differs is how your picture stands "
       "against the pose, in per cent of the figure's height. A mirrored hit is drawn mirrored.")
"""How the drawings are read, where there is a picture."""
NO_SIDES = ("An outline cannot tell the figure's front from its back: a mirrored pose may be the same pose, seen from "
            "the opposite side.")
NOTHING = "Nothing was found."


def title(found: Found) -> str:
    """What was looked for, as a heading: ``Poses like photo.jpg: reads from at least 200 degrees``."""
    head = "Poses found" if found.asked.like is None else f"Poses like {found.asked.like}"
    return ": ".join(filter(None, [head, asked(found.asked)]))


def asked(what: Asked) -> str:
    """What else than a likeness was asked, in one line: ``reads from at least 200 degrees, has a big gap``."""
    told = []
    if what.reads is not None:
        told.append(f"reads from at least {what.reads:g} degrees")
    if what.gap is not None:
        told.append(f"has {GAPS[what.gap]}")
    if what.arm is not None:
        told.append(f"has {ARMS[what.arm]}")
    if what.strong_from is not None:
        told.append(f"is strong from {words.degrees(what.strong_from % 360)}")
    if what.arc is not None:
        told.append(f"only {words.from_to(*what.arc)} counts")
    return ", ".join(told)


def looked_in(found: Found) -> str:
    """Where it was looked for, and how many there are: ``Looked through 5 poses, 61 views.``"""
    said = f"Looked through {_count(found.poses, 'pose')}, {_count(found.views, 'view')}."
    if found.hits and all(hit.likeness is not None and hit.likeness < LEAST_LIKE for hit in found.hits):
        said = f"{NONE_LIKE} {said}"
    if found.more:
        said += f" {_count(found.more, 'more')} not shown: see --most." if found.more > 1 else " One more is not shown."
    return said


def picture(of: LikePicture) -> list[str]:
    """What was made of the picture, and what is to be known of that."""
    return [f"{of.name} was taken as a {KINDS[of.kind]}.", *map(_note, of.notes)]


def _note(note: Note) -> str:
    if note.kind == "picture":
        said = words.FLAGS[note["flag"]]
        if note["flag"] == CANNOT_TELL:
            said = "its cut-out is not trusted: look whether its outline is right before you trust the rest"
        return f"{said[:1].upper()}{said[1:]}."
    return NOTES[note.kind]


def called(hit: Hit) -> str:
    """What a pose is called: its name; of one that lies deeper in an archive, the way to it."""
    return hit.source if hit.source.count("/") > 1 else hit.pose


def likeness(hit: Hit) -> str:
    """How alike, in words first: ``very like it (0.91)``; empty where no picture was given."""
    return "" if hit.likeness is None else f"{how_like(hit.likeness)} ({_short(hit.likeness)})"


def _short(value: float) -> str:
    return "under 0.01" if value < 0.01 else f"{value:.2f}"


def how_like(value: float) -> str:
    """How alike, in words."""
    return next(said for least, said in LIKE if value >= least)


def seen(hit: Hit, several: bool = True) -> str:
    """From where: ``from 225, mirrored``; of a pose in several rings also from which."""
    angle = "an angle that is not known" if math.isnan(hit.angle) else words.degrees(hit.angle)
    ring = words_rings.NAMES[hit.ring] if several else ""
    return ", ".join(filter(None, [f"from {angle}", ring, "mirrored" if hit.mirrored else ""]))


def mirrored(hit: Hit) -> str:
    """What a mirrored hit may also be; empty for any other."""
    if not hit.mirrored or math.isnan(hit.angle):
        return ""
    return f"or as it is, from about {words.degrees((hit.angle + 180) % 360)}"


def reads(hit: Hit) -> str:
    """From how far round the pose reads."""
    return "too few views to say how far round it reads" if hit.reads is None else (
        f"reads from {hit.reads} of {hit.counted} degrees")


def band(hit: Hit) -> str:
    """How the view stands."""
    return hit.band or "not read"


def differs(note: Note) -> str:
    """One thing in which the picture differs: ``picture left arm 6 % lower``."""
    return f"{note['part']} {WAYS[note['way']].format(_share(note))}"


def differences(hit: Hit) -> str:
    """All of them, worst first; empty where no picture was given."""
    if hit.likeness is None:
        return ""
    return "; ".join(map(differs, hit.differs)) or NO_DIFFERENCE


def several_rings(found: Found) -> bool:
    """Whether any hit is of another ring than the level one, so that rings have to be named."""
    return any(hit.ring != "level" for hit in found.hits)


def left_out(found: Found) -> Iterator[str]:
    """The poses that could not be read, a sentence each."""
    return (f"{name} is left out. {why}" for name, why in found.left_out)


def _count(number: int, what: str) -> str:
    return f"{number:,} {what}" if number == 1 or what == "more" else f"{number:,} {what}s"


def _share(note: Note) -> str:
    return f"{round(100 * note['by'])} %"
