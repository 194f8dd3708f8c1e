"""All that is said of a figure in space, in one place: on the sheets, in the files, on the page and in the terminal.

What is said of balance, weight or workshop is a prompt to look again or to ask, never engineering.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence

from silhouette.records import Note
from silhouette.records_space import Armature, Plumb, Profile, Segment, Sizes, TapeLine, Wire, WireRules
from silhouette.show import words, words_rings
from silhouette.show.words import listed

HULL = (
    "The massing model is what all outlines have in common. Hollows that no outline shows are filled: the eye "
    "sockets, the hollow between the shoulder blades, armpits, the space between limbs where no stop looks through. "
    "Where the outlines are right it is never thinner than the body, so take clay away rather than add it."
)
"""What a visual hull cannot know."""
OUTLINES = (
    "Joints are read from outlines, not from the skeleton: 9 chances in 10 that each lies within its circle. Hollow "
    "circles with broken lines are not sure; look at the model before you build to them."
)
PRINT = "Print at 100 %, not fitted to the page, and measure the ruler on each sheet first."
GAUGE = (
    "Common practice with soft aluminium wire, and figures differ: your own experience comes first. Wire that gives "
    "in your hand when the clay is on is too thin; twist two together. Large pieces want rod or pipe, and somebody "
    "who has built one."
)
CAUTIONS = (
    "Ends of wire are sharp and fly when they are cut: cover the eyes, and turn every end over or cap it.",
    "Sawing and sanding foam, board or plaster makes dust: mask, extraction, and away from the model.",
    "Hot wire, solder and welding give off fumes: open air or extraction, and only by those who have learned it.",
    "Clay is heavy. Lift a large piece with two, and keep it from where somebody could walk into it.",
    "These are prompts. Local rules and trained people come first.",
)
LEANS = "The figure leans: it needs a support from outside."
"""The handbooks' prompt."""
PROMPT = (
    "A prompt to look again, never engineering: it does not say that wire, base or material will hold. Wet clay is "
    "heavy and wire gives. A back iron from the base into the small of the back carries most figures; butterflies "
    "carry clay where it hangs."
)
NO_FOOTING = "Where the figure meets the ground could not be seen, so the mass cannot be laid over the feet."
HOW_TO_BEND = (
    "Mark the distances on the straight wire, from its start. Bend it at each mark by the angle given: 0 would be "
    "straight, 90 a right angle. Before every bend but the first turn the wire about its own length by the turn "
    "given, as you look along it from the start: 0 bends the same way as the bend before, 180 the opposite way. The "
    "mark is the middle of the bend."
)
SECTIONS = (
    "Each template is the cut at its height. The cross is the turning axis: put all crosses on one upright rod, all "
    "front marks the same way. Cut foam or board on the line, then take the steps off."
)
PROFILES = (
    "Hold a profile against the clay from the angle it names: 0 faces the front, 90 the figure's right side. Cut "
    "along the line and keep the part outside it. They show the figure from far, without perspective."
)
CALIPERS = (
    "All level, as built. Width runs from one side of the figure to the other, depth from front to back; least is "
    "what calipers read at the narrowest, however they are turned, and across it the other way. At a section they are "
    "taken over all pieces, at a joint over the piece that it lies in. A hull fills hollows, so a measured body is a "
    "little slimmer."
)
BESIDE_RULER = "All lengths as built."
NO_WIRES = "Too few joints were found for any wire."
STRAIGHT = "It stays straight."
LEGEND = (
    "Bronze: the wire, as thick as it is, with its middle line; broken below the base and where a joint is missing.",
    "Circle with a dot: a joint, and how far it may lie off. Hollow and broken, or a question mark: not sure.",
    "Broken line with dots: plumb line from the neck. White circle with a cross: middle of the volume.",
    "Numbers beside the figure: height above the top of the base, mm. Left and right are the figure's own.",
)
HOW_SEGMENTS = (
    "Built lengths lie within the figure given 9 chances in 10. From upright: 0 the end stands over the start, 90 "
    "level, 180 it hangs. Points to, seen from above: 0 the front, 90 the figure's right, 180 the back, 270 the "
    "figure's left. Limbs are read from the body outwards, the trunk from the hips up, shoulders and hips from the "
    "figure's right."
)
HOW_BENDS = (
    "The angle that a protractor shows between the two. At the knee 180 is straight. At the shoulder it is taken from "
    "the trunk as it goes down: 0 is an arm that hangs along it. At the hip it is taken from the trunk as it goes up: "
    "180 is a straight leg."
)
HOW_JOINTS = (
    "From the foot of the turning axis: up from the top of the base, to the figure's left and to its back; with a "
    "minus the other way. Joints are middles inside the body, not points on the skin."
)
HOW_PLUMB = (
    "Broken line with dots: plumb line from the neck. White circle with a cross: middle of the volume. In the plan "
    "the darker patches are where the figure meets the ground, the broken line round it is what these and the feet "
    "enclose, the small cross is the foot of the plumb line. A hull is fuller than the body, so the middle is a guess "
    "within a centimetre or two of the model."
)
HOW_TAPE = (
    "Lengths on the model, in millimetres. A tape runs over the skin from bone to bone; the outlines give the "
    "straight way between the middles of two joints. A difference of a few per cent is usual."
)
WHERE = "Where the sections lie"
NO_SECTIONS = "No level cut was made of this figure."
NO_PROFILES = "No profile was asked for."


NEAR_EDGE_M = 0.02
"""Within so much of the edge of the ground between the feet it is open on which side the mass lies, metres."""


# ----------------------------------------------------------------------------------------------------------- names

def joint(name: str) -> str:
    """``figure's left knee`` for ``knee left``; ``crown``."""
    bare, side = split(name)
    return bare if side is None else f"figure's {side} {bare}"


def split(name: str) -> tuple[str, str | None]:
    """``knee left`` as (knee, left); a name without a side has None."""
    bare, _, last = name.rpartition(" ")
    return (bare, last) if bare and last in ("left", "right") else (name, None)


def sided(name: str, side: str | None) -> str:
    """``knee, figure's left``."""
    return name if side is None else f"{name}, figure's {side}"


def place(name: str) -> str:
    """A place on a wire: ``middle of the hips``, ``top of the base``, ``knee``."""
    return {"hips": "middle of the hips", "base": "top of the base", "foot end": "tip of the foot",
            "hand end": "tip of the hand"}.get(split(name)[0], split(name)[0])


def ratio(scale: float) -> str:
    """``1:4``; an enlargement is ``2:1``."""
    return f"1:{scale:.4g}" if scale >= 1 else f"{1 / scale:.4g}:1"


def whole(value: float) -> str:
    """``118``; never -0."""
    return str(round(value))


def mm(value: float | None) -> str:
    """``118 mm``, or a dash."""
    return "–" if value is None else f"{whole(value)} mm"


def degrees(value: float | None) -> str:
    """``35°``, or a dash."""
    return "–" if value is None else f"{value:.0f}°"


def profile_name(one: Profile) -> str:
    """``Front elevation``, ``Profile at 45°``."""
    if one.angle is None:
        return "Plan"
    named = {0: "Front elevation", 90: "Side elevation, figure's right", 180: "Back elevation",
             270: "Side elevation, figure's left"}
    return named.get(round(one.angle % 360, 3), f"Profile at {one.angle:g}°")  # type: ignore[call-overload, no-any-return]


def template_name(one: Profile) -> str:
    """``Profile at 90°, figure's right``."""
    angle = (one.angle or 0.0) % 360
    named = {0: ", front", 90: ", figure's right", 180: ", back", 270: ", figure's left"}
    return f"Profile at {angle:g}°{named.get(round(angle, 3), '')}"  # type: ignore[call-overload]


def cut_name(number: int, height_mm: float | None = None) -> str:
    """``Section 7, 130 mm``."""
    return f"Section {number}" if height_mm is None else f"Section {number}, {height_mm:.0f} mm"


def every(made: Armature) -> str:
    """How far the sections lie apart, and where the first one lies."""
    heights = sorted(s.z * made.sizes.built for s in made.sections if not s.outline.is_empty)
    step = (heights[-1] - heights[0]) / (len(heights) - 1)
    return (f"{len(heights)} sections, one every {step:.1f} mm as built, the first {heights[0]:.1f} mm above the base: "
            f"each is the middle of a board {step:.1f} mm thick.")


# ----------------------------------------------------------------------------------------------------------- sizes

def subtitle(sizes: Sizes) -> str:
    """``Scale 1:4, built 467 mm high``."""
    built = f"built {sizes.pose_height_m * sizes.built:.0f} mm high"
    if not sizes.shrinkage:
        return f"Scale {ratio(sizes.scale)}, {built}"
    return (f"Scale {ratio(sizes.scale)}, {built}, finished {sizes.pose_height_m * sizes.finished:.0f} mm after "
            f"{sizes.shrinkage:g} % shrinkage")


def sizes_told(sizes: Sizes) -> list[tuple[str, str]]:
    """(what, how much) of every size that a person checks first."""
    how = {"given": "as given", "bones": "from the lengths of the bones", "outline": "from bones and outline"}
    rows = [
        ("Model", f"{sizes.height_m:.2f} m tall; this pose {sizes.pose_height_m:.2f} m, {how[sizes.height_from]}"),
        ("Finished", f"{ratio(sizes.scale)}, {sizes.pose_height_m * sizes.finished:.0f} mm high"),
    ]
    if sizes.shrinkage:
        rows += [
            ("Shrinkage", f"{sizes.shrinkage:g} %, your own figure"),
            ("Built", f"{ratio(1000 / sizes.built)}, {sizes.pose_height_m * sizes.built:.0f} mm high"),
        ]
    return rows


def drawn_at(sizes: Sizes) -> str:
    """Which of the two sizes the sheets show."""
    if sizes.shrinkage:
        return "Everything is drawn and listed at the size as built, before it shrinks."
    return "Everything is drawn and listed at the size of the finished piece: no shrinkage was given."


def gauge(rules: WireRules, sizes: Sizes) -> str:
    """What wire is common for a piece of this height."""
    kind = "rod or pipe" if rules.gauge_mm >= 10 else "wire"
    return f"About {rules.gauge_mm:g} mm {kind} for {sizes.pose_height_m * sizes.built:.0f} mm of height."


def allowances(rules: WireRules) -> str:
    """The rule by which wires are cut."""
    return (f"Allowances, common practice and yours to change: {rules.anchor_mm:.0f} mm below the top of the base, "
            f"{rules.tie_mm:.0f} mm to tie an end (about {rules.tie_mm / rules.gauge_mm:.0f} times the wire), "
            f"{rules.per_bend_mm:.1f} mm for a bend of a right angle, less for less.")


def contents(made: Armature, sheets: int) -> list[str]:
    """What the pages after the overview hold."""
    told = [f"Elevations and plan in true size, {sheets} {'sheet' if sheets == 1 else 'sheets'}" if sheets else
            "No drawing in true size",
            "Cutting list: wire by wire, bend by bend", "Lengths, bends and places of the joints"]
    if made.plumb is not None:
        told.append("Where the mass lies over the feet")
    return [*told, "Your tape held against the lengths"] if made.tape else told


def too_large(title: str, most: int) -> str:
    """Why a drawing is not printed in true size."""
    return (f"{title}: left out, as it would take more than {most} sheets. Use larger paper or a smaller scale, and "
            "point up from the small drawing.")


def short_name(one: Profile) -> str:
    """``Front``, ``Figure's right``."""
    named = {0: "Front", 90: "Figure's right", 180: "Back", 270: "Figure's left"}
    return "Plan" if one.angle is None else named.get(round(one.angle % 360), f"{one.angle:g}°")


def all_wire(metres: float) -> str:
    """How much wire to buy."""
    return f"All wires together: {metres:.2f} m. Buy a fifth more, and tie wire."


# ----------------------------------------------------------------------------------------------------------- wires

def wire_name(one: Wire) -> str:
    """``Leg, figure's left``."""
    return {"arms": "Arms, hand to hand", "spine": "Spine and head"}.get(
        one.name, sided(split(one.name)[0].capitalize(), split(one.name)[1]))


def wire_route(one: Wire) -> str:
    """From where to where, and what it passes."""
    first, *middle, last = one.route
    if one.name == "arms":
        return _arms_route(one)
    if first == "base":
        start = f"From the base under the {place(one.route[1])}"
    else:
        start = f"From the base up through the {place(first)}" if anchored(one) else f"From the {place(first)}"
    through = [place(m) for m in (middle[1:] if first == "base" else middle)]
    end = " in a loop for the head and back" if last == "head loop" else f" to the {place(last)}"
    return f"{start}{', by ' + listed(through) + ',' if through else ''}{end}."


def _arms_route(one: Wire) -> str:
    """Hand to hand, said for the figure's left arm and then for the other."""
    told = []
    for side in ("left", "right"):
        places = [place(name) for name in one.route if split(name)[1] == side]
        if places:
            order = places if side == "left" else places[::-1]
            told.append(f"{listed(order)} of the figure's {side} arm")
    return f"Through {' and, straight across the shoulders, through '.join(told)}."


def anchored(one: Wire) -> bool:
    """Whether a wire begins below the top of the base."""
    return one.name.startswith("leg") and one.start_mm > 0


def wire_sum(one: Wire) -> str:
    """How the length to cut adds up."""
    parts = [f"{one.length_mm:.0f} along the figure"]
    if one.loop_mm:
        parts.append(f"{one.loop_mm:.0f} for the loop of the head")
    if one.start_mm:
        parts.append(f"{one.start_mm:.0f} {'below the base' if anchored(one) else 'to tie the start'}")
    if one.end_mm:
        parts.append(f"{one.end_mm:.0f} to tie the end")
    if one.bends_mm >= 0.5:
        parts.append(f"{one.bends_mm:.0f} for bends")
    return " + ".join(parts) + f" = {one.cut_mm:.0f} mm"


def passed(one: Wire) -> str:
    """Joints that the wire passes, as they were not found."""
    if not one.passed:
        return ""
    names = listed([joint(name) for name in one.passed])
    return f"Not found: {names}. The wire leads straight on to the next joint; bend it there by eye."


def turn(value: float | None) -> str:
    """How to turn a wire before a bend."""
    if value is None:
        return "first bend"
    if abs(value) < 0.5:
        return "no turn"
    if abs(value) >= 179.5:
        return "half a turn"
    return f"{abs(value):.0f}° {'clockwise' if value > 0 else 'counter-clockwise'}"


def heading(one: Segment) -> str:
    """Where a segment points seen from above, in the words of the angles."""
    return "upright" if one.heading_deg is None else f"{one.heading_deg:.0f}°"


# ----------------------------------------------------------------------------------------------------------- plumb

def leans(found: Plumb) -> bool:
    """Whether the middle of the volume lies beside the feet."""
    return found.inside_m is not None and found.inside_m < 0


def plumb_told(found: Plumb, sizes: Sizes) -> list[str]:
    """Sentences on where the mass lies."""
    told = []
    if found.foot is not None and found.foot_m is not None:
        told.append(f"The plumb line from the neck meets the ground {found.foot_m * sizes.built:.0f} mm from the ankle "
                    f"of the figure's {found.foot} foot, the nearer of the two. The pit of the neck lies a little in "
                    "front of this line.")
    if found.inside_m is None:
        return [*told, NO_FOOTING]
    away = abs(found.inside_m) * sizes.built
    if leans(found):
        told.append(f"The middle of the volume lies {away:.0f} mm outside the ground that the feet enclose. {LEANS}")
    else:
        told.append(f"The middle of the volume lies over the feet, {away:.0f} mm inside the edge of the ground that "
                    "they enclose.")
        if found.inside_m < NEAR_EDGE_M:
            told.append("That is closer to the edge than outlines can tell. Look at the model again.")
    return told


# ------------------------------------------------------------------------------------------------------------ tape

def tape_told(line: TapeLine) -> str:
    """How a length of the tape differs from what was found."""
    if line.found_mm is None:
        return "a joint was not found"
    off = line.found_mm - line.tape_mm
    inside = line.within_mm is not None and abs(off) <= line.within_mm
    if abs(off) < 0.5:
        return "the same"
    return (f"found {abs(off):.0f} mm ({100 * abs(off) / line.tape_mm:.1f} %) "
            f"{'longer' if off > 0 else 'shorter'}{', within what the outlines can tell' if inside else ''}")


def tape_advice(lines: Sequence[TapeLine], factor: float | None, used: bool = False) -> str:
    """What the tape suggests of all sizes together; ``factor`` from ``space/skeleton.py``."""
    if not any(line.found_mm is not None for line in lines) or factor is None:
        return "No length of the tape lies between two joints that were found, so nothing can be compared."
    if used:
        return "All sizes were taken from the tape, as you asked. What still differs is listed."
    if abs(factor - 1) < 0.005:
        return "On the whole tape and outlines agree within half a per cent."
    way = "larger" if factor > 1 else "smaller"
    return (f"On the whole the tape says {abs(factor - 1) * 100:.1f} % {way}. Nothing was changed. Run it again "
            "with --fit-to-tape to take all sizes from the tape.")


# ----------------------------------------------------------------------------------------------------------- notes

def _named(n: Note, key: str = "names") -> str:
    return listed([str(name) for name in n[key]])


def _stops_without_figure(n: Note) -> str:
    return f"Left out, as their cut-outs show no figure or are not trusted: {_named(n)}."


def _stops_moved(n: Note) -> str:
    return f"Left out, as the pose had moved: {_named(n)}. Fewer stops make the model fuller."


NOTES: dict[str, Callable[[Note], str]] = {
    "stops without figure": _stops_without_figure,
    "stops moved": _stops_moved,
    "stops cut": lambda n: f"The frame cuts the figure at {_named(n)}: look twice at what lies there.",
    "ring left out": lambda n: f"The {words_rings.NAMES[n['ring']]} was left out: {n['why']}",
    "joint not seen": lambda n: "no outline shows it",
    "joint seen rarely": lambda n: f"only about {n['views']} outlines show it",
    "joint not sure": lambda n: "the outlines leave it room",
    "front elsewhere": lambda n: (
        f"Knees and toes point as if the figure faced {n['degrees']} degrees, and not 0. Left and right are named by "
        "the angles: if the first stop did not show the front, give --start."),
}
"""A sentence, or the reason of a joint, for each kind."""


def note(what: Note) -> str:
    """The sentence of a note or of a joint's reason."""
    if what.kind == "of ring":
        return f"{words_rings.NAMES[what['ring']].capitalize()}. {note(Note.of(**what['note']))}"
    own = NOTES.get(what.kind)
    return words.note(what) if own is None else own(what)


def notes(made: Armature) -> list[str]:
    """Every note of an armature in a sentence; what is to be said of several rings is said once."""
    return words.said_once(made.notes, len(made.rings), note)


def missing(made: Armature) -> list[str]:
    """A sentence for each joint that was not found or is not sure, with its reason."""
    told = []
    for one in made.skeleton.joints:
        if one.at is not None and one.sure:
            continue
        name = joint(one.joint if one.side is None else f"{one.joint} {one.side}").capitalize()
        why = "" if one.reason is None else f": {note(one.reason)}"
        told.append(f"{name} was not found{why}." if one.at is None else f"{name} is not sure{why}.")
    return told


def angles_told(made: Armature) -> str:
    """How the angles of the stops are known, where that costs something."""
    if made.angles_from in ("outline", "spread", "clip"):
        return ("Nobody stated the angles of the stops, so joints are less sure. Angles in the names of the stills "
                "make them surer.")
    return ""


# ----------------------------------------------------------------------------------------------------------- files

def gained(made: Armature) -> str:
    """What the other rings add to the main one; empty where there are none."""
    found = made.gain
    if found is None:
        return ""
    others = listed([words_rings.NAMES[ring] for ring in made.rings if ring != found.ring])
    less = 100 * (1 - made.volume_l / found.volume_l)
    by = f"{abs(less):.0f} % {'less' if less > 0 else 'more'}" if abs(less) >= 0.5 else "as much"
    told = (f"The {words_rings.NAMES[found.ring]} alone gives {found.volume_l:.1f} litres; with the {others} the "
            f"figure takes up {by}.")
    if found.within_m is None or found.within_all_m is None:
        return told
    return (f"{told} Half the joints are known to {1000 * found.within_all_m:.0f} mm, from that ring alone to "
            f"{1000 * found.within_m:.0f} mm.")


def hull_comment(made: Armature) -> str:
    """What goes into the files of the massing model: what it is, its size, what it cannot know."""
    return (f"Massing model, {subtitle(made.sizes)}, millimetres. {HULL} It is no cast of the body and no finished "
            "work: adjust it by eye.")


STL_COMMENT = "Massing model from the outlines of a turn, millimetres; hollows may be missing"
"""What fits into the head of an STL: 80 letters."""


def about(made: Armature) -> str:
    """``about.txt`` of the folder: what each file is, sizes, what the outlines cannot know."""
    lines = [
        f"Armature: {made.name}, from {len(made.stops)} stops", "",
        "There are no photographs here: outlines, shapes and numbers only. They still show a body: give them only to",
        "people to whom the model agreed.", "",
        "armature.pdf     elevations and plan in true size, cutting list, bends, plumb line; print at 100 %",
        "sections.pdf     level cuts and profiles as templates in true size, table for calipers",
        "sections.svg     the level cuts as lines, in millimetres",
        "calipers.csv     width and depth at heights and at joints",
        "massing.stl      the massing model on its base, in millimetres as built",
        "massing.3mf      the same, with its unit",
        "armature.html    the model with the wire inside, to turn in a browser, without a connection",
        "armature.json    joints, segments, sections, volume: all numbers",
        "", *(f"{what}: {how}." for what, how in sizes_told(made.sizes)), drawn_at(made.sizes),
    ]
    told = [*filter(None, [gained(made)]), *missing(made), *notes(made),
            *filter(None, [angles_told(made)])]
    lines += ["", *told] if told else []
    lines += [line for text in ("", HULL, "", PROMPT, "", *CAUTIONS) for line in textwrap.wrap(text, 110) or [""]]
    return "\n".join([*lines, ""])
