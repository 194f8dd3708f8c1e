"""What is said of an armature once it is made, in the terminal and on the page: in the order in which one builds."""

from __future__ import annotations

from silhouette.records_space import Armature
from silhouette.show import words_space
from silhouette.show.table import counted


def in_short(made: Armature) -> list[str]:
    """Sentences: the size, how sure the joints are, the mass, the tape, what was left out."""
    sizes, joints = made.sizes, made.skeleton.joints
    model = words_space.sizes_told(sizes)[0][1]
    clay = made.volume_l * (sizes.built / 1000) ** 3
    sure = sum(one.sure and one.at is not None for one in joints)
    said = [
        f"{made.name}, from {counted(len(made.stops), 'stop')}. {words_space.subtitle(sizes)}. Model: {model}.",
        f"Of {len(joints)} joints {'all are' if sure == len(joints) else f'{sure} are'} sure.",
        *words_space.missing(made),
        f"The figure takes up {made.volume_l:.1f} litres; the piece as built {litres(clay)}, wire included.",
    ]
    said += filter(None, [words_space.gained(made)])
    if made.plumb is not None:
        said += words_space.plumb_told(made.plumb, sizes)
    for line in made.tape:
        said.append(f"{words_space.joint(line.start).capitalize()} to {words_space.joint(line.end)}: "
                    f"{line.tape_mm:.0f} mm by the tape, {words_space.tape_told(line)}.")
    if made.tape:
        said.append(words_space.tape_advice(made.tape, made.tape_factor, made.fitted_to_tape))
    said += words_space.notes(made)
    said += filter(None, [words_space.angles_told(made)])
    return said


def litres(volume: float) -> str:
    """``0.96 litres``, ``85 cm³``."""
    return f"{volume:.2f} litres" if volume >= 0.5 else f"{1000 * volume:.0f} cm³"
