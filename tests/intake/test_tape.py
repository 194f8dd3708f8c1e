"""Tables of lengths as strangers write them."""

from __future__ import annotations

import pytest

from silhouette.errors import SettingsError
from silhouette.intake.tape import MOST_LINES, read_tape
from silhouette.records_space import Taped

GOOD = (Taped("shoulder left", "elbow left", 312.0), Taped("crown", "knee right", 1204.5))


def table(tmp_path, text: str | bytes, name: str = "tape.csv"):
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


@pytest.mark.parametrize("text", [
    "from,to,mm\nshoulder left,elbow left,312\ncrown,knee right,1204.5\n",
    "From;To;MM\r\nLeft Shoulder;left elbow;312\r\ncrown;right knee;1204,5\r\n",
    "# by steel tape\n\nfrom\tto\tmm\nshoulder_left\telbow_left\t312,0\n# the long one\ncrown\tknee right\t1204.5",
    "\ufefffrom,to,mm,remark\nshoulder left, elbow left ,312,twice\ncrown,knee right,1204.5,\n,,,\n",
])
@pytest.mark.parametrize("coding", ["utf-8", "utf-16"])
def test_tables_of_many_hands_say_the_same(tmp_path, text, coding):
    text = text.lstrip("\ufeff") if coding == "utf-16" else text
    assert read_tape(table(tmp_path, text.encode(coding))) == GOOD


def test_letters_of_an_old_windows(tmp_path):
    text = "# gemessen für Müller\nfrom;to;mm\nshoulder left;elbow left;312\n"
    assert read_tape(table(tmp_path, text.encode("cp1252"))) == GOOD[:1]


@pytest.mark.parametrize(("text", "said"), [
    ("", "does not begin with from,to,mm"),
    ("shoulder left,elbow left,312\n", "does not begin"),
    ("from,to,mm\n", "lists no length"),
    ("from,to,mm\nshoulder,elbow left,312\n", "line 2: shoulder needs its side"),
    ("from,to,mm\n\n# x\nthumb left,elbow left,312\n", "line 4: thumb left is no joint"),
    ("from,to,mm\ncrown left,elbow left,312\n", "line 2: crown left is no joint"),
    ("from,to,mm\nknee left right,elbow left,312\n", "line 2"),
    ("from,to,mm\n,elbow left,312\n", "line 2: nothing is no joint"),
    ("from,to,mm\nknee left,Left knee,312\n", "line 2: from and to are the same"),
    ("from,to,mm\nknee left,ankle left,0.41\n", "line 2: 0.41 is not a length of 10 to 3000 mill"),
    ("from,to,mm\nknee left,ankle left,nan\n", "line 2: nan"),
    ("from,to,mm\nknee left,ankle left,-400\n", "line 2: -400"),
    ("from,to,mm\nknee left,ankle left\n", "line 2: nothing is not a length"),
    ("from,to,mm\nknee left,ankle left,400\nankle left,knee left,402\n",
     "line 3: ankle left to knee left stands in line 2"),
    (b"\x00\x01\x02" * 50, "cannot be read as text"),
    ("from,to,mm\n" + "# x\n" * MOST_LINES, "has more than"),
    ("from,to,mm\n" + "x" * 200_000 + ",knee left,400\n", "cannot be read as a table"),
    (b"from,to,mm\n" + b"# " + b"x" * 3_000_000, "is larger than"),
])
def test_what_is_wrong_is_said_in_a_sentence_with_the_line(tmp_path, text, said):
    path = table(tmp_path, text)
    before = path.read_bytes()
    with pytest.raises(SettingsError) as error:
        read_tape(path)
    told = str(error.value)
    assert said in told and str(path) in told and len(told) < 400 and told.endswith((".", "312", "right"))
    assert path.read_bytes() == before


def test_no_table_there(tmp_path):
    with pytest.raises(SettingsError, match="cannot be read"):
        read_tape(tmp_path / "tape.csv")
    with pytest.raises(SettingsError, match="is a folder"):
        read_tape(tmp_path)
