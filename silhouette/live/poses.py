"""What the pages for choosing, checking and keeping are told of the folder: its poses, and what was made of them.

Files are handed out by two names that are looked up in lists: that of what they belong to and their own. Neither is
ever made into a path.
"""

from __future__ import annotations

import hmac
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import BaseRoute, Route

from silhouette import scoring
from silhouette.errors import PoseError, SilhouetteError
from silhouette.intake import rings, stills
from silhouette.live.folder import ARMATURES, CHECKS, MENDED, RESULTS, SETS, Folder, PosePlace, live_place
from silhouette.live.house import House, page
from silhouette.live.jobs import read_json
from silhouette.texts import printable
from silhouette.writing import MARK, PHOTOGRAPHS, Kind, read_mark

OFFERED: dict[Kind, dict[str, str]] = {
    "results": {
        "critique.pdf": "The critique, to print",
        "chart.pdf": "The chart of wheels, to print",
        "chart.png": "The chart as a picture",
        "sheet.png": "Every stop side by side",
        "spaces.png": "The gaps alone",
        "report.html": "This comparison as one page",
        "views.csv": "All numbers, for a spreadsheet",
        "result.json": "All numbers, for programs",
    },
    "check": {
        "check.pdf": "The check, to print",
        "check.png": "The check as a picture",
        "check.json": "The check, for programs",
    },
    "set": {
        "contact_sheet.pdf": "The contact sheet, to print",
        "contact_sheet.png": "The contact sheet as a picture",
        "to_scale.pdf": "Sheets to scale, to print at 100 %",
        "turnaround.html": "A page that turns the silhouettes",
        "about.txt": "What is in the set",
    },
    "armature": {
        "armature.html": "The massing model with the wire in it, to turn",
        "armature.pdf": "The armature sheet, to print at 100 %",
        "sections.pdf": "Templates of sections and profiles, to print at 100 %",
        "massing.stl": "The massing model, to print in solid",
        "massing.3mf": "The same, with its unit",
        "sections.svg": "The sections as lines",
        "calipers.csv": "Widths and depths, for a spreadsheet",
        "armature.json": "All numbers, for programs",
        "about.txt": "What each file is",
    },
}
"""What may be asked for of a folder that a job left, and what it is. Nothing of it holds a photograph."""
MOST_READ = 200_000_000
"""Bytes of a file that is read whole; a report of 40 poses has 15 million."""


@dataclass(frozen=True)
class Left:
    """A folder that a job left, whole and marked as ours."""

    path: Path
    kind: Kind
    made: float
    """Seconds since 1970."""
    files: tuple[str, ...]
    """What may be asked for of it."""

    def told(self) -> dict[str, Any]:
        """Its files as a page lists them, and when it was made."""
        return {"made": self.made, "files": [{"name": n, "says": OFFERED[self.kind][n]} for n in self.files]}


def routes(house: House) -> list[BaseRoute]:
    """The page of a pose, and what can be asked for under ``/api/`` of poses, results, checks, sets and armatures."""
    asked = Asked(house.folder)
    return [
        Route("/pose/{pose}", page("pose")),
        Route("/api/poses", asked.poses, methods=["GET"]),
        Route("/api/poses", asked.new_pose, methods=["POST"]),
        Route("/api/poses/{pose}", asked.pose, methods=["GET"]),
        Route("/api/poses/{pose}/check/{file}", asked.check_file, methods=["GET"]),
        Route("/api/poses/{pose}/armature/{file}", asked.armature_file, methods=["GET"]),
        Route("/api/results", asked.results, methods=["GET"]),
        Route("/api/results/report", asked.report, methods=["GET"]),
        Route("/api/results/{file}", asked.results_file, methods=["GET"]),
        Route("/api/sets", asked.sets, methods=["GET"]),
        Route("/api/sets/{set}/{file}", asked.set_file, methods=["GET"]),
    ]


class Asked:
    """The answers. All but :meth:`new_pose` look at the disk and run in threads."""

    def __init__(self, folder: Folder) -> None:
        self.folder = folder

    def poses(self, request: Request) -> Response:
        return JSONResponse(list(self._poses()))

    async def new_pose(self, request: Request) -> Response:
        name = (await read_json(request)).get("name")
        if not isinstance(name, str) or not name.strip():
            raise PoseError("A pose needs a name.", do="Type one.")
        made = self.folder.new_pose(name)
        return JSONResponse({"id": made.id, "name": made.name})

    def pose(self, request: Request) -> Response:
        asked = self.folder.pose(request.path_params["pose"]).id
        found = next((told for told in self._poses() if told["id"] == asked), None)
        if found is None:
            raise PoseError("This pose has no pictures yet.", do="Shoot it, or add pictures.")
        return JSONResponse(found)

    def _poses(self) -> Iterator[dict[str, Any]]:
        places = self.folder.poses()
        for place, called in zip(places, scoring.distinct_names([place.path for place in places]), strict=True):
            yield _pose_told(place) | {"called": called, "checked": self._checked(place),
                                      "armature": self._armature(place)}

    def _checked(self, place: PosePlace) -> dict[str, Any] | None:
        """The last check of a pose, None where there was none."""
        left = left_at(self.folder.path / CHECKS / place.path.name, "check")
        if left is None:
            return None
        found = _json_of(left.path / "check.json").get("findings")
        verdicts = [row.get("verdict") for row in found if isinstance(row, dict)] if isinstance(found, list) else []
        return left.told() | {"older": newest(place.path) > left.made, "retakes": verdicts.count("retake"),
                              "looks": verdicts.count("look")}

    def _armature(self, place: PosePlace) -> dict[str, Any] | None:
        """The last armature of a pose, None where there was none."""
        left = left_at(self.folder.path / ARMATURES / place.path.name, "armature")
        return None if left is None else left.told() | {"older": newest(place.path) > left.made}

    def results(self, request: Request) -> Response:
        """The last comparison: when it was made, of what, and which poses have changed or come since."""
        left, where = left_at(self.folder.path / RESULTS, "results"), printable(self.folder.path.resolve())
        if left is None:
            return JSONResponse({"folder": where, "made": None, "files": [], "poses": {}, "left_out": {}, "arc": None,
                                 "changed": [], "missing": []})
        told = _json_of(left.path / "result.json")
        try:
            rows = {row["name"]: _row_told(row) for row in told.get("poses", [])}
            out = {row["name"]: row["why"] for row in told.get("left_out", [])}
        except (KeyError, TypeError):  # it was not we who wrote it
            rows, out, told = {}, {}, {}
        now = list(self._poses())
        changed = [one["id"] for one in now if one["newest"] > left.made or one["called"] not in {**rows, **out}]
        missing = sorted({*rows, *out} - {one["called"] for one in now})
        return JSONResponse(left.told() | {"folder": where, "poses": rows, "left_out": out, "arc": told.get("arc"),
                                           "changed": changed, "missing": missing})

    def report(self, request: Request) -> Response:
        """The report page as it was written; a page takes from it what it shows."""
        left = left_at(self.folder.path / RESULTS, "results")
        if left is None or "report.html" not in left.files:
            raise PoseError("Nothing has been compared yet.", do="Choose Compare.")
        return Response((left.path / "report.html").read_bytes(), media_type="text/html; charset=utf-8")

    def results_file(self, request: Request) -> Response:
        return _hand_out(left_at(self.folder.path / RESULTS, "results"), request.path_params["file"])

    def check_file(self, request: Request) -> Response:
        place = self.folder.pose(request.path_params["pose"])
        left = left_at(self.folder.path / CHECKS / place.path.name, "check")
        return _hand_out(left, request.path_params["file"])

    def armature_file(self, request: Request) -> Response:
        place = self.folder.pose(request.path_params["pose"])
        left = left_at(self.folder.path / ARMATURES / place.path.name, "armature")
        return _hand_out(left, request.path_params["file"])

    def sets(self, request: Request) -> Response:
        return JSONResponse([
            left.told() | {"id": self.folder.id_of(left.path), "name": printable(left.path.name),
                           "photographs": (left.path / PHOTOGRAPHS).is_dir()}
            for left in self._sets()
        ])

    def set_file(self, request: Request) -> Response:
        asked = request.path_params["set"].encode("utf-8", "replace")
        found = [left for left in self._sets() if hmac.compare_digest(self.folder.id_of(left.path).encode(), asked)]
        return _hand_out(found[0] if found else None, request.path_params["file"])

    def _sets(self) -> list[Left]:
        place = self.folder.path / SETS
        if not place.is_dir() or place.is_symlink():
            return []
        paths = sorted(place.iterdir(), key=lambda p: (stills.natural_key(p.name), p.name))
        return [left for path in paths if not path.name.startswith(".") and (left := left_at(path, "set")) is not None]


def left_at(path: Path, kind: Kind) -> Left | None:
    """What a job left at a place of its own, None where nothing of this kind lies there."""
    try:
        if path.is_symlink() or path.parent.is_symlink() or not path.is_dir():
            return None
        mark = read_mark(path)
        if mark is None or mark["kind"] != kind:
            return None
        files = [n for n in OFFERED[kind] if n in mark["files"] and _plain_file(path / n)]
        return Left(path, kind, (path / MARK).stat().st_mtime, tuple(files))
    except OSError:
        return None


def newest(place: Path) -> float:
    """When the pictures of a pose last changed, seconds since 1970: also when one came or went, of any ring or
    close-up."""
    try:
        times = [path.stat().st_mtime for folder in _folders(place) for path in (folder, *_files(folder))]
    except OSError:
        return 0.0
    return max(times)


def _folders(place: Path) -> list[Path]:
    """Where the pictures of a pose lie: its folder or clip, the folders of its rings, close-ups and masks of clips."""
    found = [place, stills.masks_folder(place)] if stills.masks_folder(place).is_dir() else [place]
    for path in sorted(place.iterdir()) if place.is_dir() else []:
        if rings.is_close_ups(path):
            found += [path, *(one for one in path.iterdir() if one.is_dir())]
        elif rings.ring_called(path) is not None:
            masks = stills.masks_folder(path)
            found += [path] * path.is_dir() + [masks] * masks.is_dir()
    return found


def _files(folder: Path) -> list[Path]:
    return [path for path in folder.iterdir() if path.is_file()] if folder.is_dir() else []


def _pose_told(place: PosePlace) -> dict[str, Any]:
    stops, names, problem = None, [], ""
    shot: list[dict[str, Any]] = []
    if place.kind == "stills":
        try:
            shot = [{"ring": one.ring, "stops": _stops_of(one)} for one in rings.rings_in(place.path)]
            by_clip = [one for one in shot if one["ring"] == "level" and one["stops"] is None]
            names = [] if by_clip else _names_in(live_place(place.path))
            counted = [one["stops"] for one in shot] if shot else [len(names)]
            stops = None if None in counted else sum(counted)
        except SilhouetteError as error:
            problem = str(type(error)(error.what, path=Path(place.path.name), do=error.do))
        except OSError as error:
            problem = f"{place.name}: cannot be read ({error.strerror or error})."
    mended = (place.path.parent / MENDED / f"{place.path.name}.html").is_file()
    details = len(rings.close_ups_in(place.path)) if place.kind == "stills" else 0
    return {"id": place.id, "name": place.name, "kind": place.kind, "stops": stops, "names": names, "rings": shot,
            "close_ups": details, "problem": problem, "newest": newest(place.path),
            "mending": f"{MENDED}/{printable(place.path.name)}.html" if mended else ""}


def _names_in(folder: Path) -> list[str]:
    """The names of the stills that lie in a folder itself."""
    begun = not any(map(stills.is_still, folder.iterdir()))
    return [] if begun else [printable(path.stem) for path in stills.list_stills(folder)]


def _stops_of(one: rings.RingPlace) -> int | None:
    """How many stops a ring has; None of a clip."""
    if one.files is not None:
        return len(one.files)
    return len(stills.list_stills(one.place)) if one.place.is_dir() else None


def _row_told(row: dict[str, Any]) -> dict[str, Any]:
    """Of a pose in ``result.json``: what it was meant to be, its rank, and why none of its pictures could be read."""
    problems = [view["problem"] for view in row["views"]]
    unread = bool(problems) and all(problems)
    return {"intent": row["intent"], "rank": row["rank"], "problem": problems[0] if unread else ""}


def _hand_out(left: Left | None, asked: str) -> Response:
    """A file of what a job left, to be saved; refuses whatever is not in its list."""
    if left is None or asked not in left.files:
        raise PoseError("This file is not there any more.", do="Load the page again.")
    name = asked if left.kind == "results" else f"{printable(left.path.name)}_{asked}"
    return FileResponse(left.path / asked, filename=name)


def _plain_file(path: Path) -> bool:
    return path.is_file() and not path.is_symlink()


def _json_of(path: Path) -> dict[str, Any]:
    """What a file of ours holds; nothing where it cannot be read."""
    try:
        if not _plain_file(path) or path.stat().st_size > MOST_READ:
            return {}
        told = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return {}
    return told if isinstance(told, dict) else {}
