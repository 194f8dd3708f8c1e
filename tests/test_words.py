"""One thing, one name: whatever a person reads keeps to the glossary in DEVELOPERS.md and to plain English."""

from __future__ import annotations

import ast
import json
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "silhouette"
MOST_WORDS = 30
def glossary() -> list[tuple[str, str, list[str]]]:
    """(word, meaning, forbidden twins) of each row of the table."""
    section = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("\n## Words\n")[1].split("\n## ")[0]
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in section.splitlines() if line[:1] == "|"]
    assert rows[0] == ["word", "what it means", "not"]
    return [(word, means, [t.strip() for t in twins.split(",") if t.strip()]) for word, means, twins in rows[2:]]


def forbidden() -> re.Pattern[str]:
    """Finds the twins of the glossary, in the singular and the plural, and the phrases listed under it; words are found
    whole, and also over the end of a line."""
    section = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("\nPhrases that plain English")[1]
    phrases = re.findall(r'"([^"]+)"', " ".join(section.split("\n\n")[0].split()))
    assert len(phrases) > 10
    twins = [twin for _, _, twins in glossary() for twin in twins]
    words = [re.escape(word) + "(?:s|es)?" for word in twins] + [re.escape(phrase) for phrase in phrases]
    return re.compile(rf"(?<![\w-])(?:{'|'.join(words)})(?!\w)".replace(r"\ ", r"\s+"), re.IGNORECASE)


FINDS = forbidden()


def strings_of(tree: ast.AST) -> list[tuple[int, str]]:
    """(line, text) of every string constant, parts of f-strings among them, but docstrings and the keys of data."""
    unread: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr):
            unread.add(id(node.value))
        elif isinstance(node, ast.Subscript):
            unread.add(id(node.slice))
        elif isinstance(node, ast.Dict):
            unread.update(map(id, node.keys))
    return [(node.lineno, node.value) for node in ast.walk(tree)
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in unread]


def messages_of(tree: ast.AST) -> list[tuple[int, str]]:
    """(line, text) of what is said by errors: the strings in every call of a name that ends in Error."""
    calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call) and _name(node.func).endswith("Error")]
    return [found for call in calls for found in strings_of(call)]


def _name(function: ast.expr) -> str:
    return function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")


def read_by_people(path: Path) -> list[tuple[int, str]]:
    """(line, text) of what a person may get to read of a file."""
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".ipynb":
        cells = json.loads(text)["cells"]
        return [(i, "".join(cell["source"])) for i, cell in enumerate(cells) if cell["cell_type"] == "markdown"]
    if path.suffix in (".j2", ".html"):  # markup and what the template does is for the browser, and for jinja
        text = re.sub(r"(?s)<style.*?</style>|\{%.*?%\}|\{#.*?#\}|\{\{.*?\}\}|style=\"[^\"]*\"", _lines_only, text)
    if path.suffix == ".html":  # of a tag only what it says aloud or shows
        text = re.sub(r"<[^>]*>", _said_by_tag, text)
    if path.suffix == ".js":
        text = re.sub(r"""(?s)/\*.*?\*/|//[^\n]*|'[^'\n]*'|"[^"\n]*"|`[^`]*`|.""", _quoted_only, text)
    if path.suffix != ".py":
        return [(1, text)]
    tree = ast.parse(text)
    return strings_of(tree) if path.parent.name in ("cli", "show") else messages_of(tree)


def _lines_only(match: re.Match[str]) -> str:
    return "\n" * match.group().count("\n")


def _said_by_tag(match: re.Match[str]) -> str:
    said = re.findall(r'\b(?:aria-label|alt|title|placeholder|content)="([^"]*)"', match.group())
    return " ".join(said) + _lines_only(match)


def _quoted_only(match: re.Match[str]) -> str:
    """A string in a script; names of the browser's things, ``"video/"`` say, are no words."""
    text = match.group()
    return text if text[0] in "'\"`" and re.search(r"[A-Z ]", text) else _lines_only(match)


FILES = sorted(
    str(path.relative_to(ROOT)).replace("\\", "/")
    for path in [
        ROOT / "README.md",
        ROOT / "sample_poses" / "README.md",
        *(ROOT / "notebooks").glob("*.ipynb"),
        *(ROOT / "tests" / "data").glob("*/README.md"),
        *PACKAGE.glob("show/*.j[s2]"),
        *PACKAGE.glob("live/page/*.js"),
        *PACKAGE.glob("live/page/*.html"),
        *(p for p in PACKAGE.rglob("*.py") if "studio" not in p.parts),
    ]
)


def hits(name: str) -> list[str]:
    """``file:line: the forbidden word, in its surroundings``."""
    found = []
    for line, text in read_by_people(ROOT / name):
        for match in FINDS.finditer(text):
            at = line + text[: match.start()].count("\n")
            around = " ".join(text[max(match.start() - 30, 0) : match.end() + 30].split())
            found.append(f"{name}:{at}: '{match.group()}' in '{around}'")
    return found


@pytest.mark.parametrize("name", FILES)
def test_what_people_read_keeps_to_the_glossary(name: str) -> None:
    assert hits(name) == []


def test_the_glossary_is_short_and_every_word_is_explained_once() -> None:
    rows = glossary()
    assert 20 <= len(rows) <= MOST_WORDS
    words = [word for word, _, _ in rows]
    assert len(set(words)) == len(words) and all(means for _, means, _ in rows)
    used = " ".join(text for name in FILES for _, text in read_by_people(ROOT / name)).lower()
    for word in words:
        for part in word.split(", "):
            assert re.search(rf"\b{re.escape(part)}", used), f"nobody ever reads '{part}'"


def test_a_forbidden_word_is_found_wherever_a_person_would_read_it() -> None:
    source = '"""Black shapes in a docstring."""\nprint(f"{n} black\\nshapes")\nraise AnglesError(what="the azimuth")\n'
    said = [text for _, text in strings_of(ast.parse(source))]
    assert said == [" black\nshapes", "the azimuth"] and all(map(FINDS.search, said))
    assert [text for _, text in messages_of(ast.parse(source))] == ["the azimuth"]
    assert not FINDS.search("anti-background retaken untold a folder of its own")
