"""Poses that people strike, and a broad sampler round and beyond them.

Angles are anatomical, degrees, see :data:`silhouette.studio.rig.GROUPS`. Joint limits are those of an adult in ordinary
health (rounded from the tables of the American Academy of Orthopaedic Surgeons), a little wider at the spine.
"""

from __future__ import annotations

import numpy as np

from silhouette.studio import rig
from silhouette.studio.rig import GROUPS, PAIRED, Pose

LIMITS: dict[str, tuple[tuple[float, float], ...]] = {
    "pelvis": ((-100, 100), (-100, 100), (-180, 180)),
    "spine": ((-30, 80), (-35, 35), (-45, 45)),
    "neck": ((-30, 35), (-20, 20), (-30, 30)),
    "head": ((-25, 30), (-20, 20), (-45, 45)),
    "shrug": ((-8, 25), (-15, 20)),
    "arm": ((0, 178), (-45, 135), (-80, 80)),
    "elbow": ((0, 148),),
    "forearm": ((-80, 85),),
    "wrist": ((-65, 75), (-30, 20)),
    "fingers": ((-8, 80),),
    "leg": ((-25, 125), (-25, 50), (-35, 50)),
    "knee": ((0, 145),),
    "foot": ((-25, 50), (-25, 25)),
    "plant": ((0, 1),),
    "level": ((0, 1),),
}
"""Least and greatest value of every angle; a raised arm also has its own limit behind the body, see :func:`limit`."""


def _both(**groups: tuple[float, ...]) -> Pose:
    return {f"{k}_{s}": v for k, v in groups.items() for s in "lr"}


_STAND: Pose = {**_both(plant=(1,), arm=(7, 10, 0), elbow=(12,), fingers=(14,), leg=(0, 3, 9)), "level": (1,)}
_SEAT: Pose = _both(leg=(84, 8, 4), knee=(84,), plant=(1,), arm=(8, 30, 0), elbow=(30,), fingers=(12,))


def _stand(**groups: tuple[float, ...]) -> Pose:
    return {**_STAND, **groups}


def _seat(**groups: tuple[float, ...]) -> Pose:
    return {**_SEAT, **groups}


NAMED: dict[str, Pose] = {
    "attention": _stand(**_both(arm=(3, 0, 0), elbow=(3,), leg=(0, 0, 6), fingers=(5,))),
    "at ease": _stand(**_both(arm=(12, 15, 0), elbow=(18,), leg=(0, 9, 10))),
    "akimbo": _stand(**_both(arm=(48, -12, -62), elbow=(98,), wrist=(-20, 0), leg=(0, 9, 12), fingers=(20,))),
    "one hand on the hip": _stand(arm_l=(48, -12, -62), elbow_l=(98,), wrist_l=(-20, 0), pelvis=(0, 5, 0),
                                  spine=(0, -9, 0), leg_r=(0, 8, 12), arm_r=(12, 5, 0)),
    "contrapposto": _stand(pelvis=(0, -7, 6), spine=(-3, 14, -8), leg_l=(0, 4, 6), leg_r=(14, 4, 22), knee_r=(24,),
                           head=(4, -6, 18), arm_l=(14, 0, 0), arm_r=(10, 30, 0), elbow_r=(38,)),
    "striding": _stand(leg_l=(30, 2, 4), knee_l=(8,), leg_r=(-22, 2, 8), knee_r=(14,), plant_r=(0,), foot_r=(-12, 0),
                       spine=(4, 0, -8), arm_r=(30, 80, 0), elbow_r=(25,), arm_l=(26, -85, 0), elbow_l=(12,)),
    "lunge": _stand(leg_l=(72, 6, 6), knee_l=(76,), leg_r=(-20, 8, 14), knee_r=(10,), plant_r=(0,), foot_r=(-18, 0),
                    pelvis=(8, 0, 0), spine=(6, 0, 10), arm_l=(92, 75, 0), elbow_l=(8,), arm_r=(70, -40, 0)),
    "reaching up": _stand(arm_r=(165, 35, 0), elbow_r=(8,), shrug_r=(14, 0), spine=(-6, 12, 0), neck=(-14, 6, 0),
                          head=(-14, 0, -10), leg_l=(0, 8, 12)),
    "both arms up": _stand(**_both(arm=(150, 20, 10), elbow=(14,), leg=(0, 8, 10)), spine=(-8, 0, 0), neck=(-10, 0, 0)),
    "arms folded": _stand(arm_l=(34, 62, -58), elbow_l=(98,), arm_r=(30, 66, -58), elbow_r=(102,),
                          forearm_l=(50,), forearm_r=(40,), leg_l=(0, 8, 12), spine=(-3, 0, 0)),
    "arms crossed overhead": _stand(arm_l=(158, 32, 60), elbow_l=(88,), arm_r=(160, 34, 60), elbow_r=(84,),
                                    spine=(-5, 5, 0), pelvis=(0, -5, 0), leg_r=(10, 4, 18), knee_r=(18,)),
    "hands behind the head": _stand(**_both(arm=(126, 18, 78), elbow=(136,), wrist=(20, 0)), leg_l=(0, 8, 14)),
    "hand on the chin": _stand(arm_r=(36, 82, -18), elbow_r=(140,), fingers_r=(50,), arm_l=(26, 60, -62),
                               elbow_l=(92,), neck=(10, 0, 0), head=(8, 0, -10), leg_l=(0, 8, 12)),
    "hands behind the back": _stand(**_both(arm=(28, -62, -58), elbow=(62,)), spine=(-3, 0, 0)),
    "brow shaded": _stand(arm_r=(104, 48, 10), elbow_r=(132,), wrist_r=(10, 0), pelvis=(0, -4, 0), spine=(0, 6, 10),
                          head=(-6, 0, -24), leg_r=(12, 4, 20), knee_r=(20,), arm_l=(46, -12, -60), elbow_l=(96,)),
    "pointing": _stand(arm_l=(94, 55, 0), elbow_l=(4,), fingers_l=(18,), head=(0, 0, 24), spine=(0, 0, 14),
                       arm_r=(14, 0, 0), leg_l=(18, 4, 10), knee_l=(10,), leg_r=(-8, 6, 18)),
    "kneeling on one knee": {"leg_l": (86, 6, 4), "knee_l": (88,), "plant_l": (1,), "leg_r": (2, 4, 4),
                             "knee_r": (92,), "foot_r": (38, 0), "spine": (6, 0, 6), "arm_l": (38, 80, 0),
                             "elbow_l": (62,), "arm_r": (14, 10, 0), "elbow_r": (20,), "head": (8, 0, 0)},
    "kneeling": {**_both(leg=(6, 6, 0), knee=(94,), foot=(42, 0), arm=(16, 40, 0), elbow=(34,)), "spine": (8, 0, 0),
                 "head": (12, 0, 0)},
    "sitting on heels": {**_both(leg=(58, 10, 0), knee=(140,), foot=(45, 0), arm=(22, 62, 0), elbow=(38,)),
                         "spine": (10, 0, 0), "pelvis": (8, 0, 0)},
    "sitting on a block": _seat(**_both(arm=(34, 74, 0), elbow=(46,), forearm=(60,)), spine=(10, 0, 0)),
    "sitting, knee held": _seat(leg_l=(112, 4, 0), knee_l=(118,), plant_l=(0,), arm_l=(52, 84, -10), elbow_l=(30,),
                                arm_r=(58, 104, -10), elbow_r=(24,), spine=(30, 0, 0), neck=(10, 0, 0)),
    "sitting and thinking": _seat(arm_r=(52, 96, 0), elbow_r=(132,), fingers_r=(60,), arm_l=(42, 70, -30),
                                  elbow_l=(70,), spine=(42, 0, -8), pelvis=(14, 0, 0), neck=(12, 0, 0)),
    "sitting on the ground": {"pelvis": (-18, 0, 0), "leg_l": (120, 6, 0), "knee_l": (113,), "leg_r": (70, 10, 20),
                              "knee_r": (8,), "arm_l": (46, -70, 0), "arm_r": (56, 78, 0), "elbow_r": (40,),
                              "wrist_l": (-50, 0), "spine": (14, 0, 8), "foot_r": (20, 0)},
    "crouching": {**_both(leg=(112, 16, 10), knee=(136,), plant=(1,), arm=(48, 78, 0), elbow=(64,)), "level": (1,),
                  "pelvis": (16, 0, 0), "spine": (34, 0, 0), "neck": (-12, 0, 0)},
    "reclining": {"pelvis": (-62, 0, 0), "leg_l": (66, 8, 6), "knee_l": (82,), "leg_r": (28, 10, 14), "knee_r": (16,),
                  "foot_l": (20, 0), "foot_r": (26, 0), "spine": (26, 0, 12), "neck": (16, 0, 0), "arm_l": (44, -78, 0),
                  "elbow_l": (42,), "arm_r": (46, 66, 0), "elbow_r": (38,)},
    "lying on the side": {"pelvis": (0, 90, 0), "spine": (10, -26, 0), "leg_l": (24, 0, 0), "knee_l": (36,),
                          "leg_r": (52, 6, 0), "knee_r": (74,), "arm_l": (128, 40, 0), "elbow_l": (118,),
                          "arm_r": (36, 62, 0), "elbow_r": (54,), "foot_l": (30, 0), "foot_r": (30, 0)},
    "twisted": _stand(pelvis=(0, 0, -16), spine=(2, 6, 40), neck=(0, 0, 20), head=(0, 0, 24), leg_r=(12, 6, 10),
                      knee_r=(20,), arm_l=(46, -30, 0), elbow_l=(44,), arm_r=(52, 92, 0), elbow_r=(58,)),
    "hauling a rope": _stand(pelvis=(-10, 0, -12), spine=(16, 0, -14), leg_l=(42, 8, 10), knee_l=(34,),
                             leg_r=(10, 14, 20), knee_r=(40,), arm_l=(74, 88, -16), elbow_l=(20,), arm_r=(60, 70, -20),
                             elbow_r=(86,), fingers_l=(80,), fingers_r=(80,)),
    "holding a pole": _stand(arm_r=(62, 34, -8), elbow_r=(82,), fingers_r=(76,), pelvis=(0, 5, 0), spine=(0, -8, 0),
                             leg_l=(14, 6, 18), knee_l=(22,), arm_l=(12, 10, 0), head=(0, 0, 16)),
    "poling a boat": _stand(arm_r=(128, 66, -20), elbow_r=(62,), arm_l=(58, 86, -34), elbow_l=(58,), fingers_l=(78,),
                            fingers_r=(78,), spine=(18, -8, 14), pelvis=(8, 0, 0), leg_l=(36, 8, 8), knee_l=(34,),
                            leg_r=(-10, 10, 16), knee_r=(8,), plant_r=(0,)),
    "leaning on a rail": _stand(pelvis=(24, 0, 0), spine=(30, 0, 0), neck=(-14, 0, 0), head=(-16, 0, 0),
                                **_both(arm=(72, 74, -20), elbow=(52,), leg=(24, 5, 10))),
    "carrying a load": _stand(**_both(arm=(24, 60, -24), elbow=(74,), forearm=(-70,), leg=(4, 6, 8)),
                              spine=(-14, 0, 0), neck=(8, 0, 0)),
    "load on the shoulder": _stand(arm_r=(136, 30, 30), elbow_r=(122,), spine=(0, 12, 0), pelvis=(0, -6, 0),
                                   head=(0, 14, 12), leg_l=(22, 4, 8), knee_l=(16,), leg_r=(-10, 4, 12), plant_r=(0,),
                                   arm_l=(20, 40, 0), elbow_l=(24,)),
    "bowed": _stand(pelvis=(22, 0, 0), spine=(44, 0, 0), neck=(20, 0, 0), head=(20, 0, 0),
                    **_both(arm=(50, 86, 0), elbow=(14,), leg=(22, 3, 8))),
    "throwing": _stand(arm_r=(104, -22, 60), elbow_r=(84,), arm_l=(88, 46, 0), elbow_l=(12,), spine=(-10, -10, -26),
                       leg_l=(44, 10, 10), knee_l=(20,), leg_r=(-6, 10, 24), knee_r=(26,), fingers_r=(60,)),
    "on one leg": _stand(level=(0,), leg_l=(52, 10, 10), knee_l=(84,), plant_l=(0,), foot_l=(30, 0), pelvis=(0, 4, 0),
                         **_both(arm=(84, 6, 0), elbow=(12,))),
    "arabesque": _stand(level=(0,), pelvis=(52, 0, 0), leg_r=(52, 0, 0), leg_l=(-24, 4, 14), plant_l=(0,),
                        foot_l=(45, 0), spine=(-26, 0, 0), neck=(-24, 0, 0), arm_l=(98, 10, 0), arm_r=(128, 76, 0)),
    "waving": _stand(arm_l=(112, 12, 60), elbow_l=(62,), head=(0, 6, 14), spine=(0, -4, 6), leg_r=(8, 5, 14),
                     knee_r=(14,), arm_r=(10, 10, 0)),
    "wrapped in her arms": _stand(arm_l=(46, 88, -60), elbow_l=(118,), arm_r=(42, 92, -60), elbow_r=(122,),
                                  neck=(14, 0, 0), head=(14, 8, 0), spine=(14, 0, 0), leg_l=(6, 0, 4), knee_l=(10,)),
    "hand on the heart": _stand(arm_r=(32, 60, -52), elbow_r=(116,), arm_l=(10, 10, 0), head=(-6, 0, 0)),
    "offering": _stand(**_both(arm=(58, 66, 10), elbow=(38,), forearm=(-80,)), head=(10, 0, 0), leg_l=(20, 4, 8),
                       knee_l=(12,), leg_r=(-8, 4, 12), plant_r=(0,)),
}
"""Poses by name; the harbour's ferry keeper strikes most of them."""
KEPT_OUT = ("brow shaded", "hauling a rope", "kneeling on one knee", "sitting, knee held", "twisted", "throwing",
            "arms crossed overhead", "load on the shoulder")
"""Named poses that training never comes near: the reader is tested on them and on what lies round them."""
TAUGHT = tuple(name for name in NAMED if name not in KEPT_OUT)


CLOSE_ARMS: dict[str, dict[str, tuple[tuple[float, float], ...]]] = {
    "flush": {"arm": ((0, 12), (-25, 40), (-25, 25)), "elbow": ((0, 22),)},
    "on the thigh": {"arm": ((5, 28), (0, 65), (-35, 10)), "elbow": ((12, 60),)},
    "clasped before": {"arm": ((10, 32), (30, 80), (-50, -5)), "elbow": ((20, 65),)},
    "on the belly": {"arm": ((12, 38), (25, 70), (-75, -35)), "elbow": ((72, 108),)},
    "on the chest": {"arm": ((18, 48), (40, 85), (-70, -35)), "elbow": ((102, 142),)},
    "folded": {"arm": ((22, 48), (48, 82), (-75, -40)), "elbow": ((84, 116),)},
    "wrapped": {"arm": ((35, 62), (74, 104), (-75, -40)), "elbow": ((100, 135),)},
    "on the other shoulder": {"arm": ((50, 88), (82, 118), (-55, 5)), "elbow": ((98, 142),)},
    "to the face": {"arm": ((28, 75), (55, 100), (-45, 10)), "elbow": ((112, 148),)},
    "on the hip": {"arm": ((32, 62), (-32, 12), (-78, -42)), "elbow": ((78, 118),)},
    "behind the back": {"arm": ((14, 40), (-78, -38), (-78, -38)), "elbow": ((35, 98),)},
    "behind the head": {"arm": ((105, 150), (0, 45), (40, 80)), "elbow": ((110, 148),)},
}
"""Least and greatest angles of one arm held against the body or across it, by where the hand goes."""

STANCES = ("stand", "wide", "step", "kneel", "sit", "crouch", "lie", "any")
USUAL = (0.3, 0.12, 0.16, 0.08, 0.1, 0.06, 0.06, 0.12)
LOW_TOO = (0.28, 0.08, 0.12, 0.16, 0.16, 0.08, 0.04, 0.08)
"""How often each stance is drawn: usually, and where kneeling and sitting ones are wanted more often."""
_HAND = ("forearm", "wrist", "fingers", "shrug")


def limit(pose: Pose) -> Pose:
    """The same pose inside the joint limits; an arm behind the body cannot rise as far as one before it."""
    out: Pose = {}
    for group, angles in pose.items():
        bounds = LIMITS[group.removesuffix("_l").removesuffix("_r")]
        out[group] = tuple(float(np.clip(a, lo, hi)) for a, (lo, hi) in zip(angles, bounds, strict=True))
    for side in "lr":
        raised, plane, twist = out.get(f"arm_{side}", (0.0, 0.0, 0.0))
        if plane < 0:
            out[f"arm_{side}"] = (min(raised, 178 + plane * (128 / 90)), plane, twist)
    return out


def mirrored(pose: Pose) -> Pose:
    """The pose with figure's left and right exchanged."""
    other = {"_l": "_r", "_r": "_l"}
    out: Pose = {}
    for group, angles in pose.items():
        end = group[-2:]
        if end in other:
            out[group[:-2] + other[end]] = angles
        else:
            out[group] = angles if len(angles) < 3 else (angles[0], -angles[1], -angles[2])
    return out


def sample(rng: np.random.Generator, names: tuple[str, ...] = tuple(NAMED)) -> Pose:
    """One random pose inside the joint limits: near one of ``names``, a blend of three of them, or freely drawn."""
    draw = rng.random()
    if draw < 0.35:
        pose = _shaken(_named(rng, names), rng, rng.choice([4.0, 9.0, 16.0]))
    elif draw < 0.60:
        pose = _shaken(_mixed(rng, names), rng, rng.choice([4.0, 10.0, 18.0]))
    else:
        pose = _free(rng)
    return limit(mirrored(pose) if rng.random() < 0.5 else pose)


def sample_near(rng: np.random.Generator, names: tuple[str, ...]) -> Pose:
    """One random pose near one of ``names``, mirrored half of the time."""
    pose = _shaken(_named(rng, names), rng, rng.choice([0.0, 4.0, 8.0]))
    return limit(mirrored(pose) if rng.random() < 0.5 else pose)


def changed(pose: Pose, rng: np.random.Generator, degrees: float) -> Pose:
    """A pose with every angle moved by so much, as a rule."""
    return limit(_shaken(pose, rng, degrees))


def sample_close(rng: np.random.Generator, names: tuple[str, ...] = tuple(NAMED)) -> Pose:
    """One random pose with the arms held against the body or across it, in any stance."""
    pose = _shaken(_mixed(rng, names), rng, 8.0) if rng.random() < 0.3 else _free(rng, LOW_TOO)
    kinds = list(CLOSE_ARMS)
    both = kinds[rng.integers(len(kinds))] if rng.random() < 0.6 else None
    for side in "lr":
        if both is None and rng.random() < 0.15:
            continue                                     # that arm stays free
        for group, bounds in CLOSE_ARMS[both or kinds[rng.integers(len(kinds))]].items():
            low, high = np.array(bounds).T
            middle, half = (low + high) / 2, (high - low) / 2
            pose[f"{group}_{side}"] = tuple(middle + half * np.clip(rng.normal(0, 0.6, len(middle)), -1.4, 1.4))
        pose[f"forearm_{side}"] = (rng.uniform(-50, 70),)
        pose[f"wrist_{side}"] = tuple(rng.normal(0, [22, 8]))
        pose[f"fingers_{side}"] = (abs(rng.normal(15, 22)),)
    return limit(mirrored(pose) if rng.random() < 0.5 else pose)


def sample_wide(rng: np.random.Generator, names: tuple[str, ...] = tuple(NAMED)) -> Pose:
    """One random pose from :func:`sample` or :func:`sample_close`; often tidy, as poses are that are set by numbers;
    now and then with collar bones that stay down when an arm is raised, as in simpler models of the body."""
    pose = sample(rng, names) if rng.random() < 0.6 else sample_close(rng, names)
    if rng.random() < 0.4:
        pose = _neat(pose, rng)
    if rng.random() < 0.35:
        kept = rng.uniform(0.3, 1.0)
        for side in "lr":
            up, forward = pose.get(f"shrug_{side}", (0.0, 0.0))
            raised, plane, _ = pose.get(f"arm_{side}", (0.0, 0.0, 0.0))
            pose[f"shrug_{side}"] = (up - kept * rig.COLLAR_UP * max(0.0, raised - rig.COLLAR_FROM),
                                     forward - kept * rig.COLLAR_FORWARD * raised * float(np.sin(np.radians(plane))))
    return pose


def sample_neat(rng: np.random.Generator, names: tuple[str, ...] = tuple(NAMED)) -> Pose:
    """One random tidy pose."""
    return _neat(sample(rng, names) if rng.random() < 0.6 else sample_close(rng, names), rng)


def _neat(pose: Pose, rng: np.random.Generator) -> Pose:
    """The pose with both legs or both arms alike and many angles at 0; an outline from the side then covers itself."""
    out = dict(pose)
    for groups, chance in ((("leg", "knee", "foot", "plant"), 0.5), (("arm", "elbow", *_HAND), 0.4)):
        if rng.random() < chance:
            for group in groups:
                out.pop(f"{group}_r", None)
                if f"{group}_l" in out:
                    out[f"{group}_r"] = out[f"{group}_l"]
    if rng.random() < 0.3:
        apart = float(rng.choice([0.0, rng.uniform(0, 15)]))
        for side in "lr":
            out |= {f"leg_{side}": (0.0, apart, 0.0), f"knee_{side}": (0.0,), f"foot_{side}": (0.0, 0.0)}
    for group in ("pelvis", "spine", "neck", "head"):
        if rng.random() < 0.6 and max(np.abs(out.get(group, (0.0,)))) < 45:
            out.pop(group, None)
    for group in _HAND:
        if rng.random() < 0.5:
            out.pop(f"{group}_l", None)
            out.pop(f"{group}_r", None)
    return out


def _named(rng: np.random.Generator, names: tuple[str, ...]) -> Pose:
    return NAMED[names[rng.integers(len(names))]]


def _mixed(rng: np.random.Generator, names: tuple[str, ...]) -> Pose:
    """Arms of one named pose, spine and legs of another, the head of a third."""
    base, arms, head = dict(_named(rng, names)), _named(rng, names), _named(rng, names)
    if rng.random() < 0.5:
        arms = mirrored(arms)
    for side in "lr":
        source = arms if rng.random() < 0.8 else mirrored(arms)
        for group in ("arm", "elbow", *_HAND):
            base.pop(f"{group}_{side}", None)
            if f"{group}_{side}" in source:
                base[f"{group}_{side}"] = source[f"{group}_{side}"]
    for group in ("neck", "head"):
        base[group] = head.get(group, (0.0, 0.0, 0.0))
    return base


def _shaken(pose: Pose, rng: np.random.Generator, degrees: float) -> Pose:
    """Every angle moved by a normal amount; trunk and pelvis less than the limbs, switches not at all."""
    out: Pose = {}
    for group in (f"{g}{e}" for g in GROUPS for e in (("_l", "_r") if g in PAIRED else ("",))):
        angles = np.array(pose.get(group, (0.0,) * len(GROUPS[group.removesuffix("_l").removesuffix("_r")])))
        if not group.startswith(("plant", "level")):
            calm = 0.4 if group in ("pelvis", "spine", "neck") or group.startswith("foot") else 1.0
            angles = angles + rng.normal(0, degrees * calm, len(angles))
        out[group] = tuple(angles)
    return out


def _free(rng: np.random.Generator, stances: tuple[float, ...] = USUAL) -> Pose:
    """Drawn freely: trunk, arms and legs each from broad distributions; stance first, since legs must carry."""
    pose: Pose = {"spine": tuple(rng.normal([6, 0, 0], [16, 9, 14])), "neck": tuple(rng.normal(0, [10, 7, 10])),
                  "head": tuple(rng.normal(0, [10, 7, 18]))}
    for side in "lr":
        if rng.random() < 0.3:
            arm = (abs(rng.normal(8, 10)), rng.uniform(-60, 90), rng.normal(0, 25))
            bend = abs(rng.normal(15, 15))
        else:
            arm = (rng.uniform(5, 175), rng.uniform(-45, 120), rng.uniform(-75, 75))
            bend = float(rng.choice([abs(rng.normal(0, 20)), rng.uniform(0, 145)]))
        pose |= {f"arm_{side}": arm, f"elbow_{side}": (bend,), f"forearm_{side}": (rng.uniform(-70, 80),),
                 f"wrist_{side}": tuple(rng.normal(0, [20, 8])), f"fingers_{side}": (abs(rng.normal(10, 25)),),
                 f"shrug_{side}": tuple(rng.normal(0, 5, 2))}
    return pose | _free_legs(rng, stances)


def _free_legs(rng: np.random.Generator, stances: tuple[float, ...]) -> Pose:
    stance = rng.choice(STANCES, p=stances)
    pelvis = rng.normal(0, [5, 4, 8])
    legs = {s: [rng.normal(0, 5), abs(rng.normal(4, 4)), rng.normal(10, 10), abs(rng.normal(0, 6))] for s in "lr"}
    plant = {"l": 1.0, "r": 1.0}
    if stance == "wide":
        for s in "lr":
            legs[s][1] = rng.uniform(8, 35)
            legs[s][3] = abs(rng.normal(8, 18))
    elif stance == "step":
        legs["l"][0], legs["l"][3] = rng.uniform(10, 85), rng.uniform(0, 80)
        legs["r"][0], legs["r"][3] = rng.uniform(-25, 5), rng.uniform(0, 35)
        plant["r"] = float(rng.random() < 0.3)
    elif stance == "kneel":
        legs["l"] = [rng.uniform(70, 110), rng.normal(8, 8), rng.normal(4, 8), rng.uniform(75, 120)]
        legs["r"] = [rng.normal(8, 12), rng.normal(5, 5), rng.normal(0, 6), rng.uniform(85, 140)]
        if rng.random() < 0.4:
            legs["l"] = list(np.array(legs["r"]) + rng.normal(0, 6, 4))
        plant = {"l": float(rng.random() < 0.7), "r": 0.0}
    elif stance in ("sit", "crouch"):
        low = (65, 105) if stance == "sit" else (90, 125)
        for s in "lr":
            legs[s] = [rng.uniform(*low), rng.normal(10, 12), rng.normal(6, 12), rng.uniform(50, 130)]
            plant[s] = float(rng.random() < 0.6)
        pelvis[0] += rng.uniform(-20, 25)
    elif stance == "lie":
        pelvis = np.array([rng.choice([-75, 80]), 0, 0]) + rng.normal(0, [15, 10, 20])
        if rng.random() < 0.4:
            pelvis = np.array([0, rng.choice([-80, 80]), 0]) + rng.normal(0, [15, 12, 20])
        for s in "lr":
            legs[s] = [rng.uniform(-10, 100), rng.normal(8, 10), rng.normal(5, 12), rng.uniform(0, 110)]
        plant = {"l": 0.0, "r": 0.0}
    elif stance == "any":
        for s in "lr":
            legs[s] = [rng.uniform(-25, 115), rng.uniform(-10, 45), rng.uniform(-25, 40), rng.uniform(0, 135)]
            plant[s] = 0.0
        pelvis = rng.normal(0, [18, 14, 10])
    level = float(stance in ("stand", "wide", "step") and rng.random() < 0.85)
    out: Pose = {"pelvis": tuple(pelvis), "level": (level,)}
    for s in "lr":
        out |= {f"leg_{s}": tuple(legs[s][:3]), f"knee_{s}": (legs[s][3],), f"plant_{s}": (plant[s],),
                f"foot_{s}": (rng.normal(8, 18), rng.normal(0, 8))}
    return out
